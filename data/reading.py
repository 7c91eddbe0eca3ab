"""Reading a site: every file found, read, checked and laid out, with all findings in one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import pandas as pd
from pandas.api.types import is_object_dtype

from data.catches import (
    CountLayout,
    count_checks,
    count_columns,
    count_layout,
    lay_out_visits,
    used_rows,
)
from data.checks import Draft, run_checks, same_row_twice
from data.columns import name_columns
from data.coordinates import needed_positions, with_design, with_shapes
from data.cores import check_cores
from data.day_slips import VisitDays, day_checks, late_checks, life_checks, visit_days
from data.degree_day_models import site_models
from data.files import SourceFile, find_file
from data.findings import Finding, InputError
from data.ground import check_ground, surroundings_of
from data.limits import unknown_places
from data.observation import to_days
from data.places import Grid, latitude_of
from data.raw import NamedTable, NoSuchLayerError, RawTable
from data.references import KnownZones, trap_named_as_place, unused_designs, zone_checks
from data.schemas import (
    CORES,
    OBSTACLES,
    REFUGES,
    SITE_FILE,
    TRAPS,
    TREATMENTS,
    VISITS,
    WEATHER,
    ZONES,
    Table,
)
from data.set_aside import Account, Tally, account_of, unread_files
from data.settings import SiteSettings
from data.settings_file import read_settings
from data.shapes import SHAPE_READERS
from data.site import Site
from data.species_names import with_known_names
from data.tables import TABLE_READERS
from data.traps import check_traps, locations
from data.values import draft_of
from data.visits import KnownTraps, visit_checks
from data.weather import check_weather, temperature_columns
from data.workbooks import WORKBOOK_READERS
from data.zones import check_surroundings, check_zones

_T = TypeVar("_T")

_CM_PER_INCH = 2.54

_ZONE_COLUMNS = ["use", "name", "priority", "note"]
_TRAP_COLUMNS = [
    *("trap_id", "design", "installed", "removed"),
    *("axis_deg", "slot_m", "elevation_m", "note"),
]
_CORE_COLUMNS = ["zone_id", "sampled_on", "cores", "diameter_cm", "larvae", "pupae", "position"]
_WEATHER_COLUMNS = ["date", "tmin_c", "tmax_c", "rain_mm", "observed_at"]
_TREATMENT_COLUMNS = [column.name for column in TREATMENTS.columns]

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
    raws: dict[str, RawTable] = field(default_factory=dict)

    def table(self, table: Table, also: Mapping[str, str] | None = None) -> NamedTable | None:
        """Return a table under our names; None when it is not there or not readable."""
        source = self.attempt(lambda: find_file(self.path, table, self.settings))
        if source is None:
            return None
        self.hashes |= source.hashes
        return self.attempt(lambda: self._named(source, table, also))

    def _named(
        self, source: SourceFile, table: Table, also: Mapping[str, str] | None
    ) -> NamedTable | None:
        try:
            raw = READERS[source.suffix](source)
        except NoSuchLayerError:
            # A file of several tables may lack those that a site can do without.
            if table.required:
                raise
            return None
        self.raws[raw.file] = raw
        aliases = self.settings.aliases.get(table.name, {})
        raw = with_design(raw, table, aliases)
        needed = _needed_columns(raw, table, aliases) | dict(also or {})
        return with_shapes(name_columns(raw, table, aliases, needed), table)

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
        When `site.toml` is missing or wrong, or the model that it names.
    InputError
        When zones, traps or visits are missing, cannot be read, or have no row without an error;
        it carries the findings of all files.
    """
    settings, toml_hash = read_settings(folder)
    named = settings.phenology.model
    model = site_models((named,), folder)[0] if named else None
    files = _Folder(folder, settings, hashes={"site.toml": toml_hash})
    zones, grid = _zones(files)
    refuges = _surroundings(files, REFUGES, grid)
    obstacles = _surroundings(files, OBSTACLES, grid)
    traps = _traps(files, grid)
    if traps is not None and grid is not None:
        traps = check_ground(traps, surroundings_of(zones, refuges, obstacles), settings)
    layout = count_layout(settings)
    visits = _visits(files, layout, traps)
    days = visit_days(visits)
    if traps is not None:
        traps = run_checks(traps, life_checks(days))
    known = _known_zones(zones)
    cores = _cores(files, known, days)
    treatments = _treatments(files, known, days)
    weather = _weather(files, grid, days)
    drafts = (zones, refuges, obstacles, traps, visits, cores, weather, treatments)
    files.findings.extend(_strange_limits(settings, zones))
    findings = _all_findings(files, drafts)
    if zones is None or traps is None or visits is None or grid is None:
        raise InputError(findings, _account(files, drafts, findings, visits, None))
    places = locations(traps)
    tables = lay_out_visits(visits, layout, settings, places)
    account = _account(files, drafts, findings, visits, places)
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
        weather=_weather_table(weather, settings),
        cores=_core_table(cores),
        treatments=_plain_table(treatments, TREATMENTS, _TREATMENT_COLUMNS),
        findings=findings,
        hashes=dict(sorted(files.hashes.items())),
        account=account,
        visit_headers=dict(visits.headers),
        model=model,
    )


