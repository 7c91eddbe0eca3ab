"""Words of the parts and hole sheet: parts, sizes, bearings, cautions and steps."""

from __future__ import annotations

import math

from data.parts_settings import PartsSettings
from data.settings import Units
from maps.language_file import english
from maps.sheet_words import compass
from maps.words import count_of, use_text
from spatial.trap_parts import Chosen, Part, PartsList, Trench
from spatial.units import FOOT_M, GALLON_L

INCH_M = FOOT_M / 12
FLUID_OUNCE_L = GALLON_L / 128
_EIGHTHS = 8

KIND_NAMES = {"cup": "cup", "linear": "linear"}

PART_NAMES = {
    ("cup", "sleeve"): "Sleeve cup, stays in the ground",
    ("cup", "cup"): "Catch cup with the same rim",
    ("cup", "staple"): "Sod staple, over the rim",
    ("cup", "lid"): "Lid, for days without service",
    ("cup", "fluid"): "Animal-safe fluid, one filling",
    ("linear", "cup"): "Catch cup, under the elbow",
    ("linear", "pipe"): "Pipe, in lengths as sold",
    ("linear", "cap"): "End cap for the pipe",
    ("linear", "elbow"): "Elbow, 90 degrees, for the pipe",
    ("linear", "box"): "Irrigation valve box with lid",
    ("linear", "collector"): "Collector cup, stays under the elbow",
    ("linear", "board"): "Board over the slots, for days without service",
    ("linear", "fluid"): "Animal-safe fluid, one filling",
}
"""Kind and code of a part -> what is written on the list."""

NO_SOURCE = "common practice, no source"
_BULLETIN = "weevil monitoring bulletin 2019, p. 4"

SOURCES: dict[tuple[str, str], tuple[tuple[str, ...], str]] = {
    ("cup", "sleeve"): (("sleeve",), "pitfall guide informedfarmers"),
    ("cup", "cup"): (("cup",), "pitfall guide informedfarmers"),
    ("cup", "staple"): (("staples",), "NC State, Turf bugs, pitfall traps"),
    ("cup", "lid"): ((), NO_SOURCE),
    ("cup", "fluid"): (("fluid",), NO_SOURCE),
    ("linear", "cup"): (("cup",), _BULLETIN),
    ("linear", "pipe"): (("length", "pipe"), f"{_BULLETIN}; length as sold: {NO_SOURCE}"),
    ("linear", "cap"): (("pipe",), _BULLETIN),
    ("linear", "elbow"): (("pipe",), NO_SOURCE),
    ("linear", "box"): (
        ("box_length", "box_width", "box_depth"),
        f"a box: course notes minkmeadows 2011; its size: {NO_SOURCE}",
    ),
    ("linear", "collector"): (("collector",), _BULLETIN),
    ("linear", "board"): ((), _BULLETIN),
    ("linear", "fluid"): (("fluid",), NO_SOURCE),
}
"""Kind and code of a part -> settings that its size comes from, and their defaults' source."""

YOURS = "your site.toml"

DIG_CAUTIONS = (
    "Before any hole: have buried services (power, gas, water, data) located by their owners, "
    "and irrigation, drainage and control wires by the course. No spade until that is done and "
    "dated below.",
    "Out of play and out of mower lines. Mark every trap for mower crews, and tell them.",
    "Rim, slot and lids flush with the soil: beetles turn back at a rim that stands up, and mowers "
    "cut it.",
    "Animal-safe fluid only: soapy water or propylene glycol; never ethylene glycol (antifreeze).",
    "Lids and boards on, on all days without service: a trap that is not checked must not catch.",
)

STEPS_CUP = (
    "Cut the hole with the cup cutter; keep the plug to close the hole when the trap is removed.",
    "Set the sleeve, its rim flush; pack soil against it without a gap.",
    "Put the staples over the rim, evenly spaced, and press them flush.",
    "Set the catch cup with fluid; see that its rim lies flat on that of the sleeve.",
)

