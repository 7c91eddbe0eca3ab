"""Checking counts of visits, and laying them out as visits, catches and by-catch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of
from data.columns import missing_columns
from data.findings import Finding
from data.raw import NamedTable
from data.schemas import LARGEST_COUNT, Column
from data.settings import SiteSettings
from data.site import STATUSES
from data.suggestions import did_you_mean
from data.taxa import (
    counts_as_target,
    genus_of,
    is_bare_genus,
    is_open_name,
    meant_target,
    split_genus_totals,
)
from data.visits import VISIT_KEY, place_visits

_LONG = ("species", "adults")

VOID_STATUSES = tuple(status for status in STATUSES if status != "ok")
"""A visit with one of these carries no count."""


@dataclass(frozen=True, slots=True)
class CountLayout:
    """Which columns of the visits hold counts.

    Parameters
    ----------
    wide
        Species columns of the file; empty when there is one row per species.
    bycatch
        By-catch columns of the file.

    Examples
    --------
    >>> CountLayout((), ("spiders",)).long
    True
    """

    wide: tuple[str, ...]
    bycatch: tuple[str, ...]

    @property
    def long(self) -> bool:
        """Whether the visits have one row per species."""
        return not self.wide

    @property
    def catch_columns(self) -> tuple[str, ...]:
        """The columns that every `ok` row must fill."""
        return self.wide or ("adults",)

    @property
    def columns(self) -> tuple[Column, ...]:
        """The count columns that only this site has."""
        names = (*self.wide, *self.bycatch)
        return tuple(Column(name, "count", "", high=LARGEST_COUNT) for name in names)


@dataclass(frozen=True, slots=True)
class VisitTables:
    """The three tables that visits are kept in; see `data.site.Site`."""

    visits: pd.DataFrame
    catches: pd.DataFrame
    bycatch: pd.DataFrame


def count_layout(settings: SiteSettings) -> CountLayout:
    """Return the layout that the settings declare."""
    return CountLayout(tuple(settings.species_columns), settings.bycatch_columns)


def refuse_missing_counts(named: NamedTable, layout: CountLayout) -> None:
    """Refuse visits without any column of counts.

    Raises
    ------
    InputError
        When rows per species lack `species` or `adults`.
    """
    text = named.raw.text
    missing = [name for name in _LONG if layout.long and name not in text]
    if missing:
        raise missing_columns(named, missing)


def count_checks(layout: CountLayout, settings: SiteSettings) -> list[Check]:
    """Return the checks of counts, in order."""

    def blank(draft: Draft) -> list[Finding]:
        return _blank_counts(draft, layout.catch_columns)

    def void(draft: Draft) -> list[Finding]:
        return _counts_of_void(draft, (*layout.catch_columns, *layout.bycatch))

    def totals(draft: Draft) -> list[Finding]:
        return _small_genus_totals(draft, layout, settings)

    if layout.long:
        names = _name_checks(settings.target_species)
        rows = [_nameless_species, _disagreeing_rows, _same_species_twice]
        return [blank, void, *rows, *names, totals]
    return [blank, void, _same_visit_twice, totals]


def used_rows(draft: Draft, locations: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that count: of visits without any error, whose trap stood somewhere.

    Parameters
    ----------
    draft
        The checked visits.
    locations
        Traps with their `location_id`.

    Returns
    -------
    pandas.DataFrame
        The values of those rows, with `source_row` and `location_id`.
    """
    rows = _rows_of_whole_visits(draft)
    rows = rows.assign(source_row=rows.index, location_id=place_visits(rows, locations))
    return rows[rows["location_id"] != ""]