def read_forecast(path: Path, settings: SiteSettings) -> pd.DataFrame:
    """Read a forecast: a file as `weather` is one, of days that are still to come.

    Parameters
    ----------
    path
        The file.
    settings
        Of the site: names of columns and how its weather is typed hold for the forecast too.

    Returns
    -------
    pandas.DataFrame
        `date`, `tmin_c`, `tmax_c`.

    Raises
    ------
    InputError
        If it cannot be read, or any row of it is wrong: half a forecast says nothing.
    """
    files = _Folder(path.parent, replace(settings, files={"weather": path.name}))
    named = files.table(WEATHER)
    draft = None if named is None else files.attempt(lambda: check_weather(named))
    wrong = [each for each in (draft.findings if draft else ()) if each.severity == "error"]
    if draft is None or wrong:
        raise InputError([*files.findings, *wrong])
    return _plain_table(draft, WEATHER, ["date", "tmin_c", "tmax_c"])


def _zones(files: _Folder) -> tuple[Draft | None, Grid | None]:
    named = files.table(ZONES)
    crs = files.settings.crs
    if named is None:
        return None, Grid(crs) if crs else None
    return check_zones(named, crs, files.settings.units)


def _surroundings(files: _Folder, table: Table, grid: Grid | None) -> Draft | None:
    named = files.table(table)
    return None if named is None else check_surroundings(named, table, grid)


def _traps(files: _Folder, grid: Grid | None) -> Draft | None:
    named = files.table(TRAPS)
    traps = None if named is None else files.attempt(lambda: check_traps(named, grid))
    if traps is None:
        return None
    files.findings.extend(unused_designs(files.settings.designs, traps))
    return run_checks(traps, [trap_named_as_place])


def _visits(files: _Folder, layout: CountLayout, traps: Draft | None) -> Draft | None:
    settings = files.settings
    named = files.table(VISITS, also=count_columns(layout))
    if named is None:
        return None
    draft = draft_of(named, VISITS, layout.columns)
    if layout.long:
        draft = with_known_names(draft, settings)
    checks = visit_checks(_known_traps(traps), settings.season)
    return run_checks(draft, [*checks, *count_checks(layout, settings)])


def _treatments(files: _Folder, zones: KnownZones, days: VisitDays | None) -> Draft | None:
    named = files.table(TREATMENTS)
    fix = "delete it, unless it was applied twice that day; then say so in the note"
    twice = same_row_twice("IN-107", fix)
    checks = [*zone_checks(zones), *day_checks(days, ("applied_on",)), twice]
    return None if named is None else run_checks(draft_of(named, TREATMENTS), checks)


def _cores(files: _Folder, zones: KnownZones, days: VisitDays | None) -> Draft | None:
    named = files.table(CORES)
    checks = [*zone_checks(zones), *day_checks(days, ("sampled_on",))]
    return None if named is None else check_cores(named, checks)


def _weather(files: _Folder, grid: Grid | None, days: VisitDays | None) -> Draft | None:
    named, observed = files.table(WEATHER), files.settings.weather.observed
    if named is None:
        return None
    latitude = None if grid is None else latitude_of(grid)
    checked = files.attempt(lambda: check_weather(named, observed, latitude))
    return None if checked is None else run_checks(checked, late_checks(days, ("date",)))


def _account(
    files: _Folder,
    drafts: Sequence[Draft | None],
    findings: Sequence[Finding],
    visits: Draft | None,
    places: pd.DataFrame | None,
) -> Account:
    """Tell what became of every row; no visit counts at a site whose traps have no places."""
    used: dict[str, Sequence[int]] = {}
    if visits is not None:
        used[visits.file] = [] if places is None else list(used_rows(visits, places).index)
    order = [name for name in files.hashes if name != SITE_FILE]
    account = account_of(drafts, used, files.raws, unread_files(drafts, order, findings))

    def place(tally: Tally) -> int:
        return order.index(tally.file) if tally.file in order else -1

    known = all(place(tally) >= 0 for tally in account.tallies)
    return replace(account, tallies=tuple(sorted(account.tallies, key=place))) if known else account


def _needed_columns(raw: RawTable, table: Table, aliases: Mapping[str, str]) -> dict[str, str]:
    """Return the columns that a table must have by what others it has."""
    names = [aliases.get(str(name), str(name)) for name in raw.text]
    if table == WEATHER:
        return dict.fromkeys(temperature_columns(names), "")
    if table.shape == "point" and raw.geometry is None and "wkt" not in names:
        return needed_positions(names)
    return {}


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


def _strange_limits(settings: SiteSettings, zones: Draft | None) -> list[Finding]:
    """Return a finding for every limit that holds for no zone, because its name is unknown."""
    if zones is None:
        return []
    rows = zones.typed
    told = unknown_places(settings.limits, set(rows["zone_id"]) - {""}, set(rows["use"]) - {""})
    return [
        Finding("IN-106", SITE_FILE, f"{problem}, so it holds nowhere", fix, severity="warning")
        for problem, fix in told
    ]


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


def _weather_table(draft: Draft | None, settings: SiteSettings) -> pd.DataFrame:
    readings = _plain_table(draft, WEATHER, _WEATHER_COLUMNS)
    return _with_text(to_days(readings, settings.weather.observed))


def _with_text(table: pd.DataFrame) -> pd.DataFrame:
    """Give text columns pandas' own text type; until here they are objects, which is faster."""
    return table.astype({name: str for name, kind in table.dtypes.items() if is_object_dtype(kind)})


def _empty_rows(table: Table) -> pd.DataFrame:
    nothing = pd.DataFrame(index=pd.RangeIndex(0))
    rows = draft_of(NamedTable(RawTable(table.name, nothing), {}), table).typed
    return rows.assign(geometry=gpd.GeoSeries([])) if table.shape else rows
