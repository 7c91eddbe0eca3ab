"""The files of the demo site, as bytes, and the truth behind them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from data.demo import beetles, weather
from data.demo.beetles import DemoOptions
from data.demo.layout import CRS, LAYOUT_SEED, PRIORITY, DemoLayout, Feature, demo_layout
from data.demo.network import SLOT_M
from data.demo.outlines import Array
from data.demo.records import cores, treatments
from data.demo.rounds import draw_season, trap_luck
from data.demo.settings_text import SITE_TOML

DEGREE_DECIMALS = 7


def build_demo(options: DemoOptions | None = None) -> dict[str, bytes]:
    """Return every file of the demo site: name -> bytes.

    Parameters
    ----------
    options
        Seed and switches; the committed site is that of the defaults.

    Examples
    --------
    >>> sorted(build_demo())[:3]
    ['cores.csv', 'obstacles.geojson', 'refuges.geojson']
    """
    options = options or DemoOptions()
    layout = demo_layout()
    tables = {
        "traps.csv": trap_table(layout),
        "visits.csv": draw_season(layout, options),
        "cores.csv": cores(layout, options),
        "weather.csv": weather_table(),
        "treatments.csv": treatments(),
    }
    files = {name: _csv(table) for name, table in tables.items()}
    files["zones.geojson"] = _geojson(layout.zones, "zone_id", zones=True)
    files["refuges.geojson"] = _geojson(layout.refuges, "id")
    files["obstacles.geojson"] = _geojson(layout.obstacles, "id")
    files["site.toml"] = SITE_TOML.encode()
    return files


def demo_truth(options: DemoOptions | None = None) -> dict[str, object]:
    """Return what was put into the demo site: for tests and for readers, never for the analysis."""
    options = options or DemoOptions()
    layout = demo_layout()
    return {
        "seed": options.seed,
        "layout_seed": LAYOUT_SEED,
        "weather_seed": weather.WEATHER_SEED,
        "switches": {"patches": options.patches, "refuge_effect": options.refuge_effect},
        "design_ratio": {"linear": beetles.LINEAR_RATIO},
        "dispersion_k": beetles.DISPERSION_K,
        "patches": _patches(layout),
        "refuge_effect": {"gain": beetles.REFUGE_GAIN, "decay_m": beetles.REFUGE_DECAY_M},
        "species": {s.name: _timing(s) for s in beetles.SPECIES},
        "trap_effect_sd": beetles.TRAP_SD,
        "traps": _trap_truth(layout, options),
        "treatments": {
            "factor": beetles.TREATMENT_FACTOR,
            "nights": beetles.TREATMENT_NIGHTS,
            "zones": {key: day.isoformat() for key, (day, _) in beetles.TREATED.items()},
        },
        "walking": {"midpoint_c": beetles.WALK_MIDPOINT_C, "slope_c": beetles.WALK_SLOPE_C},
    }


def truth_bytes(options: DemoOptions | None = None) -> bytes:
    """Return the truth as the bytes of `truth.json`."""
    text = json.dumps(demo_truth(options), indent=2, sort_keys=True, ensure_ascii=False)
    return f"{text}\n".encode()


def trap_table(layout: DemoLayout) -> pd.DataFrame:
    """Return `traps.csv`: one row per trap location, longitude and latitude in degrees."""
    traps = layout.traps
    places = _degrees(np.array([(t.easting_m, t.northing_m) for t in traps]))
    return pd.DataFrame(
        {
            "trap_id": [t.trap_id for t in traps],
            "design": [t.design for t in traps],
            "longitude": [f"{x:.{DEGREE_DECIMALS}f}" for x, _ in places],
            "latitude": [f"{y:.{DEGREE_DECIMALS}f}" for _, y in places],
            "installed": [t.installed.isoformat() for t in traps],
            "removed": [t.removed.isoformat() if t.removed else "" for t in traps],
            "axis_deg": ["" if t.axis_deg is None else str(t.axis_deg) for t in traps],
            "slot_m": ["" if t.axis_deg is None else f"{SLOT_M:.3f}" for t in traps],
            "note": [t.note for t in traps],
        }
    )


def weather_table() -> pd.DataFrame:
    """Return `weather.csv`: one row per day, degrees Fahrenheit."""
    days = weather.demo_weather()
    return pd.DataFrame(
        {
            "date": [day.isoformat() for day in days.days],
            "tmin_f": [f"{value:.1f}" for value in days.tmin_f],
            "tmax_f": [f"{value:.1f}" for value in days.tmax_f],
        }
    )


def _patches(layout: DemoLayout) -> dict[str, object]:
    return {
        patch: {
            "multiplier": multiplier,
            "traps": [t.location_id for t in layout.traps if t.patch == patch],
            "zones": sorted({t.zone_id for t in layout.traps if t.patch == patch}),
        }
        for patch, multiplier in beetles.PATCHES.items()
    }


def _timing(species: beetles.Species) -> dict[str, float]:
    return {
        "level_per_night": species.level,
        "peak_dd10c": species.peak_dd,
        "spread_log": species.spread,
    }


def _trap_truth(layout: DemoLayout, options: DemoOptions) -> dict[str, object]:
    """Return, per location, its zone and what multiplies a lone cup's catch there."""
    factors = beetles.place_factors(layout.traps, options)
    luck = trap_luck(len(layout.traps), options)
    return {
        t.location_id: {
            "design": t.design,
            "luck": round(float(luck[n]), 4),
            "patch": t.patch if options.patches else "",
            "place_factor": round(float(factors[n]), 4),
            "refuge_distance_m": t.refuge_distance_m,
            "zone_id": t.zone_id,
        }
        for n, t in enumerate(layout.traps)
    }


def _degrees(points: Array) -> Array:
    """Return longitude and latitude of points in the demo's CRS."""
    to_degrees = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    return np.round(np.column_stack(to_degrees.transform(points[:, 0], points[:, 1])), 7)


def _csv(table: pd.DataFrame) -> bytes:
    return table.to_csv(index=False, lineterminator="\n").encode()


def _geojson(features: Sequence[Feature], id_name: str, *, zones: bool = False) -> bytes:
    """Return features as RFC 7946 GeoJSON, one feature a line."""
    lines = []
    for feature in features:
        shape = shapely.transform(feature.shape, _degrees)
        record = {
            "geometry": _geometry(shapely.orient_polygons(shape)),
            "properties": _properties(feature, id_name, zones=zones),
            "type": "Feature",
        }
        lines.append(json.dumps(record, sort_keys=True, separators=(",", ":")))
    body = ",\n".join(lines)
    return f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n'.encode()


def _properties(feature: Feature, id_name: str, *, zones: bool) -> Mapping[str, object]:
    out: dict[str, object] = {id_name: feature.feature_id}
    if zones:
        out |= {"use": feature.kind, "name": feature.name}
        out |= {"priority": PRIORITY.get(feature.kind, 2), "note": ""}
        return out
    return out | {"kind": feature.kind, "note": feature.name}


def _geometry(shape: shapely.Geometry) -> Mapping[str, object]:
    """Return a GeoJSON geometry with coordinates cut to the demo's decimals."""
    record = json.loads(shapely.to_geojson(shape))
    return {"coordinates": _cut(record["coordinates"]), "type": record["type"]}


def _cut(value: object) -> object:
    if isinstance(value, list):
        return [_cut(part) for part in value]
    return round(float(str(value)), DEGREE_DECIMALS)