def lay_out_visits(
    draft: Draft, layout: CountLayout, settings: SiteSettings, locations: pd.DataFrame
) -> VisitTables:
    """Turn checked rows into one row per visit, with its catches and by-catch beside it.

    A visit with an error in any of its rows is left out whole, for its count would be too low.
    Which names count, and how the total of a genus is split, is told in `data.taxa`.

    Parameters
    ----------
    draft
        The checked visits.
    layout
        Where the counts are.
    settings
        Species that count, and names of the species columns.
    locations
        Traps with their `location_id`.

    Returns
    -------
    VisitTables
        Visits sorted by location and date, the others in the order of the visits.
    """
    rows = used_rows(draft, locations)
    # The day as understood, for a file may spell it in its own format.
    days = np.datetime_as_string(rows["checked_on"].to_numpy(dtype="datetime64[D]"))
    rows = rows.assign(visit_id=rows["location_id"] + " " + days)
    rows = rows.sort_values(["location_id", "checked_on", "source_row"])
    ok = rows[rows["status"] == "ok"]
    catches = _long_catches(ok) if layout.long else _wide_catches(ok, settings)
    catches = split_genus_totals(catches)
    counted = counts_as_target(catches["species"], settings.target_species)
    others = catches[~counted].rename(columns={"species": "taxon", "adults": "count"})
    visits = _first_of_each_visit(rows, ["minutes", *layout.bycatch]) if layout.long else rows
    seen = visits[visits["status"] == "ok"]
    bycatch = pd.concat([_melted(seen, layout.bycatch, "taxon", "count"), others])
    totals = catches[counted].groupby("visit_id")["adults"].sum()
    adults = visits["visit_id"].map(totals).fillna(0.0).where(visits["status"] == "ok")
    return VisitTables(
        visits.assign(adults=adults.astype(float))[_VISIT_COLUMNS].reset_index(drop=True),
        _sorted_counts(catches[counted], visits, "species", "adults"),
        _sorted_counts(bycatch, visits, "taxon", "count"),
    )


_VISIT_COLUMNS = [
    "visit_id",
    "location_id",
    "trap_id",
    "set_on",
    "checked_on",
    "status",
    "adults",
    "minutes",
    "note",
    "source_row",
]


