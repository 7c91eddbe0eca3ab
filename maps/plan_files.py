"""The shapes and the table of a treatment plan, for the crew's and the sprayer's programs."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from shapely.geometry.base import BaseGeometry

from data.archives import pack
from data.version import VERSION
from maps.columns import Column
from maps.exports import WGS84, csv_text, number_text, rounded
from maps.language_file import english
from maps.shapes_out import DEGREE_DECIMALS, in_degrees
from maps.treatment_words import areas_text, short_amount
from maps.xml_text import add_text, document, xml_text
from spatial.treatment import LEFT_OUT
from spatial.treatment_plan import TreatmentPlan
from spatial.units import M2_PER_1000_FT2, M2_PER_ACRE, M2_PER_HA

_LEFT_OUT_MEANING = {
    "obstacle": "On obstacles.",
    "buffer": "In the user's buffers.",
    "exclusion": "In zones whose use is never treated.",
    "overlap": "Counted in a zone higher in the order.",
    "sliver": "In leftover pieces under 1 m2.",
}

PLAN_COLUMNS = (
    Column("order", "count", "Place in the order of evidence, from 1.", 0),
    Column("zone_id", "id", "Name of the zone.", is_id=True),
    Column("use", "text", "Use of the zone."),
    Column("name", "text", "Its name shown to people."),
    Column("state", "code", "Evidence against the limit; blank where not judged."),
    Column("judged_by", "code", "`adults` or `larvae`: what was held against the limit."),
    Column("p_above", "probability", "Chance that the zone is over its limit; blank unknown.", 3),
    Column("rate", "adults per trap-week", "Season-to-date catch rate.", 3),
    Column("tactic", "text", "`adult`, `larva`, `biological` or `cultural`."),
    Column("gross_m2", "m2", "Area of the zone as drawn.", 3),
    *(Column(f"{key}_m2", "m2", _LEFT_OUT_MEANING[key], 3) for key in LEFT_OUT),
    Column("net_m2", "m2", "Area to treat.", 3),
    Column("net_ha", "ha", "The same.", 5),
    Column("net_acres", "acre", "The same.", 5),
    Column("net_1000_ft2", "1,000 ft2", "The same.", 4),
    Column("product", "number", "Product for the zone; blank without a rate.", 4),
    Column("product_unit", "text", "Unit of it."),
    Column("spray", "number", "Spray for the zone; blank without a volume.", 3),
    Column("spray_unit", "text", "Unit of it."),
    Column("week", "ISO week", "Week of the evidence."),
    Column("cutoff", "date", "Last day whose visits count."),
)
"""Columns of `plan.csv`."""

_SHORT = {"net_acres": "net_ac", "product_unit": "prod_unit", "net_1000_ft2": "net_kft2"}
"""Names of a Shapefile have ten characters at most."""

_SHAPE_COLUMNS = (
    *("order", "zone_id", "use", "name", "state", "tactic", "net_m2", "net_ha", "net_acres"),
    *("net_1000_ft2", "product", "product_unit", "spray", "spray_unit"),
)

_CLOCK = "OGR_CURRENT_DATE"


def plan_table(plan: TreatmentPlan) -> gpd.GeoDataFrame:
    """Return the zones of a plan with areas in all units and amounts; geometry is what is treated.

    Columns are `PLAN_COLUMNS`.
    """
    zones, doses = plan.areas.zones, plan.zone_doses
    products, sprays = [each.product for each in doses], [each.spray for each in doses]
    return zones.assign(
        tactic=plan.tactic_name,
        net_ha=zones["net_m2"] / M2_PER_HA,
        net_acres=zones["net_m2"] / M2_PER_ACRE,
        net_1000_ft2=zones["net_m2"] / M2_PER_1000_FT2,
        product=[each.amount if each else float("nan") for each in products],
        product_unit=[each.unit.name if each else "" for each in products],
        spray=[each.amount if each else float("nan") for each in sprays],
        spray_unit=[each.unit.name if each else "" for each in sprays],
        week=plan.week,
        cutoff=plan.cutoff.isoformat(),
    )


def plan_csv(plan: TreatmentPlan) -> str:
    """Return `plan.csv`: one row per zone in order, columns `PLAN_COLUMNS`."""
    return csv_text(pd.DataFrame(plan_table(plan).drop(columns="geometry")), PLAN_COLUMNS)


def plan_geojson(plan: TreatmentPlan) -> str:
    """Return `plan.geojson` (RFC 7946): what is treated, in WGS 84."""
    table = in_degrees(_drawn(plan))
    places = {each.name: each.decimals for each in PLAN_COLUMNS}
    features = [
        {
            "type": "Feature",
            "geometry": shapely.geometry.mapping(shape),
            "properties": {
                name: _property(table[name].iloc[n], places[name]) for name in _SHAPE_COLUMNS
            },
        }
        for n, shape in enumerate(table.geometry)
    ]
    whole = {"type": "FeatureCollection", "provenance": _provenance(plan), "features": features}
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def plan_kml(plan: TreatmentPlan) -> str:
    """Return `plan.kml` (OGC KML 2.2): one placemark per zone, with its area and amount."""
    table = in_degrees(_drawn(plan))
    root = ET.Element("kml", {"xmlns": "http://www.opengis.net/kml/2.2"})
    whole = ET.SubElement(root, "Document")
    add_text(whole, "name", f"Treatment plan, {plan.site.settings.name}, {plan.week}")
    add_text(whole, "description", "; ".join(f"{k} {v}" for k, v in _provenance(plan).items()))
    amounts = [dose.product for dose in plan.zone_doses]
    for n, shape in enumerate(table.geometry):
        row = table.iloc[n]
        mark = ET.SubElement(whole, "Placemark")
        add_text(mark, "name", f"{row['order']} {row['zone_id']}")
        amount = amounts[int(row["order"]) - 1]
        told = f"; product {short_amount(amount, english())}" if amount else ""
        area = areas_text(row["net_m2"], english())
        add_text(mark, "description", f"{row['use']}, {area}{told}")
        _add_polygons(mark, shape)
    return document(root)


def plan_geopackage(plan: TreatmentPlan) -> bytes:
    """Return `plan.gpkg`: layers `treat` and `left_out`, in the site's CRS; they share no ground.

    Both time stamps that GDAL writes hold the cut-off, so equal plans give equal bytes.
    """
    layers = {
        "treat": _drawn(plan)[[*_SHAPE_COLUMNS, "geometry"]],
        "left_out": plan.areas.untreated,
    }
    before = pyogrio.get_gdal_config_option(_CLOCK)
    pyogrio.set_gdal_config_options({_CLOCK: f"{plan.cutoff.isoformat()}T00:00:00.000Z"})
    try:
        with TemporaryDirectory() as folder:
            path = Path(folder, "plan.gpkg")
            for name, table in layers.items():
                if len(table):
                    pyogrio.write_dataframe(
                        _multi(table), path, layer=name, driver="GPKG", append=path.exists()
                    )
            return path.read_bytes()
    finally:
        pyogrio.set_gdal_config_options({_CLOCK: before})


def plan_shapefile(plan: TreatmentPlan) -> bytes:
    """Return `plan-shapefile.zip`: what is treated, in WGS 84, names cut to ten characters."""
    table = _drawn(plan)[[*_SHAPE_COLUMNS, "geometry"]].rename(columns=_SHORT).to_crs(WGS84)
    with TemporaryDirectory() as folder:
        pyogrio.write_dataframe(
            _multi(table),
            Path(folder, "plan.shp"),
            driver="ESRI Shapefile",
            encoding="UTF-8",
            layer_options={"DBF_DATE_LAST_UPDATE": plan.cutoff.isoformat()},
        )
        return pack({path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())})


def _drawn(plan: TreatmentPlan) -> gpd.GeoDataFrame:
    """Return the zones of which something is treated."""
    table = plan_table(plan)
    texts = ("zone_id", "use", "name", "state")
    safe = table.assign(**{name: table[name].astype(str).map(xml_text) for name in texts})
    return safe[~safe.geometry.is_empty].reset_index(drop=True)


def _multi(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return a table whose shapes are all of one kind, as a layer must be."""
    shapes = [shapely.MultiPolygon(list(shapely.get_parts(each))) for each in table.geometry]
    return table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))


def _property(value: Any, decimals: int | None) -> object:
    return rounded(value, decimals)


def _provenance(plan: TreatmentPlan) -> dict[str, str]:
    facts = {
        "site": plan.site.settings.name,
        "week": plan.week,
        "cutoff": plan.cutoff.isoformat(),
        "tactic": plan.tactic_name,
        "snoutline": VERSION,
    }
    return {key: xml_text(value) for key, value in facts.items()}


def _add_polygons(mark: ET.Element, shape: BaseGeometry) -> None:
    whole = ET.SubElement(mark, "MultiGeometry")
    for part in shapely.get_parts(shape):
        polygon = ET.SubElement(whole, "Polygon")
        _add_ring(ET.SubElement(polygon, "outerBoundaryIs"), part.exterior)
        for hole in part.interiors:
            _add_ring(ET.SubElement(polygon, "innerBoundaryIs"), hole)


def _add_ring(boundary: ET.Element, ring: BaseGeometry) -> None:
    points = [
        f"{number_text(x, DEGREE_DECIMALS)},{number_text(y, DEGREE_DECIMALS)}"
        for x, y in shapely.get_coordinates(ring)
    ]
    add_text(ET.SubElement(boundary, "LinearRing"), "coordinates", " ".join(points))
