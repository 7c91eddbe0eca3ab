"""Words of the parts and hole sheet: parts, sizes, bearings, cautions and steps."""

from __future__ import annotations

import math

from data.parts_settings import PartsSettings
from data.settings import Units
from maps.catalogue import Catalogue, figure, rounded
from maps.sheet_words import compass
from spatial.trap_parts import Chosen, LinearSizes, Part, PartsList, Trench
from spatial.units import FOOT_M, GALLON_L

INCH_M = FOOT_M / 12
FLUID_OUNCE_L = GALLON_L / 128
_EIGHTHS = 8

KINDS = ("cup", "linear")
"""Kinds of traps whose parts are known."""

SOURCES: dict[tuple[str, str], tuple[tuple[str, ...], str]] = {
    ("cup", "sleeve"): (("sleeve",), "guide"),
    ("cup", "cup"): (("cup",), "guide"),
    ("cup", "staple"): (("staples",), "turf_bugs"),
    ("cup", "lid"): ((), "common"),
    ("cup", "fluid"): (("fluid",), "common"),
    ("linear", "cup"): (("cup",), "bulletin"),
    ("linear", "pipe"): (("length", "pipe"), "bulletin_length"),
    ("linear", "cap"): (("pipe",), "bulletin"),
    ("linear", "elbow"): (("pipe",), "common"),
    ("linear", "box"): (("box_length", "box_width", "box_depth"), "course_notes"),
    ("linear", "collector"): (("collector",), "bulletin"),
    ("linear", "board"): ((), "bulletin"),
    ("linear", "fluid"): (("fluid",), "common"),
}
"""Kind and code of a part -> settings that its size comes from, and their defaults' source."""

CAUTIONS = ("services", "play", "flush", "fluid", "lids")
"""Keys of the cautions, in the order in which they are ticked."""

STEPS = {
    "cup": ("hole", "sleeve", "staple", "cup"),
    "linear": ("slots", "trench", "box", "collector", "pipe", "soil", "water"),
    "after": ("record", "photograph", "again"),
}
"""Keys of the steps by which a trap is set, in order, and of those when it is set."""


def dig_cautions(lang: Catalogue) -> list[str]:
    """Return what must be seen to before any hole is dug.

    Examples
    --------
    >>> from maps.language_file import english
    >>> dig_cautions(english())[1]
    'Out of play and out of mower lines. Mark every trap for mower crews, and tell them.'
    """
    return [lang.say(f"parts_cautions.{key}") for key in CAUTIONS]


def steps(kind: str, lang: Catalogue) -> list[str]:
    """Return how a kind of trap is set, or what is done ``"after"``.

    Examples
    --------
    >>> from maps.language_file import english
    >>> steps("after", english())[1]
    'Photograph it from two sides, for the next person.'
    """
    return [lang.say(f"parts_{kind}_steps.{key}") for key in STEPS[kind]]


def length_text(length_m: float, units: Units, lang: Catalogue) -> str:
    """Return a length to an eighth of an inch, whole feet from four on, or to a millimetre.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [length_text(each, "us", english()) for each in (0.060325, 0.9144, 0.0183, 3.048, -0.001)]
    ['2 3/8 in', '36 in', '3/4 in', '10 ft', '0 in']
    >>> length_text(0.060325, "metric", english())
    '60 mm'
    """
    if units == "metric":
        return lang.say("parts_lengths.millimetres", round(abs(length_m) * 1000))
    whole, eighths = divmod(round(abs(length_m) / INCH_M * _EIGHTHS), _EIGHTHS)
    if not eighths:
        feet, rest = divmod(whole, 12)
        return (
            lang.say("numbers.feet", feet)
            if whole >= 48 and not rest
            else lang.say("parts_lengths.inches", whole)
        )
    step = math.gcd(eighths, _EIGHTHS)
    fraction = f"{eighths // step}/{_EIGHTHS // step}"
    if whole:
        return lang.say("parts_lengths.inches_fraction", whole, fraction=fraction)
    return lang.say("parts_lengths.fraction", fraction=fraction)


def _lengths(units: Units, lang: Catalogue, **lengths_m: float) -> dict[str, str]:
    """Return what is filled into a message: each length by its name."""
    return {name: length_text(each, units, lang) for name, each in lengths_m.items()}


def volume_text(volume_l: float, units: Units, lang: Catalogue) -> str:
    """Return a volume in fluid ounces or US gallons, or in millilitres or litres.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [volume_text(each, "us", english()) for each in (0.946352946, 7.570823568)]
    ['32 fl oz', '2.0 gal']
    >>> [volume_text(each, "metric", english()) for each in (0.946352946, 2.5)]
    ['946 mL', '2.5 L']
    """
    if units == "metric":
        if volume_l < 0.9995:
            return lang.say("quantities.mL", rounded(volume_l * 1000, 0))
        return lang.say("quantities.L", rounded(volume_l, 1))
    ounces = volume_l / FLUID_OUNCE_L
    if ounces < 99.5:
        return lang.say("quantities.fl_oz", rounded(ounces, 0))
    return lang.say("quantities.gal", rounded(volume_l / GALLON_L, 1))