STEPS_LINEAR = (
    "Cut the slots along one line of the pipe; leave the bridges; smooth every edge.",
    "Dig the trench to the two depths of the table, parallel to the refuge edge.",
    "Set the valve box, its lid flush; cut the hole for the pipe as high as it will go.",
    "Cut the collector's hole in the floor of the box, under the elbow.",
    "Lay the pipe with its slots up, falling to the box; cap on the far end, elbow down over the "
    "cup.",
    "Pack soil to the edges of the slot; dress it down where the pipe lies lower than the soil.",
    "Pour a cup of water into the slot nearest the cap: all of it must run into the cup.",
)

STEPS_AFTER = (
    "Write the trap into traps: id, design, position of the cup, installed, axis_deg, slot_m.",
    "Photograph it from two sides, for the next person.",
    "Look again after the first heavy rain and the first topdressing: still flush?",
)


def length_text(length_m: float, units: Units) -> str:
    """Return a length to an eighth of an inch, whole feet from four on, or to a millimetre.

    Examples
    --------
    >>> length_text(0.060325, "us"), length_text(0.9144, "us"), length_text(0.0183, "us")
    ('2 3/8 in', '36 in', '3/4 in')
    >>> length_text(0.060325, "metric"), length_text(3.048, "us"), length_text(-0.001, "us")
    ('60 mm', '10 ft', '0 in')
    """
    if units == "metric":
        return f"{round(abs(length_m) * 1000):,} mm"
    whole, eighths = divmod(round(abs(length_m) / INCH_M * _EIGHTHS), _EIGHTHS)
    if not eighths:
        return f"{whole // 12} ft" if whole >= 48 and whole % 12 == 0 else f"{whole} in"
    step = math.gcd(eighths, _EIGHTHS)
    fraction = f"{eighths // step}/{_EIGHTHS // step}"
    return f"{whole} {fraction} in" if whole else f"{fraction} in"


def volume_text(volume_l: float, units: Units) -> str:
    """Return a volume in fluid ounces or US gallons, or in millilitres or litres.

    Examples
    --------
    >>> volume_text(0.946352946, "us"), volume_text(7.570823568, "us")
    ('32 fl oz', '2.0 gal')
    >>> volume_text(0.946352946, "metric"), volume_text(2.5, "metric")
    ('946 mL', '2.5 L')
    """
    if units == "metric":
        return f"{volume_l * 1000:.0f} mL" if volume_l < 0.9995 else f"{volume_l:.1f} L"
    ounces = volume_l / FLUID_OUNCE_L
    return f"{ounces:.0f} fl oz" if ounces < 99.5 else f"{volume_l / GALLON_L:.1f} gal"


def size_text(part: Part, found: PartsList, units: Units) -> str:
    """Return the size of a part; blank where any will do.

    Examples
    --------
    >>> from spatial.trap_parts import trap_parts
    >>> found = trap_parts([Chosen("N1", "linear")], PartsSettings())
    >>> size_text(Part("pipe", "linear", 1), found, "us")
    'bore 2 in nominal; sold in 10 ft; one gives 3 of 36 in'
    """
    cup, pipe = found.cup, found.linear
    bore = f"bore {length_text(pipe.pipe_m, units)} nominal"
    box = " x ".join(length_text(each, units) for each in pipe.box_m)
    texts = {
        ("cup", "sleeve"): f"{volume_text(cup.sleeve_l, units)}; fits a hole of "
        f"{length_text(cup.bore_m, units)}",
        ("cup", "cup"): volume_text(cup.cup_l, units),
        ("cup", "fluid"): f"{length_text(cup.fluid_m, units)} deep",
        ("linear", "cup"): volume_text(pipe.cup_l, units),
        ("linear", "pipe"): f"{bore}; sold in {length_text(pipe.stock_m, units)}; one gives "
        f"{pipe.pieces} of {length_text(pipe.length_m, units)}",
        ("linear", "cap"): bore,
        ("linear", "elbow"): bore,
        ("linear", "box"): f"{box} (length x width x depth)",
        ("linear", "collector"): f"{volume_text(pipe.collector_l, units)}; fits a hole of "
        f"{length_text(pipe.bore_m, units)}",
        ("linear", "board"): f"longer than {length_text(pipe.length_m, units)}, wider than "
        f"{length_text(pipe.outside_m, units)}",
        ("linear", "fluid"): f"{length_text(pipe.fluid_m, units)} deep",
    }
    return texts.get((part.kind, part.code), "")


