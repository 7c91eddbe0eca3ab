"""Checking counts of visits, and laying them out as visits, catches and by-catch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of
from data.findings import Finding
from data.schemas import LARGEST_COUNT, VISITS, Column
from data.settings import SiteSettings
from data.site import STATUSES
from data.species_names import known_bycatch, name_checks
from data.taxa import counts_as_target, is_bare_genus, split_genus_totals
from data.visits import VISIT_KEY, place_visits

_LONG = ("species", "adults")

_WHOLE = re.compile(r"[0-9]{1,9}(?:[.,]0*)?", re.ASCII).fullmatch

OWN_COLUMNS = ("visit_id", "location_id")
"""Columns that only our own exports of visits have; nothing reads them."""

_LONE_CODES = ("IN-030", "IN-034", "IN-044", "IN-048")
"""Codes of rows that take no other row along: a copy, and rows of which it is not known to what
visit they belong, for their own dates are wrong."""

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


def count_columns(layout: CountLayout) -> dict[str, str]:
    """Return the columns of counts that the visits must have -> how to mend a missing one.

    Examples
    --------
    >>> list(count_columns(CountLayout((), ("spiders",))))
    ['species', 'adults', 'spiders']
    """
    wide = "mend its name in [species_columns] of site.toml, or in the file"
    long = "add it, or name the columns of your species under [species_columns] in site.toml"
    bycatch = "mend its name in bycatch_columns of site.toml, or in the file"
    counts = dict.fromkeys(layout.wide, wide) if layout.wide else dict.fromkeys(_LONG, long)
    return counts | dict.fromkeys(layout.bycatch, bycatch)


def count_checks(layout: CountLayout, settings: SiteSettings) -> list[Check]:
    """Return the checks of counts, in order."""

    def blank(draft: Draft) -> list[Finding]:
        return _blank_counts(draft, layout.catch_columns)

    def void(draft: Draft) -> list[Finding]:
        return _counts_of_void(draft, (*layout.catch_columns, *layout.bycatch))

    def twice(draft: Draft) -> list[Finding]:
        return _entered_twice(draft, layout)

    def disagreeing(draft: Draft) -> list[Finding]:
        return _disagreeing_rows(draft, layout)

    def totals(draft: Draft) -> list[Finding]:
        return _small_genus_totals(draft, layout, settings)

    def unread(draft: Draft) -> list[Finding]:
        return _unread_numbers(draft, layout, settings)

    if layout.long:
        names = name_checks(settings)
        rows = [_nameless_species, disagreeing, twice]
        return [blank, void, *rows, *names, totals, unread, _taken_along]
    return [blank, void, twice, totals, unread]


def used_rows(draft: Draft, locations: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that count: those without an error, whose trap stood somewhere.

    Where a visit has several rows, `count_checks` takes them all along with one that is wrong.

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
    rows = draft.sound
    rows = rows.assign(source_row=rows.index, location_id=place_visits(rows, locations))
    return rows[rows["location_id"] != ""]


def lay_out_visits(
    draft: Draft, layout: CountLayout, settings: SiteSettings, locations: pd.DataFrame
) -> VisitTables:
    """Turn checked rows into one row per visit, with its catches and by-catch beside it.

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
    bycatch_names = known_bycatch(settings)
    counted = counts_as_target(catches["species"], settings.target_species, bycatch_names)
    others = catches[~counted].rename(columns={"species": "taxon", "adults": "count"})
    shared = ["minutes", "observer", *layout.bycatch]
    visits = _first_of_each_visit(rows, shared) if layout.long else rows
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
    "observer",
    "note",
    "source_row",
]