def size_text(part: Part, found: PartsList, units: Units, lang: Catalogue) -> str:
    """Return the size of a part; blank where any will do.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> found = trap_parts([Chosen("N1", "linear")], PartsSettings())
    >>> size_text(Part("pipe", "linear", 1), found, "us", english())
    'bore 2 in nominal; sold in 10 ft; one gives 3 of 36 in'
    """
    given = found.cup if part.kind == "cup" else found.linear
    if part.code == "cup":
        return volume_text(given.cup_l, units, lang)
    if part.code == "fluid":
        return lang.say("parts_sizes.deep", **_lengths(units, lang, length=given.fluid_m))
    if part.code in ("sleeve", "collector"):
        volume_l = found.cup.sleeve_l if part.code == "sleeve" else found.linear.collector_l
        bore, volume = _lengths(units, lang, bore=given.bore_m), volume_text(volume_l, units, lang)
        return lang.say("parts_sizes.holds", volume=volume, **bore)
    return _pipe_size(part.code, found.linear, units, lang)


def _pipe_size(code: str, pipe: LinearSizes, units: Units, lang: Catalogue) -> str:
    """Return the size of the pipe, of what is put on it, or of its box or board."""
    length, width, depth = pipe.box_m
    if code in ("cap", "elbow"):
        return lang.say("parts_sizes.bore", **_lengths(units, lang, bore=pipe.pipe_m))
    if code == "pipe":
        told = _lengths(units, lang, bore=pipe.pipe_m, stock=pipe.stock_m, length=pipe.length_m)
        return lang.say("parts_sizes.pipe", pipe.pieces, **told)
    if code == "box":
        told = _lengths(units, lang, length=length, width=width, depth=depth)
        return lang.say("parts_sizes.box", **told)
    if code == "board":
        told = _lengths(units, lang, length=pipe.length_m, width=pipe.outside_m)
        return lang.say("parts_sizes.board", **told)
    return ""


def amount_text(part: Part, units: Units, lang: Catalogue) -> str:
    """Return how much of a part to buy."""
    if part.code == "fluid":
        return volume_text(part.amount, units, lang)
    return lang.decimal(part.amount, 0)


def source_text(part: Part, settings: PartsSettings, lang: Catalogue) -> str:
    """Return what the size of a part rests on: its default's source, or the user's settings.

    Examples
    --------
    >>> from data.parts_settings import CupParts
    >>> from maps.language_file import english
    >>> own = PartsSettings(cup=CupParts(cup="500 mL"))
    >>> [source_text(Part(each, "cup", 1), own, english()) for each in ("cup", "lid")]
    ['your site.toml', 'common practice, no source']
    """
    fields, source = SOURCES[part.kind, part.code]
    given = settings.cup if part.kind == "cup" else settings.linear
    default = type(given)()
    changed = any(getattr(given, name) != getattr(default, name) for name in fields)
    return lang.say(f"parts_sources.{'yours' if changed else source}")


def bearing_text(trap: Chosen, lang: Catalogue) -> str:
    """Return how a linear trap lies, from its cup along the pipe; true north.

    Examples
    --------
    >>> from maps.language_file import english
    >>> bearing_text(Chosen("N1", "linear", bearing_deg=272.6), english())
    '273\u00b0 (W) from the cup'
    >>> bearing_text(Chosen("N1", "linear", axis_deg=92.6), english())
    '93\u00b0 or 273\u00b0: cup at the lower end'
    >>> bearing_text(Chosen("N1", "linear"), english())
    'along the refuge edge: cup at the lower end'
    """
    if trap.bearing_deg is not None:
        angle = math.radians(trap.bearing_deg)
        point = compass(9 * math.sin(angle), 9 * math.cos(angle))
        return lang.say(
            "parts_holes.from_cup",
            degrees=_degrees(trap.bearing_deg, lang),
            point=lang.say(f"compass.{point}"),
        )
    if math.isnan(trap.axis_deg):
        return lang.say("parts_holes.along_edge")
    degrees, opposite = (_degrees(trap.axis_deg + turn, lang) for turn in (0, 180))
    return lang.say("parts_holes.either_way", degrees=degrees, opposite=opposite)


def _degrees(bearing: float, lang: Catalogue) -> str:
    return lang.say("parts_holes.degrees", round(bearing) % 360)


def trench_text(trench: Trench, units: Units, lang: Catalogue) -> str:
    """Return the two depths of a trench.

    Examples
    --------
    >>> from maps.language_file import english
    >>> trench_text(Trench(0.0603, 0.0786, 0.0183), "metric", english())
    'trench 60 mm at the cap, 79 mm at the cup'
    """
    depths = _lengths(units, lang, cap=trench.cap_m, cup=trench.cup_m)
    return lang.say("parts_holes.trench", **depths)