def amount_text(part: Part, units: Units) -> str:
    """Return how much of a part to buy."""
    return volume_text(part.amount, units) if part.code == "fluid" else f"{part.amount:,.0f}"


def source_text(part: Part, settings: PartsSettings) -> str:
    """Return what the size of a part rests on: its default's source, or the user's settings.

    Examples
    --------
    >>> from data.parts_settings import CupParts
    >>> own = PartsSettings(cup=CupParts(cup="500 mL"))
    >>> source_text(Part("cup", "cup", 1), own), source_text(Part("sleeve", "cup", 1), own)
    ('your site.toml', 'pitfall guide informedfarmers')
    """
    fields, source = SOURCES[part.kind, part.code]
    given = settings.cup if part.kind == "cup" else settings.linear
    default = type(given)()
    changed = any(getattr(given, name) != getattr(default, name) for name in fields)
    return YOURS if changed else source


def bearing_text(trap: Chosen) -> str:
    """Return how a linear trap lies, from its cup along the pipe; true north.

    Examples
    --------
    >>> bearing_text(Chosen("N1", "linear", bearing_deg=272.6))
    '273\u00b0 (W) from the cup'
    >>> bearing_text(Chosen("N1", "linear", axis_deg=92.6))
    '93\u00b0 or 273\u00b0: cup at the lower end'
    >>> bearing_text(Chosen("N1", "linear"))
    'along the refuge edge: cup at the lower end'
    """
    if trap.bearing_deg is not None:
        angle = math.radians(trap.bearing_deg)
        point = compass(9 * math.sin(angle), 9 * math.cos(angle))
        return f"{_degrees(trap.bearing_deg)} ({point}) from the cup"
    if math.isnan(trap.axis_deg):
        return "along the refuge edge: cup at the lower end"
    return f"{_degrees(trap.axis_deg)} or {_degrees(trap.axis_deg + 180)}: cup at the lower end"


def _degrees(bearing: float) -> str:
    return f"{round(bearing) % 360}\u00b0"


def trench_text(trench: Trench, units: Units) -> str:
    """Return the two depths of a trench.

    Examples
    --------
    >>> trench_text(Trench(0.0603, 0.0786, 0.0183), "metric")
    '60 mm at the cap, 79 mm at the cup'
    """
    cap, cup = (length_text(each, units) for each in (trench.cap_m, trench.cup_m))
    return f"{cap} at the cap, {cup} at the cup"


def where_text(trap: Chosen) -> str:
    """Return where a trap stands.

    Examples
    --------
    >>> where_text(Chosen("N1", "cup", "H03-RO", "rough", "edge facing the hedge"))
    'H03-RO, rough; edge facing the hedge'
    """
    zone = f"{trap.zone_id}, {use_text(trap.zone_use)}" if trap.zone_id else "outside every zone"
    return f"{zone}; {trap.place}" if trap.place else zone


def position_text(trap: Chosen) -> str:
    """Return longitude and latitude to a decimetre; blank where not known.

    Examples
    --------
    >>> position_text(Chosen("N1", "cup", longitude=-39.0012345, latitude=40.5))
    '40.500000, -39.001235'
    """
    if math.isnan(trap.longitude) or math.isnan(trap.latitude):
        return ""
    return f"{trap.latitude:.6f}, {trap.longitude:.6f}"


