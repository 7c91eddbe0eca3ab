"""A whole site in one GeoPackage: a layer for each table, under the column names of the schemas."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyogrio
import shapely
from pandas.api.types import is_bool_dtype, is_datetime64_any_dtype, is_numeric_dtype
from pyogrio.raw import write

from data.catches import CountLayout, count_layout
from data.observation import to_readings
from data.site import Site
from data.taxa import split_genus_totals
from maps.records import Records, provenance
from maps.xml_text import xml_text

PROVENANCE = "provenance"
_VISIT_KEYS = ["visit_id", "location_id", "trap_id", "set_on", "checked_on", "status"]
_CLOCK = "OGR_CURRENT_DATE"


@dataclass(frozen=True, slots=True)
class _Layer:
    """One layer: its name and its table, a GeoDataFrame where rows have shapes."""

    name: str
    table: pd.DataFrame


def geopackage(records: Records) -> bytes:
    """Return `site.gpkg`: a layer for each table that has rows, and `provenance`.

    Shapes are in the site's CRS. Columns bear the names of `data.schemas`, so that the file reads
    back as a site beside the `site.toml` of `maps.site_toml`; the `visits` layer keeps the site's
    own layout, a column for each species or a row for each. Both time stamps that GDAL writes hold
    the cut-off, so that the same records give the same bytes (with the same version of GDAL).
    """
    with TemporaryDirectory() as folder:
        path = Path(folder, "site.gpkg")
        with _clock_at(f"{records.cutoff.isoformat()}T00:00:00.000Z"):
            for layer in _layers(records):
                _write_layer(path, layer)
        return path.read_bytes()


def visits_table(site: Site) -> pd.DataFrame:
    """Return the visits with their counts, laid out as the site's own file of visits.

    Returns
    -------
    pandas.DataFrame
        `visit_id`, `location_id`, `trap_id`, `set_on`, `checked_on`, `status`, then a column for
        each species, or `species` and `adults` with one row for each; by-catch columns, then what
        else the visits hold, as `minutes` and `note`. A visit without a count has blank counts,
        never zero.
    """
    layout = count_layout(site.settings)
    counts = _counts(site, layout)
    visits = site.visits[_VISIT_KEYS]
    if layout.long:
        visits = _with_species_rows(visits, counts, layout)
    else:
        named = counts.assign(column=counts["taxon"].map(_columns_by_species(site)))
        visits = _with_columns(visits, named.dropna(subset="column"), layout.wide)
        # The second of two columns for one species: its adults are in the first.
        ok = visits["status"] == "ok"
        filled = {name: visits[name].mask(ok & visits[name].isna(), 0.0) for name in layout.wide}
        visits = visits.assign(**filled)
    bycatch = counts.assign(column=counts["taxon"])
    visits = _with_columns(visits, bycatch, layout.bycatch)
    known = {*_VISIT_KEYS, "adults", "source_row"}
    last = [name for name in site.visits if name not in known]
    rest = site.visits.set_index("visit_id")[last]
    return visits.join(rest, on="visit_id").reset_index(drop=True)


def _layers(records: Records) -> Iterator[_Layer]:
    """Yield the layers in order; a table without rows is none, for a reader takes it as a slip."""
    site = records.site
    tables: tuple[tuple[str, Callable[[Site], pd.DataFrame]], ...] = (
        ("zones", lambda each: each.zones),
        ("refuges", lambda each: each.refuges.rename(columns={"refuge_id": "id"})),
        ("obstacles", lambda each: each.obstacles.rename(columns={"obstacle_id": "id"})),
        ("traps", lambda each: each.traps),
        ("visits", visits_table),
        ("catches", lambda each: each.catches),
        ("bycatch", lambda each: each.bycatch),
        ("cores", _cores),
        ("weather", _readings),
        ("treatments", lambda each: each.treatments),
    )
    for name, table in tables:
        rows = table(site)
        if len(rows):
            yield _Layer(name, rows)
    facts = provenance(records)
    yield _Layer(PROVENANCE, pd.DataFrame({"key": list(facts), "value": list(facts.values())}))


def _cores(site: Site) -> pd.DataFrame:
    cores = site.cores.rename(columns={"diameter_cm": "diameter"})
    return cores.assign(diameter_unit="cm")


def _readings(site: Site) -> pd.DataFrame:
    """Return the weather as the station wrote it, which the site's settings tell how to read."""
    return to_readings(site.weather, site.settings.weather.observed)


