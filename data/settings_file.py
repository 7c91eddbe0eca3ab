"""Reading `site.toml`: every key known, every value checked, all problems told at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, TypeVar, get_args

import pyproj
from pyproj.exceptions import CRSError

from data.committee_settings import CommitteeSettings, parse_committee
from data.files import refuse_unsafe_name
from data.findings import SettingsError
from data.limits import is_month_day, read_limits
from data.parts_settings import PartsSettings, parse_parts
from data.read_options import option_problem
from data.schemas import SITE_FILE, TABLES
from data.settings import (
    DEFAULT_REACH_M,
    AerialSettings,
    DecisionSettings,
    DesignSettings,
    LimitSettings,
    LocalGridSettings,
    MarkSettings,
    NetworkSettings,
    Observed,
    PhenologySettings,
    ReadSettings,
    RoundSettings,
    SeasonWindow,
    SiteSettings,
    WeatherSettings,
)
from data.suggestions import did_you_mean
from data.treatment_settings import TreatmentSettings, parse_treatment

_T = TypeVar("_T")
_Settings = TypeVar("_Settings", MarkSettings, NetworkSettings, RoundSettings)

_KEYS = (
    "name",
    "crs",
    "units",
    "language",
    "target_species",
    "bycatch_columns",
    "bycatch_species",
    "other_columns",
    "season",
    "species_columns",
    "files",
    "columns",
    "designs",
    "map",
    "marks",
    "network",
    "round",
    "weather",
    "phenology",
    "read",
    "local_grid",
    "limits",
    "decision",
    "treatment",
    "parts",
    "committee",
    "aerial",
)

_LIMITS: Mapping[str, tuple[float, float]] = {
    "neighbours": (1, 1000),
    "cutoff_m": (0.1, 100_000),
    "alpha": (0.000001, 0.5),
    "permutations": (999, 9_999_999),
    "min_traps": (3, 100_000),
    "few_traps": (3, 100_000),
    "min_traps_per_zone": (1, 1000),
    "max_interval_ratio": (1, 1_000_000),
    "near_m": (0, 10_000),
    "min_spacing_m": (0, 10_000),
    "refuge_reach_m": (0, 100_000),
    "suggestions": (0, 1000),
    "clear_m": (0, 1000),
    "play_line_m": (0, 1000),
    "precision": (0.05, 2),
    "timing_traps": (1, 1000),
    "timing_reach_m": (0, 100_000),
    "patch_traps": (2, 100),
    "patch_fold": (1.1, 100),
    "shared_m": (0, 1000),
    "bearing_deg": (-360, 360),
    "walking_kmh": (0.1, 20),
    "minutes_per_trap": (0, 240),
    "above": (0.01, 0.999),
    "below": (0.001, 0.99),
    "treatment_cost_per_ha": (0.01, 1e9),
    "loss_per_ha": (0.01, 1e9),
    "efficacy": (0.01, 1),
    "min_cores": (1, 1000),
    "cores_days": (1, 366),
    "minutes_per_core": (0, 240),
    "wet_mm": (0.1, 500),
}
"""Smallest and largest value of each number, both allowed."""


def read_settings(folder: Path) -> tuple[SiteSettings, str]:
    """Read the settings of a site.

    Parameters
    ----------
    folder
        The folder that holds `site.toml`.

    Returns
    -------
    SiteSettings, str
        The settings, and the SHA-256 of the bytes read.

    Raises
    ------
    SettingsError
        When the folder or the file is missing, is not TOML, or anything in it is wrong; one line
        for each problem.
    """
    if not folder.is_dir():
        raise SettingsError(f"{folder.name or folder} is not a folder; give the site's folder")
    try:
        content = (folder / SITE_FILE).read_bytes()
        parsed = tomllib.loads(content.decode("utf-8-sig"))
    except FileNotFoundError:
        message = f'{SITE_FILE} is missing; add one with at least name = "..."'
        raise SettingsError(message) from None
    except OSError as error:
        raise SettingsError(f"{SITE_FILE} cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise SettingsError(f"{SITE_FILE} is not UTF-8 text; save it as UTF-8") from None
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise SettingsError(f"{SITE_FILE} is not valid TOML: {error}") from None
    return parse_settings(parsed), hashlib.sha256(content).hexdigest()


def parse_settings(parsed: Mapping[str, Any]) -> SiteSettings:
    """Check and type the content of a `site.toml`.

    Parameters
    ----------
    parsed
        What a TOML parser made of it.

    Raises
    ------
    SettingsError
        With one line for each problem.

    Examples
    --------
    >>> parse_settings({"name": "Alder Flats", "units": "metric"}).units
    'metric'
    >>> parse_settings({"name": "Alder Flats", "unit": "metric"})
    Traceback (most recent call last):
    ...
    data.findings.SettingsError: site.toml, unit: there is no such setting; did you mean 'units'?
    """
    told = _Told()
    told.unknown_keys("", parsed, _KEYS)
    marks = _numbers(told, "marks", parsed, MarkSettings)
    network = _numbers(told, "network", parsed, NetworkSettings)
    species = _text_map(told, "species_columns", parsed.get("species_columns", {}))
    settings = SiteSettings(
        name=_name(told, parsed),
        crs=_crs(told, parsed.get("crs")),
        units="metric" if _units(told, parsed) == "metric" else "us",
        language=_language(told, parsed.get("language")),
        season=_season(told, parsed),
        target_species=_words(told, "target_species", parsed.get("target_species", [])),
        species_columns=species,
        bycatch_columns=_words(told, "bycatch_columns", parsed.get("bycatch_columns", [])),
        bycatch_species=_words(told, "bycatch_species", parsed.get("bycatch_species", [])),
        other_columns=_words(told, "other_columns", parsed.get("other_columns", [])),
        aliases=_aliases(told, parsed),
        files=_files(told, parsed),
        designs=_designs(told, parsed),
        class_breaks=_class_breaks(told, parsed),
        marks=marks,
        network=network,
        round=_round(told, parsed),
        weather=_weather(told, parsed),
        phenology=_phenology(told, parsed),
        read=_read(told, "read", _site_options(told, parsed), ReadSettings()),
        read_tables=_read_tables(told, parsed),
        local_grid=_local_grid(told, parsed),
        limits=_limits_given(told, parsed),
        decision=_decision(told, parsed),
        treatment=_treatment(told, parsed),
        parts=_parts(told, parsed),
        committee=_committee(told, parsed),
        aerial=_aerial(told, parsed),
    )
    _species_agree(told, settings)
    if told.lines:
        raise SettingsError("\n".join(told.lines))
    return settings


@dataclass(slots=True)
class _Told:
    """The problems told so far."""

    lines: list[str] = field(default_factory=list)

    def wrong(self, key: str, problem: str) -> None:
        """Tell one problem of one key."""
        self.lines.append(f"{SITE_FILE}, {key}: {problem}")

    def unknown_keys(self, table: str, given: Iterable[str], known: Iterable[str]) -> None:
        """Tell every key that is not a setting."""
        names = list(known)
        for key in given:
            if key not in names:
                hint = did_you_mean(key, names, "it may be one of " + ", ".join(names))
                place = f"{table}.{key}" if table else key
                self.wrong(place, f"there is no such setting; {hint}")

    def table(self, parsed: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        """Return a table of the file, empty when it is not there or not a table."""
        value = parsed.get(key, {})
        if isinstance(value, dict):
            return value
        self.wrong(key, f"expected a table [{key}], found {value!r}")
        return {}

    def typed(self, key: str, value: object, kind: type[_T], fallback: _T) -> _T:
        """Return a value of the wanted type, else tell the problem and return the fallback."""
        if isinstance(value, kind) and not (isinstance(value, bool) and kind is not bool):
            return value
        self.wrong(key, f"expected {_KIND_WORDS[kind]}, found {value!r}")
        return fallback


_KIND_WORDS: Mapping[type, str] = {
    str: "text in quotation marks",
    list: "a list in square brackets",
    dict: "a table",
    bool: "true or false",
}


def _name(told: _Told, parsed: Mapping[str, Any]) -> str:
    if "name" not in parsed:
        told.wrong("name", 'it is missing; add name = "..."')
        return ""
    name = told.typed("name", parsed["name"], str, "-").strip()
    if not name:
        told.wrong("name", "it is blank; give the site a name")
    return name


def _language(told: _Told, given: object) -> str | None:
    if given is None:
        return None
    name = told.typed("language", given, str, "").strip()
    if not name:
        told.wrong("language", "expected the name of a language file; leave it out for English")
    return name or None


def _units(told: _Told, parsed: Mapping[str, Any]) -> str:
    units = told.typed("units", parsed.get("units", "us"), str, "us")
    if units not in ("us", "metric"):
        told.wrong("units", f'expected "us" or "metric", found {units!r}')
    return units


def _crs(told: _Told, value: object) -> str | None:
    if value is None:
        return None
    text = told.typed("crs", value, str, "EPSG:32617")
    problem = _crs_problem(text)
    if problem:
        told.wrong("crs", problem)
    return text


def _crs_problem(text: str) -> str:
    """Say why a CRS cannot carry distances in metres; blank when it can."""
    if not re.fullmatch(r"EPSG:[0-9]{4,6}", text):
        return f'expected an EPSG code like "EPSG:32617", found {text!r}'
    try:
        crs = pyproj.CRS.from_user_input(text)
    except CRSError:
        return f"{text} is not a known coordinate system; check the number"
    if not crs.is_projected:
        return f"{text} ({crs.name}) is not projected; use one in metres, or leave crs out"
    units = {axis.unit_name for axis in crs.axis_info}
    if units != {"metre"}:
        return f"{text} is in {' and '.join(sorted(units))}; use one in metres, or leave crs out"
    return ""


def _season(told: _Told, parsed: Mapping[str, Any]) -> SeasonWindow:
    table = told.table(parsed, "season")
    default = SeasonWindow()
    told.unknown_keys("season", table, ("start", "end"))
    days = {
        key: told.typed(f"season.{key}", table.get(key, fallback), str, fallback)
        for key, fallback in (("start", default.start), ("end", default.end))
    }
    for key, day in days.items():
        if not is_month_day(day):
            told.wrong(f"season.{key}", f'expected month-day like "02-15", found {day!r}')
    if days["start"] == days["end"]:
        told.wrong("season", "start and end are the same day")
    return SeasonWindow(**days)


def _words(told: _Told, key: str, value: object) -> tuple[str, ...]:
    given: list[Any] = told.typed(key, value, list, [])
    words = [told.typed(f"{key}, item {n}", word, str, "-") for n, word in enumerate(given, 1)]
    stripped = tuple(word.strip() for word in words)
    if "" in stripped:
        told.wrong(key, "an item is blank")
    if len(set(stripped)) < len(stripped):
        told.wrong(key, "an item is there twice")
    return stripped


def _text_map(told: _Told, key: str, value: object) -> dict[str, str]:
    given: dict[str, Any] = told.typed(key, value, dict, {})
    return {
        name.strip(): told.typed(f"{key}.{name}", text, str, "").strip()
        for name, text in given.items()
    }


def _aliases(told: _Told, parsed: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    tables = told.table(parsed, "columns")
    told.unknown_keys("columns", tables, TABLES)
    aliases = {
        name: _text_map(told, f"columns.{name}", given)
        for name, given in tables.items()
        if name in TABLES
    }
    for name, mapped in aliases.items():
        ours = [column.name for column in TABLES[name].columns]
        for source, target in mapped.items():
            if target not in ours:
                hint = did_you_mean(target, ours, "it may be one of " + ", ".join(ours))
                told.wrong(f"columns.{name}.{source}", f"{target!r} is no column; {hint}")
    return aliases


def _files(told: _Told, parsed: Mapping[str, Any]) -> dict[str, str]:
    files = _text_map(told, "files", parsed.get("files", {}))
    told.unknown_keys("files", files, (*TABLES, "all"))
    for table, name in files.items():
        try:
            refuse_unsafe_name(name, f"files.{table}")
        except SettingsError as error:
            told.lines.append(str(error))
    return files


def _designs(told: _Told, parsed: Mapping[str, Any]) -> tuple[DesignSettings, ...]:
    tables = told.table(parsed, "designs")
    designs = [_design(told, name, tables) for name in sorted(tables)]
    references = [design.name for design in designs if design.reference]
    if len(references) > 1:
        told.wrong("designs", f"{' and '.join(references)} are both the reference; keep one")
    return tuple(designs)


def _design(told: _Told, name: str, tables: Mapping[str, Any]) -> DesignSettings:
    table = told.table(tables, name)
    place = f"designs.{name}"
    told.unknown_keys(place, table, ("reference", "ratio", "ratio_source", "reach_m"))
    reach_m = _number(
        told, f"{place}.reach_m", table.get("reach_m", DEFAULT_REACH_M), (0.1, 1000), 1.0
    )
    reference = told.typed(f"{place}.reference", table.get("reference", False), bool, False)
    source = told.typed(f"{place}.ratio_source", table.get("ratio_source", ""), str, "").strip()
    ratio = table.get("ratio")
    if ratio is not None:
        ratio = _number(told, f"{place}.ratio", ratio, (0.001, 1000), 1.0)
        if not source:
            told.wrong(place, "a ratio needs its source; add ratio_source")
        if reference:
            told.wrong(place, "the reference design cannot have a ratio")
    return DesignSettings(name, reference, ratio, source, reach_m)


def _class_breaks(told: _Told, parsed: Mapping[str, Any]) -> tuple[float, ...]:
    table = told.table(parsed, "map")
    told.unknown_keys("map", table, ("class_breaks",))
    default = SiteSettings(name="").class_breaks
    given: list[Any] = told.typed(
        "map.class_breaks", table.get("class_breaks", [*default]), list, []
    )
    breaks = tuple(
        _number(told, f"map.class_breaks, item {n}", value, (0.0001, 1_000_000), float(n))
        for n, value in enumerate(given, 1)
    )
    if not 2 <= len(breaks) <= 8 or list(breaks) != sorted(set(breaks)):
        told.wrong("map.class_breaks", "expected 2 to 8 rates, each larger than the one before")
    return breaks


def _numbers(
    told: _Told, key: str, parsed: Mapping[str, Any], kind: Callable[..., _Settings]
) -> _Settings:
    table = told.table(parsed, key)
    default = kind()
    known = {entry.name: getattr(default, entry.name) for entry in fields(default)}
    told.unknown_keys(key, table, known)
    return kind(
        **{
            name: _like(told, f"{key}.{name}", table[name], fallback)
            for name, fallback in known.items()
            if name in table
        }
    )


def _round(told: _Told, parsed: Mapping[str, Any]) -> RoundSettings:
    table = told.table(parsed, "round")
    point = table.get("start_point")
    numbers = {key: value for key, value in table.items() if key != "start_point"}
    rest = _numbers(told, "round", {"round": numbers}, RoundSettings)
    return rest if point is None else replace(rest, start_point=_start_point(told, point))


def _start_point(told: _Told, value: object) -> tuple[float, float]:
    return _position(told, "round.start_point", value)


def _position(told: _Told, key: str, value: object) -> tuple[float, float]:
    pair: list[Any] = told.typed(key, value, list, [0.0, 0.0])
    if len(pair) != 2:
        told.wrong(key, f"expected [longitude, latitude], found {pair!r}")
        return 0.0, 0.0
    longitude = _number(told, f"{key}, longitude", pair[0], (-180, 180), 0.0)
    return longitude, _number(told, f"{key}, latitude", pair[1], (-90, 90), 0.0)


def _weather(told: _Told, parsed: Mapping[str, Any]) -> WeatherSettings:
    table = told.table(parsed, "weather")
    told.unknown_keys("weather", table, ("observed",))
    given = table.get("observed", WeatherSettings().observed)
    words: tuple[Observed, ...] = get_args(Observed)
    for word in words:
        if given == word:
            return WeatherSettings(word)
    listed = ", ".join(map(repr, words))
    told.wrong("weather.observed", f"expected one of {listed}, found {given!r}")
    return WeatherSettings()


def _phenology(told: _Told, parsed: Mapping[str, Any]) -> PhenologySettings:
    table = told.table(parsed, "phenology")
    default = PhenologySettings()
    told.unknown_keys("phenology", table, [entry.name for entry in fields(default)])
    model = told.typed("phenology.model", table.get("model", ""), str, "").strip()
    day = table.get("second_generation_from")
    if day is not None and not (isinstance(day, str) and is_month_day(day)):
        told.wrong(
            "phenology.second_generation_from", f'expected month-day like "07-15", found {day!r}'
        )
        day = None
    wet = _like(told, "phenology.wet_mm", table.get("wet_mm", default.wet_mm), default.wet_mm)
    return PhenologySettings(model, day, float(wet))


def _site_options(told: _Told, parsed: Mapping[str, Any]) -> Mapping[str, Any]:
    given = told.table(parsed, "read")
    return {key: value for key, value in given.items() if key not in TABLES}


def _read_tables(told: _Told, parsed: Mapping[str, Any]) -> dict[str, ReadSettings]:
    """Return the options of the tables that have their own, on top of those of the site."""
    # The options of the site were told before; here they are only the ground.
    site = _read(_Told(), "read", _site_options(_Told(), parsed), ReadSettings())
    given = told.table(parsed, "read")
    return {
        name: _read(told, f"read.{name}", told.typed(f"read.{name}", given[name], dict, {}), site)
        for name in TABLES
        if name in given
    }


def _read(told: _Told, place: str, given: Mapping[str, Any], ground: ReadSettings) -> ReadSettings:
    options = [option.name for option in fields(ReadSettings)]
    told.unknown_keys(place, given, options)
    problems = {key: option_problem(key, value) for key, value in given.items() if key in options}
    for key, problem in problems.items():
        if problem:
            told.wrong(f"{place}.{key}", problem)
    return replace(ground, **{key: given[key] for key, wrong in problems.items() if not wrong})


def _local_grid(told: _Told, parsed: Mapping[str, Any]) -> LocalGridSettings | None:
    if "local_grid" not in parsed:
        return None
    table = told.table(parsed, "local_grid")
    told.unknown_keys("local_grid", table, ("origin", "bearing_deg"))
    if "origin" not in table:
        told.wrong("local_grid", "origin is missing; add origin = [longitude, latitude]")
    origin = _position(told, "local_grid.origin", table.get("origin", [0.0, 0.0]))
    bearing = table.get("bearing_deg", 0.0)
    limits = _LIMITS["bearing_deg"]
    return LocalGridSettings(origin, _number(told, "local_grid.bearing_deg", bearing, limits, 0.0))


def _limits_given(told: _Told, parsed: Mapping[str, Any]) -> tuple[LimitSettings, ...]:
    limits, problems = read_limits(parsed.get("limits", []))
    for key, problem in problems:
        told.wrong(key, problem)
    return limits


def _parts(told: _Told, parsed: Mapping[str, Any]) -> PartsSettings:
    settings, problems = parse_parts(told.table(parsed, "parts"))
    for key, problem in problems:
        told.wrong(f"parts{key and f'.{key}'}", problem)
    return settings


def _committee(told: _Told, parsed: Mapping[str, Any]) -> CommitteeSettings:
    settings, problems = parse_committee(told.table(parsed, "committee"))
    for key, problem in problems:
        told.wrong(f"committee.{key}", problem)
    return settings


def _aerial(told: _Told, parsed: Mapping[str, Any]) -> AerialSettings:
    table = told.table(parsed, "aerial")
    told.unknown_keys("aerial", table, [entry.name for entry in fields(AerialSettings)])
    file, crs = (
        told.typed(f"aerial.{key}", table.get(key, ""), str, "").strip() for key in ("file", "crs")
    )
    if table and not file:
        told.wrong(
            "aerial.file", "expected the name of a picture; take [aerial] out if none is meant"
        )
    problem = option_problem("crs", crs) if crs else ""
    if problem:
        told.wrong("aerial.crs", problem)
    return AerialSettings(file, crs)


def _treatment(told: _Told, parsed: Mapping[str, Any]) -> TreatmentSettings:
    settings, problems = parse_treatment(told.table(parsed, "treatment"))
    for key, problem in problems:
        told.wrong(f"treatment.{key}", problem)
    return settings


def _decision(told: _Told, parsed: Mapping[str, Any]) -> DecisionSettings:
    table = told.table(parsed, "decision")
    default, told_before = DecisionSettings(), len(told.lines)
    known = {entry.name: getattr(default, entry.name) for entry in fields(default)}
    told.unknown_keys("decision", table, known)
    numbers = {
        name: _like(told, f"decision.{name}", table[name], 1.0 if fallback is None else fallback)
        for name, fallback in known.items()
        if name in table and name != "larvae_from"
    }
    settings = replace(default, **numbers, larvae_from=_larvae_from(told, table))
    if len(told.lines) == told_before:
        _cutoffs_agree(told, table, settings)
    return settings


def _larvae_from(told: _Told, table: Mapping[str, Any]) -> str | None:
    if "larvae_from" not in table:
        return None
    day = told.typed("decision.larvae_from", table["larvae_from"], str, "01-01")
    if not is_month_day(day):
        told.wrong("decision.larvae_from", f'expected month-day like "05-15", found {day!r}')
    return day


def _cutoffs_agree(told: _Told, table: Mapping[str, Any], settings: DecisionSettings) -> None:
    """Refuse cut-offs that contradict each other, and costs that say nothing."""
    costs = ("treatment_cost_per_ha", "loss_per_ha", "efficacy")
    missing = [name for name in costs if name not in table]
    if len(missing) == len(costs):
        if settings.below >= settings.above:
            told.wrong(
                "decision",
                f"below ({settings.below:g}) is not under above "
                f"({settings.above:g}); set below lower or above higher",
            )
        return
    if missing:
        told.wrong("decision", f"costs need {' and '.join(missing)} too; add, or leave costs out")
    if "above" in table:
        told.wrong("decision", "both above and costs say when a zone is above; keep one")
    if settings.break_even is not None and settings.break_even >= 1:
        told.wrong(
            "decision",
            "by these costs treating never pays, since "
            "treatment_cost_per_ha / (loss_per_ha * efficacy) = "
            f"{settings.break_even:.3g}; check them, or leave them out",
        )


def _like(told: _Told, key: str, value: object, fallback: Any) -> Any:
    """Return a value of the same type as the default it replaces."""
    if isinstance(fallback, tuple):
        return _words(told, key, value)
    limits = _LIMITS[key.rsplit(".", 1)[1]]
    number = _number(told, key, value, limits, fallback)
    if isinstance(fallback, int) and not number.is_integer():
        told.wrong(key, f"expected a whole number, found {value!r}")
        return fallback
    return int(number) if isinstance(fallback, int) else number


def _number(
    told: _Told, key: str, value: object, limits: tuple[float, float], fallback: float
) -> float:
    low, high = limits
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and low <= float(str(value)) <= high:
        return float(str(value))
    told.wrong(key, f"expected a number from {low:g} to {high:g}, found {value!r}")
    return float(fallback)


def _species_agree(told: _Told, settings: SiteSettings) -> None:
    """Refuse settings under which a target species could never be counted."""
    columns = settings.species_columns
    for name, species in columns.items():
        if not species:
            told.wrong(f"species_columns.{name}", "it names no species")
    for species in settings.target_species if columns else ():
        if species not in columns.values():
            hint = did_you_mean(species, columns.values(), "add its column to [species_columns]")
            told.wrong("target_species", f"{species!r} has no column; {hint}")
    _names_agree(told, settings)


def _names_agree(told: _Told, settings: SiteSettings) -> None:
    """Refuse a name that is to be two things."""
    columns = settings.species_columns
    for name in settings.bycatch_columns:
        if name in columns:
            told.wrong("bycatch_columns", f"{name!r} is a species column too; keep one")
    for name in settings.bycatch_species:
        if name in settings.target_species:
            told.wrong("bycatch_species", f"{name!r} is a target species too; keep one")
    for name in settings.other_columns:
        if name in columns or name in settings.bycatch_columns:
            told.wrong("other_columns", f"{name!r} is a column of counts too; keep one")
