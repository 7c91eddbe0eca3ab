"""What the tables of a site hold: every column, declared once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from data.site import STATUSES

Kind = Literal["id", "text", "word", "date", "number", "angle", "count"]
"""How a column is read: `id` and `text` as typed, `word` from a closed list, `count` whole, `angle`
in decimal degrees or in degrees, minutes and seconds."""

Shape = Literal["", "polygon", "point", "polygon or line"]

SITE_FILE = "site.toml"

TABLE_SUFFIXES = (".csv", ".tsv", ".xlsx", ".ods", ".gpkg", ".geojson", ".parquet")
"""Kinds of file for a plain table, the usual ones first."""

SHAPE_SUFFIXES = (
    *(".geojson", ".gpkg", ".shp", ".zip", ".kml", ".kmz", ".parquet"),
    *(".csv", ".tsv", ".xlsx", ".ods"),
)
"""Kinds of file for shapes; a plain table needs a column `wkt`."""

LARGEST_COUNT = 5000
"""More adults in one visit than this is a slip of the key (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name
        Our name; a site may map its own with ``[columns.TABLE]`` in `site.toml`.
    kind
        How the text is turned into a value.
    description
        One line for people who fill the table in.
    required
        Whether the column must be there with every cell filled.
    unit
        Unit of a number, ``""`` without one.
    words
        The allowed words of a `word` column.
    low, high
        Smallest and largest value of a `number` or `count`, both allowed.
    minor
        Whether a wrong value costs only itself: a warning, and the cell is read as blank.

    Examples
    --------
    >>> Column("slot_m", "number", "length of the slot", unit="m", low=0.0).required
    False
    """

    name: str
    kind: Kind
    description: str
    required: bool = False
    unit: str = ""
    words: tuple[str, ...] = ()
    low: float = float("-inf")
    high: float = float("inf")
    minor: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a site.

    Parameters
    ----------
    name
        Name of the table and stem of its file, e.g. ``"visits"``.
    columns
        Its columns, in order.
    required
        Whether a site can do without it.
    shape
        Geometry its rows carry, ``""`` for a plain table.
    suffixes
        File suffixes looked for, in order.

    Examples
    --------
    >>> ZONES.column("use").required
    True
    """

    name: str
    columns: tuple[Column, ...]
    required: bool = False
    shape: Shape = ""
    suffixes: tuple[str, ...] = TABLE_SUFFIXES

    def column(self, name: str) -> Column:
        """Return the column of that name; raises KeyError if there is none."""
        return {column.name: column for column in self.columns}[name]


_NOTE = Column("note", "text", "anything worth keeping")

ZONES = Table(
    "zones",
    (
        Column("zone_id", "id", "unique name of the zone", required=True),
        Column("use", "text", "green, tee, fairway, rough, field, sod block, ...", required=True),
        Column("name", "text", "name shown to people"),
        Column("priority", "text", "how much the zone matters to you"),
        _NOTE,
    ),
    required=True,
    shape="polygon",
    suffixes=SHAPE_SUFFIXES,
)

REFUGES = Table(
    "refuges",
    (
        Column("id", "id", "unique name; the row's number when left out"),
        Column("kind", "text", "hedge, tall grass, litter, building edge, ..."),
        _NOTE,
    ),
    shape="polygon or line",
    suffixes=SHAPE_SUFFIXES,
)

OBSTACLES = Table(
    "obstacles",
    (
        Column("id", "id", "unique name; the row's number when left out"),
        Column("kind", "text", "water, building, bunker, kerbed road, ..."),
        _NOTE,
    ),
    shape="polygon or line",
    suffixes=SHAPE_SUFFIXES,
)

_AXIS = Column(
    "axis_deg", "number", "bearing of a linear trap", unit="degree", low=0, high=360, minor=True
)
_SLOT = Column("slot_m", "number", "length of its slot", unit="m", low=0, high=50, minor=True)

_ELEVATION = Column(
    "elevation_m", "number", "height of the ground there", unit="m", low=-500, high=9000, minor=True
)

TRAPS = Table(
    "traps",
    (
        Column("trap_id", "id", "name of the trap; a moved trap has two rows", required=True),
        Column("design", "text", "cup, linear or any other word", required=True),
        Column("longitude", "angle", "position, east positive", unit="degree"),
        Column("latitude", "angle", "position, north positive", unit="degree"),
        Column("easting", "number", "position in the site's CRS", unit="m"),
        Column("northing", "number", "position in the site's CRS", unit="m"),
        Column("x_m", "number", "tape-measured, right of the baseline", unit="m"),
        Column("y_m", "number", "tape-measured, along the baseline", unit="m"),
        Column("installed", "date", "first day at this place; blank: always there"),
        Column("removed", "date", "last day at this place; blank: still there"),
        _AXIS,
        _SLOT,
        _ELEVATION,
        _NOTE,
    ),
    required=True,
    shape="point",
    suffixes=(".csv", ".geojson", ".gpkg", ".gpx", *SHAPE_SUFFIXES[2:7], *TABLE_SUFFIXES[1:4]),
)

_MINUTES = Column(
    "minutes", "number", "time spent at the trap", unit="min", low=0, high=1440, minor=True
)

VISITS = Table(
    "visits",
    (
        Column("trap_id", "id", "the trap that was checked", required=True),
        Column("set_on", "date", "day the trap was last emptied and set", required=True),
        Column("checked_on", "date", "day it was checked", required=True),
        Column("status", "word", "what was found", required=True, words=STATUSES),
        Column("species", "text", "species of this row; blank only with 0 adults"),
        Column("adults", "count", "adults of that species", high=LARGEST_COUNT),
        _MINUTES,
        Column("observer", "text", "who checked it"),
        _NOTE,
    ),
    required=True,
)

CORES = Table(
    "cores",
    (
        Column("zone_id", "id", "zone the cores were cut in", required=True),
        Column("sampled_on", "date", "day of sampling", required=True),
        Column("cores", "count", "cores cut", required=True, low=1, high=10_000),
        Column("diameter", "number", "diameter of a core", required=True, low=0.1, high=100),
        Column("diameter_unit", "word", "unit of it", required=True, words=("in", "cm")),
        Column("larvae", "count", "larvae in all cores", required=True, high=LARGEST_COUNT),
        Column("pupae", "count", "pupae in all cores", high=LARGEST_COUNT),
        Column("position", "text", "where in the zone"),
    ),
)

WEATHER = Table(
    "weather",
    (
        Column("date", "date", "the day", required=True),
        Column("tmin_c", "number", "lowest temperature", unit="degC", low=-70, high=60),
        Column("tmax_c", "number", "highest temperature", unit="degC", low=-70, high=60),
        Column("tmin_f", "number", "lowest temperature", unit="degF", low=-94, high=140),
        Column("tmax_f", "number", "highest temperature", unit="degF", low=-94, high=140),
        Column("rain_mm", "number", "rain", unit="mm", low=0, high=2000),
        Column("rain_in", "number", "rain", unit="in", low=0, high=80),
        Column("observed_at", "text", "hour the station is read, e.g. 0700; only checked"),
    ),
)

TREATMENTS = Table(
    "treatments",
    (
        Column("zone_id", "id", "zone treated", required=True),
        Column("applied_on", "date", "day of the treatment", required=True),
        Column("tactic", "text", "adult, larva, biological or cultural"),
        Column("irac_group", "text", "IRAC mode-of-action group on the label"),
        Column("product", "text", "product used"),
        Column("registration_number", "text", "registration number on its label"),
        Column("rate", "text", "rate, as you keep it"),
        Column("amount", "text", "amount used in all, as you keep it"),
        Column("area", "text", "area treated, as you keep it"),
        Column("applicator", "text", "who applied it"),
        _NOTE,
    ),
)

TABLES: dict[str, Table] = {
    table.name: table
    for table in (ZONES, REFUGES, OBSTACLES, TRAPS, VISITS, CORES, WEATHER, TREATMENTS)
}
"""Every table by name, in the order in which they are read."""
