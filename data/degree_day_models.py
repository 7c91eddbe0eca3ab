"""Degree-day models: one file each, ours or the user's, with source and how it was seen."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args

from data.findings import SettingsError
from data.limits import is_month_day
from data.suggestions import did_you_mean

FOLDER = Path(__file__).resolve().parent / "models"

Unit = Literal["C", "F"]

EVENTS = ("first_adults", "adults_30", "adults_peak", "larvae", "larvae_large")
"""What an event may be; ``adults_30`` is 30 % of the season's adults."""

STATUSES = ("read", "as usually quoted", "from memory", "own records")
"""How a figure was seen."""

_TEXTS = ("name", "region", "source", "method_note", "note", "method", "cut_off")
_KEYS = (*_TEXTS, "species", "unit", "base", "upper", "start", "events")
_NEEDED = ("name", "region", "source", "unit", "base", "start", "method", "events")


@dataclass(frozen=True, slots=True)
class ModelEvent:
    """One event of a model.

    Parameters
    ----------
    event
        One of `EVENTS`.
    low, high
        Degree-days between which it falls, in the unit of the model.
    status
        One of `STATUSES`.
    """

    event: str
    low: float
    high: float
    status: str


@dataclass(frozen=True, slots=True)
class DegreeDayModel:
    """A degree-day model; nothing in it is ours.

    Parameters
    ----------
    key
        Name of its file without the ending.
    name, region, source
        What it is called, where it was fitted, and where it is printed.
    species
        Names of the species; may be empty.
    unit
        ``"C"`` or ``"F"``, of the thresholds and the degree-days.
    base, upper
        Thresholds; `upper` is None without one.
    cut_off, method
        As `spatial.degree_days` names them.
    start
        Month-day from which degree-days are summed.
    events
        In the order of the file.
    method_note, note
        What has to be said with it.
    """

    key: str
    name: str
    region: str
    source: str
    species: tuple[str, ...]
    unit: Unit
    base: float
    upper: float | None
    cut_off: str
    method: str
    start: str
    events: tuple[ModelEvent, ...]
    method_note: str = ""
    note: str = ""


@cache
def shipped_models() -> tuple[DegreeDayModel, ...]:
    """Return the models that ship, by key; none of them is ever chosen for the user."""
    return tuple(read_model(path) for path in sorted(FOLDER.glob("*.toml")))


def site_models(names: Sequence[str], folder: Path) -> tuple[DegreeDayModel, ...]:
    """Return the models that a site or a user names; without a name every one that ships.

    Parameters
    ----------
    names
        Keys of models that ship, or paths of model files; blank ones are left out.
    folder
        Where a file is looked for that is not there as given: the site's own.

    Raises
    ------
    SettingsError
        If a name is neither, or a file cannot be read.
    """
    shipped = {each.key: each for each in shipped_models()}
    wanted = [name for name in names if name]
    if not wanted:
        return tuple(shipped.values())
    return tuple(shipped.get(name) or read_model(_file(name, folder, shipped)) for name in wanted)


def _file(name: str, folder: Path, shipped: Collection[str]) -> Path:
    for path in (Path(name), folder / name):
        if path.is_file():
            return path
    hint = did_you_mean(name, list(shipped), f"those that ship are {', '.join(shipped)}")
    raise SettingsError(f"{name!r} is neither a model that ships nor a file; {hint}")


def read_model(path: Path) -> DegreeDayModel:
    """Read a model file, one of ours or the user's.

    Raises
    ------
    SettingsError
        If the file cannot be read, or its content is wrong; all problems are told at once.
    """
    try:
        parsed = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsError(f"the model file {path.name} cannot be read: {error}") from error
    problems = [f"{path.name}, {key}: {text}" for key, text in _problems(parsed)]
    if problems:
        raise SettingsError("\n".join(problems))
    return _model(path.stem, parsed)


def _model(key: str, parsed: Mapping[str, Any]) -> DegreeDayModel:
    texts = {name: str(parsed.get(name, "")) for name in _TEXTS if name != "cut_off"}
    upper = parsed.get("upper")
    return DegreeDayModel(
        key=key,
        **texts,
        species=tuple(parsed.get("species", ())),
        unit=parsed["unit"],
        base=float(parsed["base"]),
        upper=None if upper is None else float(upper),
        cut_off=str(parsed.get("cut_off", "none")),
        start=parsed["start"],
        events=tuple(
            ModelEvent(each["event"], float(each["from"]), float(each["to"]), each["status"])
            for each in parsed["events"]
        ),
    )


def _problems(parsed: Mapping[str, Any]) -> list[tuple[str, str]]:
    found = [
        (key, f"there is no such entry; {did_you_mean(key, list(_KEYS), ', '.join(_KEYS))}")
        for key in parsed
        if key not in _KEYS
    ]
    found += [(key, "it is missing") for key in _NEEDED if key not in parsed]
    found += [
        (key, f"expected text in quotation marks, found {parsed[key]!r}")
        for key in _TEXTS
        if key in parsed and not isinstance(parsed[key], str)
    ]
    found += [
        (key, f"expected a number, found {parsed[key]!r}")
        for key in ("base", "upper")
        if key in parsed and not _is_number(parsed[key])
    ]
    return [*found, *_of_start_and_unit(parsed), *_of_species(parsed), *_of_events(parsed)]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _of_start_and_unit(parsed: Mapping[str, Any]) -> list[tuple[str, str]]:
    found = []
    start, unit = parsed.get("start", "01-01"), parsed.get("unit", "C")
    if not isinstance(start, str) or not is_month_day(start):
        found.append(("start", f"expected month-day as in '03-01', found {start!r}"))
    if unit not in get_args(Unit):
        found.append(("unit", f"expected 'C' or 'F', found {unit!r}"))
    return found


def _of_species(parsed: Mapping[str, Any]) -> list[tuple[str, str]]:
    species = parsed.get("species", [])
    if isinstance(species, list) and all(isinstance(each, str) for each in species):
        return []
    return [("species", f"expected a list of names in quotation marks, found {species!r}")]


def _of_events(parsed: Mapping[str, Any]) -> list[tuple[str, str]]:
    events = parsed.get("events", [])
    if not isinstance(events, list) or not all(isinstance(each, dict) for each in events):
        return [("events", f"expected tables that start with [[events]], found {events!r}")]
    return [
        (f"events, item {number}", problem)
        for number, each in enumerate(events, 1)
        for problem in _of_event(each)
    ]


def _of_event(event: Mapping[str, Any]) -> list[str]:
    found = []
    if event.get("event") not in EVENTS:
        found.append(f"event is one of {', '.join(EVENTS)}; found {event.get('event')!r}")
    if event.get("status") not in STATUSES:
        found.append(f"status is one of {', '.join(STATUSES)}; found {event.get('status')!r}")
    low, high = event.get("from"), event.get("to")
    ends = [each for each in (low, high) if isinstance(each, int | float) and _is_number(each)]
    if len(ends) < 2 or not 0 <= ends[0] <= ends[1]:
        found.append(f"from and to are degree-days, the smaller first; found {low!r} and {high!r}")
    extra = sorted(set(event) - {"event", "from", "to", "status"})
    return [*found, *(f"there is no {name!r} in an event" for name in extra)]