def _first_of_each_visit(rows: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Return one row per visit, with the first number typed in any of its rows."""
    numbers = rows.groupby("visit_id")[columns].transform("first")
    return rows.assign(**{name: numbers[name] for name in columns}).drop_duplicates("visit_id")


def _rows_of_whole_visits(draft: Draft) -> pd.DataFrame:
    # A second entry of a visit is set aside alone, and the first one stands.
    copies = {finding.row for finding in draft.findings if finding.code == "IN-034"}
    spoiling = draft.bad_rows - copies
    if not spoiling:
        return draft.sound
    bad = draft.typed.loc[draft.typed.index.isin(sorted(spoiling)), VISIT_KEY]
    sound = draft.sound
    return sound[~pd.MultiIndex.from_frame(sound[VISIT_KEY]).isin(pd.MultiIndex.from_frame(bad))]


def _long_catches(ok: pd.DataFrame) -> pd.DataFrame:
    named = ok[ok["species"] != ""]
    return named[["visit_id", "species", "adults"]]


def _wide_catches(ok: pd.DataFrame, settings: SiteSettings) -> pd.DataFrame:
    catches = _melted(ok, tuple(settings.species_columns), "species", "adults")
    catches = catches.assign(species=catches["species"].map(dict(settings.species_columns)))
    if len(set(settings.species_columns.values())) == len(settings.species_columns):
        return catches
    return catches.groupby(["visit_id", "species"])["adults"].sum().reset_index()


def _melted(rows: pd.DataFrame, columns: Sequence[str], name: str, value: str) -> pd.DataFrame:
    long = pd.DataFrame(
        {
            "visit_id": np.tile(rows["visit_id"].to_numpy(), len(columns)),
            name: np.repeat(np.asarray(columns, dtype=object), len(rows)),
            value: rows[list(columns)].to_numpy(dtype=float).ravel(order="F"),
        }
    )
    return long[long[value].notna()]


def _sorted_counts(
    counts: pd.DataFrame, visits: pd.DataFrame, name: str, value: str
) -> pd.DataFrame:
    """Order counts as their visits are, and by name within a visit."""
    place = pd.Index(visits["visit_id"]).get_indexer(pd.Index(counts["visit_id"]))
    word, _ = pd.factorize(counts[name], sort=True)
    ordered = counts[["visit_id", name, value]].iloc[np.lexsort((word, place))]
    return ordered.reset_index(drop=True).astype({value: "int64"})


def _blank_counts(draft: Draft, columns: Sequence[str]) -> list[Finding]:
    ok = draft.typed["status"] == "ok"
    return [
        finding
        for column in columns
        for finding in findings_at(
            draft,
            Fault(
                "IN-020",
                ok & (draft.text[column] == ""),
                "the visit is ok but has no count",
                "type 0 if nothing was caught, else the count or the true status",
                column,
            ),
        )
    ]


def _counts_of_void(draft: Draft, columns: Sequence[str]) -> list[Finding]:
    status = draft.typed["status"]
    void = status.isin(VOID_STATUSES)
    return [
        finding
        for column in columns
        for finding in findings_at(
            draft,
            Fault(
                "IN-024",
                void & (draft.text[column] != ""),
                "the visit is " + status + " but has a count",
                "leave the count blank, or set the status to ok",
                column,
            ),
        )
    ]


def _nameless_species(draft: Draft) -> list[Finding]:
    rows = draft.typed
    fault = Fault(
        "IN-010",
        (rows["species"] == "") & (rows["adults"] > 0),
        "it is blank beside a count",
        "name the species",
        "species",
    )
    return findings_at(draft, fault)


def _disagreeing_rows(draft: Draft) -> list[Finding]:
    """Report species rows that differ from the first row of their visit in dates or status."""
    first = _first_rows(draft)
    return [
        finding
        for column in ("status", "set_on")
        for finding in findings_at(
            draft,
            Fault(
                "IN-036",
                draft.good() & (draft.typed[column] != draft.typed[column].loc[first].to_numpy()),
                lambda cell: f"{quoted(cell)} differs from the other rows of this visit",
                "make all rows of one visit agree",
                column,
            ),
        )
    ]


def _first_rows(draft: Draft) -> pd.Series[int]:
    rows = pd.Series(draft.text.index, index=draft.text.index)
    return rows.groupby([draft.typed[name] for name in VISIT_KEY], dropna=False).transform("first")


def _same_species_twice(draft: Draft) -> list[Finding]:
    return _copies(draft, [*VISIT_KEY, "species"], "this species of the visit is there twice")


def _same_visit_twice(draft: Draft) -> list[Finding]:
    return _copies(draft, VISIT_KEY, "this visit is there twice")


def _copies(draft: Draft, key: list[str], problem: str) -> list[Finding]:
    good = draft.typed[draft.good()]
    copies = good.duplicated(key).reindex(draft.typed.index, fill_value=False)
    fault = Fault("IN-034", copies, problem, "delete one of the two rows", "checked_on")
    return findings_at(draft, fault)


def _name_checks(targets: Sequence[str]) -> list[Check]:
    """Return the checks of the names of species, for visits with one row per species."""

    def misspelt(draft: Draft) -> list[Finding]:
        return _misspelt_targets(draft, targets)

    def unseen(draft: Draft) -> list[Finding]:
        return _unseen_targets(draft, targets)

    def not_named(draft: Draft) -> list[Finding]:
        return _not_named(draft, targets)

    def others(draft: Draft) -> list[Finding]:
        return _other_species(draft, targets)

    return [misspelt, unseen, not_named, others]


def _misspelt_targets(draft: Draft, targets: Sequence[str]) -> list[Finding]:
    """Report names that a letter or two keep from being a target: their adults would be lost."""
    names = draft.typed["species"]
    # A name that stands everywhere, while the target stands nowhere, is a spelling of its own.
    present = set(names)
    there = [target for target in targets if target in present]
    meant = {name: meant_target(name, there) for name in present}
    fault = Fault(
        "IN-025",
        names.map({name: target is not None for name, target in meant.items()}).astype(bool),
        lambda cell: f"{quoted(cell)} is not a target species, but close to one",
        lambda cell: f"did you mean {meant[cell]!r}?",
        "species",
    )
    return findings_at(draft, fault)


def _not_named(draft: Draft, targets: Sequence[str]) -> list[Finding]:
    """Tell once for each open name, e.g. ``unknown`` or a genus, that its adults count."""
    names = draft.typed["species"].drop_duplicates()
    names = names[names != ""]
    open_names = names[[_is_open(name, targets) and name not in targets for name in names]]
    counted = open_names[counts_as_target(open_names, targets)]
    fault = Fault(
        "IN-026",
        rows_of(draft, counted.index),
        lambda cell: f"adults under {quoted(cell)} count with the target species",
        "name the species where you can; a genus alone beside its species is read as their total",
        "species",
        "warning",
    )
    return findings_at(draft, fault)


def _is_open(name: str, targets: Sequence[str]) -> bool:
    """Return whether a name leaves the species open; without targets a lone word is a name."""
    if not targets and is_bare_genus(name):
        return False
    return is_open_name(name, {genus_of(name)})


def _other_species(draft: Draft, targets: Sequence[str]) -> list[Finding]:
    """Tell once for each other species of a target's genus that its adults do not count."""
    genera = {genus_of(target) for target in targets}
    names = draft.typed["species"].drop_duplicates()
    congeners = names[names.map(genus_of).isin(genera) & (names != "")]
    stray = congeners[~counts_as_target(congeners, targets)]
    told = stray[[meant_target(name, targets) is None for name in stray]]
    fault = Fault(
        "IN-049",
        rows_of(draft, told.index),
        lambda cell: f"{quoted(cell)} is not among the target species: its adults are by-catch",
        "add it to target_species in site.toml if it should count",
        "species",
        "warning",
    )
    return findings_at(draft, fault)


def _unseen_targets(draft: Draft, targets: Sequence[str]) -> list[Finding]:
    seen = set(draft.typed["species"]) - {""}
    return [
        Finding(
            "IN-037",
            draft.file,
            f"no visit names the target species {target!r}",
            did_you_mean(target, seen, "check its spelling in site.toml and in the visits"),
            severity="warning",
            column=draft.headers["species"],
        )
        for target in targets
        if seen and target not in seen
    ]


def _small_genus_totals(draft: Draft, layout: CountLayout, settings: SiteSettings) -> list[Finding]:
    """Report a bare genus that counts fewer adults than the other rows of it in its visit."""
    rows = draft.typed[draft.good() & (draft.typed["status"] == "ok")]
    rows = rows.assign(visit_id=rows.index)
    if layout.long:
        first = rows.groupby(VISIT_KEY)["visit_id"].transform("first")
        catches = rows.assign(visit_id=first)[["visit_id", "species", "adults"]]
        catches = catches[catches["species"] != ""]
        low = split_genus_totals(catches)["adults"] < 0
        wrong, column = set(catches.index[low]), "adults"
    else:
        named = settings.species_columns.items()
        column = next((name for name, species in named if is_bare_genus(species)), "")
        catches = split_genus_totals(_wide_catches(rows, settings))
        wrong = set(catches["visit_id"][catches["adults"] < 0])
    fault = Fault(
        "IN-027",
        rows_of(draft, wrong),
        lambda cell: f"the total of the genus, {quoted(cell)}, is below the sum of its species",
        "type the total of all; write beetles that were not named as 'sp.' in a row of their own",
        column,
    )
    return findings_at(draft, fault)