def head_sentence(found: PartsList) -> str:
    """Return what the sheet is for.

    Examples
    --------
    >>> from spatial.trap_parts import trap_parts
    >>> head_sentence(trap_parts([Chosen("N1", "cup"), Chosen("N2", "pail")], PartsSettings()))
    '2 new traps: 1 cup, 1 of another design.'
    """
    kinds = [
        count_of(found.count(kind), f"{name} trap" if kind == "linear" else name)
        for kind, name in KIND_NAMES.items()
        if found.count(kind)
    ]
    other = [f"{found.count('')} of another design"] if found.count("") else []
    return f"{count_of(len(found.chosen), 'new trap')}: {', '.join([*kinds, *other])}."


def unknown_sentence(found: PartsList) -> str:
    """Return for which designs no parts are known; blank if for none."""
    designs = sorted(
        {trap.design for trap, kind in zip(found.chosen, found.kinds, strict=True) if not kind}
    )
    if not designs:
        return ""
    return (
        f"No parts are known for {english().listed(designs)}: name the design in [parts] "
        "cup_designs or linear_designs if it is built like one of the two."
    )


def cut_sentence(found: PartsList, units: Units) -> str:
    """Return how the pipe is cut.

    Examples
    --------
    >>> from spatial.trap_parts import trap_parts
    >>> cut_sentence(trap_parts([Chosen("N1", "linear")], PartsSettings()), "us")
    'Pipe of 36 in: 3 slots of 10 in x 1/2 in with bridges of 1 in between them, and 2 in left \
whole at either end. Open slot in all (slot_m): 0.762 m.'
    """
    pipe = found.linear
    length, slot, wide, bridge, end = (
        length_text(each, units)
        for each in (
            pipe.length_m,
            pipe.slot_length_m,
            pipe.slot_width_m,
            pipe.bridge_m,
            pipe.end_m,
        )
    )
    slots = len(pipe.slots)
    between = f" with bridges of {bridge} between them" if slots > 1 else ""
    return (
        f"Pipe of {length}: {count_of(slots, 'slot')} of {slot} x {wide}{between}, and {end} left "
        f"whole at either end. Open slot in all (slot_m): {pipe.open_m:.3f} m."
    )


def fall_sentence(found: PartsList, units: Units) -> str:
    """Return how the pipe falls, from the cap to the cup.

    Examples
    --------
    >>> from spatial.trap_parts import trap_parts
    >>> fall_sentence(trap_parts([Chosen("N1", "linear")], PartsSettings()), "us")
    'Fall 2 %: the cup end lies 3/4 in below the capped end, so that water drains. On level ground \
dress the soil down to the slot there.'
    """
    pipe = found.linear
    if not pipe.fall:
        return "No fall: the pipe lies level, and water stands in it."
    return (
        f"Fall {100 * pipe.fall:g} %: the cup end lies {length_text(pipe.drop_m, units)} below the "
        "capped end, so that water drains. On level ground dress the soil down to the slot there."
    )


def box_sentence(found: PartsList, units: Units) -> str:
    """Return the hole of the box, and that of the collector in its floor.

    Examples
    --------
    >>> from spatial.trap_parts import trap_parts
    >>> box_sentence(trap_parts([Chosen("N1", "linear")], PartsSettings()), "us")
    'Hole of the box: 12 in x 9 in, 6 in deep; of the collector in its floor: 4 1/4 in wide, 6 in \
deeper.'
    """
    pipe = found.linear
    length, width, depth = (length_text(each, units) for each in pipe.box_m)
    bore, deeper = length_text(pipe.bore_m, units), length_text(pipe.depth_m, units)
    return (
        f"Hole of the box: {length} x {width}, {depth} deep; of the collector in its floor: "
        f"{bore} wide, {deeper} deeper."
    )