def hole_text(found: PartsList, number: int, units: Units, lang: Catalogue) -> str:
    """Return the hole of one of the traps; blank where its design has no known parts.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> hole_text(trap_parts([Chosen("N1", "cup")], PartsSettings()), 0, "us", english())
    '4 1/4 in wide, 6 in deep'
    """
    if found.kinds[number] == "cup":
        sizes = _lengths(units, lang, bore=found.cup.bore_m, depth=found.cup.depth_m)
        return lang.say("parts_holes.cup_hole", **sizes)
    trench = found.trenches[number]
    return "" if trench is None else trench_text(trench, units, lang)


def where_text(trap: Chosen, lang: Catalogue) -> str:
    """Return where a trap stands.

    Examples
    --------
    >>> from maps.language_file import english
    >>> where_text(Chosen("N1", "cup", "H03-RO", "rough", "edge facing the hedge"), english())
    'H03-RO, rough; edge facing the hedge'
    """
    zone = lang.say("placements.outside")
    if trap.zone_id:
        zone = lang.say("parts_holes.in_zone", zone=trap.zone_id, use=lang.use(trap.zone_use))
    return lang.joined([zone, trap.place], "apart") if trap.place else zone


def position_text(trap: Chosen) -> str:
    """Return longitude and latitude to a decimetre; blank where not known.

    They are typed into a phone, which wants points whatever the language.

    Examples
    --------
    >>> position_text(Chosen("N1", "cup", longitude=-39.0012345, latitude=40.5))
    '40.500000, -39.001235'
    """
    if math.isnan(trap.longitude) or math.isnan(trap.latitude):
        return ""
    return f"{trap.latitude:.6f}, {trap.longitude:.6f}"


def head_sentence(found: PartsList, lang: Catalogue) -> str:
    """Return what the sheet is for.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> two = trap_parts([Chosen("N1", "cup"), Chosen("N2", "pail")], PartsSettings())
    >>> head_sentence(two, english())
    '2 new traps: 1 cup, 1 of another design.'
    """
    if not found.chosen:
        return lang.say("parts_said.no_traps")
    counts = {**{kind: found.count(kind) for kind in KINDS}, "other_design": found.count("")}
    kinds = [lang.say(f"parts_said.{key}", count) for key, count in counts.items() if count]
    return lang.say("parts_said.traps", len(found.chosen), kinds=lang.joined(kinds))


def unknown_sentence(found: PartsList, lang: Catalogue) -> str:
    """Return for which designs no parts are known; blank if for none."""
    designs = sorted(
        {trap.design for trap, kind in zip(found.chosen, found.kinds, strict=True) if not kind}
    )
    return lang.say("parts_said.unknown", designs=lang.listed(designs)) if designs else ""


def cut_sentence(found: PartsList, units: Units, lang: Catalogue) -> str:
    """Return how the pipe is cut.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> found = trap_parts([Chosen("N1", "linear")], PartsSettings())
    >>> cut_sentence(found, "us", english())
    'Pipe of 36 in: 3 slots of 10 in x 1/2 in with bridges of 1 in between them, and 2 in left \
whole at either end. Open slot in all (slot_m): 0.762 m.'
    """
    pipe = found.linear
    sizes = {"slot": pipe.slot_length_m, "width": pipe.slot_width_m, "end": pipe.end_m}
    told = _lengths(units, lang, length=pipe.length_m, **sizes)
    told["open"] = lang.decimal(pipe.open_m, 3)
    if len(pipe.slots) == 1:
        return lang.say("parts_said.one_slot", **told)
    bridge = length_text(pipe.bridge_m, units, lang)
    return lang.say("parts_said.slots", len(pipe.slots), **told, bridge=bridge)


def fall_sentence(found: PartsList, units: Units, lang: Catalogue) -> str:
    """Return how the pipe falls, from the cap to the cup.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> found = trap_parts([Chosen("N1", "linear")], PartsSettings())
    >>> fall_sentence(found, "us", english())
    'Fall 2 %: the cup end lies 3/4 in below the capped end, so that water drains. On level ground \
dress the soil down to the slot there.'
    """
    pipe = found.linear
    if not pipe.fall:
        return lang.say("parts_said.no_fall")
    percent = lang.say("numbers.percent", figure(100 * pipe.fall))
    return lang.say("parts_said.fall", percent=percent, **_lengths(units, lang, drop=pipe.drop_m))


def box_sentence(found: PartsList, units: Units, lang: Catalogue) -> str:
    """Return the hole of the box, and that of the collector in its floor.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.trap_parts import trap_parts
    >>> found = trap_parts([Chosen("N1", "linear")], PartsSettings())
    >>> box_sentence(found, "us", english())
    'Hole of the box: 12 in x 9 in, 6 in deep; of the collector in its floor: 4 1/4 in wide, 6 in \
deeper.'
    """
    pipe = found.linear
    length, width, depth = pipe.box_m
    box = _lengths(units, lang, length=length, width=width, depth=depth)
    collector = _lengths(units, lang, bore=pipe.bore_m, deeper=pipe.depth_m)
    return lang.say("parts_said.box", **box, **collector)
