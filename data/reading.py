"""Reading a site: every file found, read, checked and laid out, with all findings in one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import pandas as pd
from pandas.api.types import is_object_dtype

from data.catches import (
    CountLayout,
    count_checks,
    count_layout,
    lay_out_visits,
    refuse_missing_counts,
    used_rows,
)
from data.checks import Draft, run_checks
from data.columns import name_columns
from data.coordinates import with_design, with_shapes
from data.cores import check_cores
from data.files import SourceFile, find_file
from data.findings import Finding, InputError
from data.ground import check_ground, surroundings_of
from data.places import Grid
from data.raw import NamedTable, NoSuchLayerError, RawTable
from data.references import KnownZones, zone_checks
from data.schemas import (
    CORES,
    OBSTACLES,
    REFUGES,
    TRAPS,
    TREATMENTS,
    VISITS,
    WEATHER,
    ZONES,
    Table,
)
from data.set_aside import Account, account_of
from data.settings import SiteSettings
from data.settings_file import read_settings
from data.shapes import SHAPE_READERS
from data.site import Site
from data.tables import TABLE_READERS
from data.traps import check_traps, locations
from data.values import draft_of
from data.visits import KnownTraps, visit_checks
from data.weather import check_weather
from data.workbooks import WORKBOOK_READERS
from data.zones import check_surroundings, check_zones

_T = TypeVar("_T")

_CM_PER_INCH = 2.54

_ZONE_COLUMNS = ["use", "name", "priority", "note"]
_TRAP_COLUMNS = ["trap_id", "design", "installed", "removed", "axis_deg", "slot_m", "note"]
_CORE_COLUMNS = ["zone_id", "sampled_on", "cores", "diameter_cm", "larvae", "pupae"]
_WEATHER_COLUMNS = ["date", "tmin_c", "tmax_c"]
_TREATMENT_COLUMNS = ["zone_id", "applied_on", "tactic", "irac_group", "note"]

READERS: dict[str, Callable[[SourceFile], RawTable]] = {
    **TABLE_READERS,
    **SHAPE_READERS,
    **WORKBOOK_READERS,
}
"""File suffix -> reader."""


@dataclass(slots=True)
class _Folder:
    """The files of a site while they are being read; findings of unreadable ones gather here."""

    path: Path
    settings: SiteSettings
    findings: list[Finding] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)

    def table(self, table: Table, also: Sequence[str] = ()) -> NamedTable | None:
        """Return a table under our names; None when it is not there or not readable."""
        source = self.attempt(lambda: find_file(self.path, table, self.settings))
        if source is None:
            return None
        self.hashes |= source.hashes
        return self.attempt(lambda: self._named(source, table, also))

    def _named(self, source: SourceFile, table: Table, also: Sequence[str]) -> NamedTable | None:
        try:
            raw = READERS[source.suffix](source)
        except NoSuchLayerError:
            # A file of several tables may lack those that a site can do without.
            if table.required:
                raise
            return None
        aliases = self.settings.aliases.get(table.name, {})
        raw = with_design(raw, table, aliases)
        return with_shapes(name_columns(raw, table, aliases, also), table)

    def attempt(self, step: Callable[[], _T]) -> _T | None:
        """Run a step; when it refuses its file, keep the findings and return None."""
        try:
            return step()
        except InputError as error:
            self.findings.extend(error.findings)
            return None


def read_site(folder: Path) -> Site:
    """Read and check all files of a site. Nothing is ever written.

    Parameters
    ----------
    folder
        The folder that holds `site.toml` and the tables.

    Returns
    -------
    Site
        Rows with an error are set aside; every problem of every file is in its `findings`. The
        order of rows in the files makes no difference to the tables.

    Raises
    ------
    SettingsError
        When `site.toml` is missing or wrong.
    InputError
        When zones, traps or visits are missing, cannot be read, or have no row without an error;
        it carries the findings of all files.
    """
    settings, toml_hash = read_settings(folder)
    files = _Folder(folder, settings, hashes={"site.toml": toml_hash})
    zones, grid = _zones(files)
    refuges = _surroundings(files, REFUGES, grid)
    obstacles = _surroundings(files, OBSTACLES, grid)
    traps = _traps(files, grid)
    if traps is not None and grid is not None:
        traps = check_ground(traps, surroundings_of(zones, refuges, obstacles), settings)
    layout = count_layout(settings)
    visits = _visits(files, layout, traps)
    known = _known_zones(zones)
    cores = _cores(files, known)
    treatments = _zone_rows(files, TREATMENTS, known)
    weather = _weather(files)
    drafts = (zones, refuges, obstacles, traps, visits, cores, weather, treatments)
    findings = _all_findings(files, drafts)
    if zones is None or traps is None or visits is None or grid is None:
        raise InputError(findings, account_of(drafts, {}))
    places = locations(traps)
    tables = lay_out_visits(visits, layout, settings, places)
    account = account_of(drafts, {visits.file: used_rows(visits, places).index})
    _refuse_empty(
        findings, account, {zones.file: zones.sound, traps.file: places, visits.file: tables.visits}
    )
    return Site(
        settings=settings,
        zones=_shape_table(zones.sound, "zone_id", _ZONE_COLUMNS, grid),
        refuges=_named_shapes(refuges, REFUGES, "refuge_id", grid),
        obstacles=_named_shapes(obstacles, OBSTACLES, "obstacle_id", grid),
        traps=_shape_table(places, "location_id", _TRAP_COLUMNS, grid),
        visits=_with_text(tables.visits),
        catches=_with_text(tables.catches),
        bycatch=_with_text(tables.bycatch),
        weather=_plain_table(weather, WEATHER, _WEATHER_COLUMNS),
        cores=_core_table(cores),
        treatments=_plain_table(treatments, TREATMENTS, _TREATMENT_COLUMNS),
        findings=findings,
        hashes=dict(sorted(files.hashes.items())),
        account=account,
        visit_headers=dict(visits.headers),
    )


def _zones(files: _Folder) -> tuple[Draft | None, Grid | None]:
    named = files.table(ZONES)
    crs = files.settings.crs
    if named is None:
        return None, Grid(crs) if crs else None
    return check_zones(named, crs)


def _surroundings(files: _Folder, table: Table, grid: Grid | None) -> Draft | None:
    named = files.table(table)
    return None if named is None else check_surroundings(named, table, grid)


def _traps(files: _Folder, grid: Grid | None) -> Draft | None:
    named = files.table(TRAPS)
    return None if named is None else files.attempt(lambda: check_traps(named, grid))


def _visits(files: _Folder, layout: CountLayout, traps: Draft | None) -> Draft | None:
    named = files.table(VISITS, also=(*layout.wide, *layout.bycatch))
    if named is None:
        return None
    season = files.settings.season
    checks = [
        *visit_checks(_known_traps(traps), season),
        *count_checks(layout, files.settings),
    ]

    def checked() -> Draft:
        refuse_missing_counts(named, layout)
        return run_checks(draft_of(named, VISITS, layout.columns), checks)

    return files.attempt(checked)


def _zone_rows(files: _Folder, table: Table, zones: KnownZones) -> Draft | None:
    named = files.table(table)
    return None if named is None else run_checks(draft_of(named, table), zone_checks(zones))


def _cores(files: _Folder, zones: KnownZones) -> Draft | None:
    named = files.table(CORES)
    return None if named is None else check_cores(named, zone_checks(zones))


def _weather(files: _Folder) -> Draft | None:
    named = files.table(WEATHER)
    return None if named is None else files.attempt(lambda: check_weather(named))


def _known_traps(traps: Draft | None) -> KnownTraps:
    if traps is None:
        return KnownTraps(frozenset(), frozenset(), "", pd.DataFrame())
    ids = frozenset(traps.typed["trap_id"]) - {""}
    set_aside = frozenset(traps.typed["trap_id"][~traps.good()])
    return KnownTraps(ids, set_aside, traps.file, locations(traps))


def _known_zones(zones: Draft | None) -> KnownZones:
    if zones is None:
        return KnownZones(frozenset(), frozenset(), "")
    ids = frozenset(zones.typed["zone_id"]) - {""}
    return KnownZones(ids, frozenset(zones.sound["zone_id"]), zones.file)


def _all_findings(files: _Folder, drafts: Iterable[Draft | None]) -> tuple[Finding, ...]:
    """Order the findings by file as the tables are read, then by row."""
    found = [*files.findings, *(f for draft in drafts if draft for f in draft.findings)]
    order = {name: place for place, name in enumerate(files.hashes)}
    found.sort(key=lambda f: (order.get(f.file, -1), f.file, f.row or 0, f.code, f.column or ""))
    return tuple(found)


def _refuse_empty(
    findings: Sequence[Finding], account: Account, tables: Mapping[str, pd.DataFrame]
) -> None:
    empty = [
        Finding("IN-016", file, "no row is without an error", "mend the rows listed")
        for file, rows in tables.items()
        if rows.empty
    ]
    if empty:
        raise InputError([*findings, *empty], account)


def _shape_table(
    rows: pd.DataFrame, key: str, columns: Sequence[str], grid: Grid
) -> gpd.GeoDataFrame:
    ordered = _with_text(rows.sort_values(key).reset_index(drop=True))
    shapes = gpd.GeoSeries(ordered["geometry"], crs=grid.crs)
    return gpd.GeoDataFrame(ordered[[key, *columns]], geometry=shapes)


def _named_shapes(draft: Draft | None, table: Table, key: str, grid: Grid) -> gpd.GeoDataFrame:
    rows = _empty_rows(table) if draft is None else draft.sound
    return _shape_table(rows.rename(columns={"id": key}), key, ["kind", "note"], grid)


def _plain_table(draft: Draft | None, table: Table, columns: Sequence[str]) -> pd.DataFrame:
    rows = _empty_rows(table) if draft is None else draft.sound
    chosen = rows[list(columns)]
    return _with_text(chosen.sort_values(list(columns)).reset_index(drop=True))


def _core_table(draft: Draft | None) -> pd.DataFrame:
    rows = _empty_rows(CORES) if draft is None else draft.sound
    in_cm = rows["diameter"].where(rows["diameter_unit"] == "cm", rows["diameter"] * _CM_PER_INCH)
    rows = rows.assign(diameter_cm=in_cm)[_CORE_COLUMNS]
    return _with_text(rows.sort_values(_CORE_COLUMNS).reset_index(drop=True))


def _with_text(table: pd.DataFrame) -> pd.DataFrame:
    """Give text columns pandas' own text type; until here they are objects, which is faster."""
    return table.astype({name: str for name, kind in table.dtypes.items() if is_object_dtype(kind)})


def _empty_rows(table: Table) -> pd.DataFrame:
    nothing = pd.DataFrame(index=pd.RangeIndex(0))
    rows = draft_of(NamedTable(RawTable(table.name, nothing), {}), table).typed
    return rows.assign(geometry=gpd.GeoSeries([])) if table.shape else rows