def _first_of_each_visit(rows: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Return one row per visit, with the first value typed in any of its rows."""
    typed = rows[["visit_id", *columns]].replace("", None)
    values = typed.groupby("visit_id")[columns].transform("first")
    values["observer"] = values["observer"].fillna("")
    return rows.assign(**{name: values[name] for name in columns}).drop_duplicates("visit_id")


def _taken_along(draft: Draft) -> list[Finding]:
    """Report the other rows of a visit with a wrong one: its count would be too low without it."""
    spoiling = draft.bad_rows - {each.row for each in draft.findings if each.code in _LONE_CODES}
    wrong = draft.typed.loc[draft.typed.index.isin(sorted(spoiling)), VISIT_KEY]
    if wrong.empty:
        return []
    wrong = wrong.assign(spoilt_by=wrong.index).drop_duplicates(VISIT_KEY)
    rows = draft.sound[VISIT_KEY].assign(row=draft.sound.index).merge(wrong, on=VISIT_KEY)
    others = pd.Series(rows["spoilt_by"].to_numpy(), index=rows["row"].to_numpy(), dtype=object)
    fault = Fault(
        "IN-044",
        rows_of(draft, others.index),
        others.map("row {}, of the same visit, is set aside".format),
        others.map("mend row {}".format),
        "checked_on",
    )
    return findings_at(draft, fault)


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


def _disagreeing_rows(draft: Draft, layout: CountLayout) -> list[Finding]:
    """Report species rows that differ from the first row of their visit.

    By-catch may be typed on one row of the visit or on each; only two numbers can differ.
    """
    return [
        finding
        for column in ("status", "set_on", *layout.bycatch)
        for finding in findings_at(
            draft,
            Fault(
                "IN-036",
                draft.good(*VISIT_KEY, column) & _differs(draft, column),
                lambda cell: f"{quoted(cell)} differs from the other rows of this visit",
                "make all rows of one visit agree",
                column,
            ),
        )
    ]


def _differs(draft: Draft, column: str) -> pd.Series[bool]:
    values = draft.typed[column]
    if column in ("status", "set_on"):
        return values != values.loc[_first_rows(draft)].to_numpy()
    visit = [draft.typed[name] for name in VISIT_KEY]
    first = values.groupby(visit, dropna=False).transform("first")
    return values.notna() & (values != first)


def _first_rows(draft: Draft) -> pd.Series[int]:
    rows = pd.Series(draft.text.index, index=draft.text.index)
    return rows.groupby([draft.typed[name] for name in VISIT_KEY], dropna=False).transform("first")


def _entered_twice(draft: Draft, layout: CountLayout) -> list[Finding]:
    """Report what is there twice: a copy is set aside, of entries that disagree every one is.

    Which of two counts is right cannot be told from the file.
    """
    long = layout.long
    key = [*VISIT_KEY, "species"] if long else VISIT_KEY
    thing = "this species of the visit" if long else "this visit"
    said = [*(["adults"] if long else ["set_on", "status", *layout.wide]), *layout.bycatch]
    good = draft.typed[draft.good(*key, *said, "set_on", "status")]
    twice = good[good.duplicated(key, keep=False)]
    if twice.empty:
        return []
    versions = twice.drop_duplicates([*key, *said])
    disagree = versions[versions.duplicated(key, keep=False)]
    pairs = pd.MultiIndex.from_frame(twice[key]).isin(pd.MultiIndex.from_frame(disagree[key]))
    first = pd.Series(twice.index, twice.index).groupby([twice[name] for name in key])
    copies = first.transform("first")[~pairs & twice.duplicated(key)]
    other = _other_versions(twice[pairs], key, said)
    told = other.map(f"{thing} is there twice and differs from row {{}}".format)
    faults = [
        Fault(
            "IN-034",
            rows_of(draft, copies.index),
            copies.map(f"{thing} is there twice, first in row {{}}".format),
            "delete one of the two rows",
            "checked_on",
        ),
        Fault(
            "IN-096",
            rows_of(draft, other.index),
            told,
            "keep the row that is right; while they disagree, neither counts",
            "checked_on",
        ),
    ]
    return [finding for fault in faults for finding in findings_at(draft, fault)]


def _other_versions(rows: pd.DataFrame, key: list[str], said: list[str]) -> pd.Series[int]:
    """Return for each row of a visit the first row of it that says something else."""
    others: dict[int, int] = {}
    for _, visit in rows.groupby(key, sort=False):
        version = visit.groupby(said, dropna=False, sort=False).ngroup()
        for row, mine in zip(visit.index, version, strict=True):
            others[int(row)] = int(visit.index[version != mine][0])
    return pd.Series(others, dtype="int64")


def _small_genus_totals(draft: Draft, layout: CountLayout, settings: SiteSettings) -> list[Finding]:
    """Report a bare genus that counts fewer adults than the other rows of it in its visit."""
    looked_at = (*VISIT_KEY, "status", *(("species", "adults") if layout.long else layout.wide))
    rows = draft.typed[draft.good(*looked_at) & (draft.typed["status"] == "ok")]
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
        "type the total of all; write beetles that were not named as 'sp.' in a "
        f"{'row' if layout.long else 'column'} of their own",
        column,
    )
    return findings_at(draft, fault)


def _unread_numbers(draft: Draft, layout: CountLayout, settings: SiteSettings) -> list[Finding]:
    """Tell once for each column that looks like counts, but that nothing names."""
    named = {column.name for column in VISITS.columns} | {*layout.wide, *layout.bycatch}
    told = {each.column for each in draft.findings if each.code == "IN-015"}
    known = named | told | {*OWN_COLUMNS, *settings.other_columns}
    strangers = [str(name) for name in draft.text if name and name not in known]
    lists = "[species_columns] or bycatch_columns" if layout.wide else "bycatch_columns"
    fix = f"name it in {lists} of site.toml if it counts animals, else in other_columns"
    return [
        Finding(
            "IN-097",
            draft.file,
            "the column holds numbers, but is not read",
            fix,
            severity="warning",
            row=1,
            column=draft.headers.get(name, name),
        )
        for name in strangers
        if _holds_counts(draft.text[name])
    ]


def _holds_counts(cells: pd.Series[str]) -> bool:
    """Return whether every cell that is not blank is a whole number, and one is there."""
    # Most columns of words end at their first cell.
    typed = [cell for cell in set(cells) if cell]
    return bool(typed) and all(_WHOLE(cell) for cell in typed)