def _counts(site: Site, layout: CountLayout) -> pd.DataFrame:
    """Return every count as `visit_id`, `taxon`, `count`, as it would be typed."""
    catches = site.catches.rename(columns={"species": "taxon", "adults": "count"})
    counts = pd.concat([catches, site.bycatch], ignore_index=True)
    groups = counts["taxon"].isin(layout.bycatch)
    return pd.concat([_with_genus_totals(counts[~groups]), counts[groups]], ignore_index=True)


def _with_genus_totals(counts: pd.DataFrame) -> pd.DataFrame:
    """Let a row of a genus hold the sum of its genus again, which the reader splits."""
    named = counts.rename(columns={"taxon": "species", "count": "adults"})
    others = named["adults"] - split_genus_totals(named)["adults"]
    return counts.assign(count=counts["count"] + others)


def _columns_by_species(site: Site) -> dict[str, str]:
    """Return species -> column; of two columns for one species the first holds the sum."""
    columns: dict[str, str] = {}
    for column, species in site.settings.species_columns.items():
        columns.setdefault(species, column)
    return columns


def _with_species_rows(
    visits: pd.DataFrame, counts: pd.DataFrame, layout: CountLayout
) -> pd.DataFrame:
    """Return a row for each species of a visit; a visit without any keeps one row.

    Of an `ok` visit without a species, that row says 0 adults.
    """
    species = counts[~counts["taxon"].isin(layout.bycatch)]
    species = species.rename(columns={"taxon": "species", "count": "adults"})
    rows = visits.merge(species, on="visit_id", how="left")
    nothing = rows["species"].isna() & (rows["status"] == "ok")
    return rows.assign(species=rows["species"].fillna(""), adults=rows["adults"].mask(nothing, 0.0))


def _with_columns(
    visits: pd.DataFrame, counts: pd.DataFrame, columns: tuple[str, ...]
) -> pd.DataFrame:
    """Add a column of counts for each name; blank where nothing was counted."""
    for name in columns:
        found = counts[counts["column"] == name].set_index("visit_id")["count"]
        visits = visits.assign(**{name: visits["visit_id"].map(found)})
    return visits


def _write_layer(path: Path, layer: _Layer) -> None:
    shapes, kind, crs = _shapes(layer.table)
    columns = layer.table.drop(columns="geometry", errors="ignore")
    keys = {"FID": _free_name("fid", columns), "GEOMETRY_NAME": _free_name("geom", columns)}
    write(
        path,
        shapes,
        [_field(columns[name]) for name in columns],
        [str(name) for name in columns],
        layer=layer.name,
        driver="GPKG",
        geometry_type=kind,
        crs=crs,
        append=False,
        layer_options=keys if shapes is not None else {"FID": keys["FID"]},
    )


def _free_name(name: str, columns: pd.DataFrame) -> str:
    """Return a name for a column of GDAL's own that no column of the site bears."""
    taken = {str(each).lower() for each in columns}
    return f"{name}_" if name in taken else name


def _shapes(table: pd.DataFrame) -> tuple[npt.NDArray[np.object_] | None, str | None, str | None]:
    """Return shapes as WKB with their kind and CRS; None for a plain table."""
    if not isinstance(table, gpd.GeoDataFrame) or table.crs is None:
        return None, None, None
    kinds = set(table.geometry.geom_type)
    kind = kinds.pop() if len(kinds) == 1 else "Unknown"
    wkb = np.asarray(shapely.to_wkb(table.geometry.to_numpy()), dtype=object)
    return wkb, kind, table.crs.to_wkt()


def _field(column: pd.Series) -> npt.NDArray[np.generic]:
    """Return a column as GDAL takes it: days as dates, whole numbers as integers, else text."""
    if is_datetime64_any_dtype(column):
        return column.to_numpy(dtype="datetime64[D]")
    if is_numeric_dtype(column) and not is_bool_dtype(column):
        return column.to_numpy()
    return np.array([None if pd.isna(each) else xml_text(str(each)) for each in column], object)


@contextmanager
def _clock_at(moment: str) -> Iterator[None]:
    """Let GDAL take a fixed moment for the time of writing."""
    before = pyogrio.get_gdal_config_option(_CLOCK)
    pyogrio.set_gdal_config_options({_CLOCK: moment})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_CLOCK: before})
