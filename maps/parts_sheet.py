"""The parts and hole sheet: what to buy for chosen traps, where to dig, how to cut. For paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from data.parts_settings import PartsSettings
from data.settings import Units
from maps import parts_words as words
from maps.page import template_text
from maps.parts_drawing import (
    CUP_KEY,
    PIPE_KEY,
    SECTION_KEY,
    cup_svg,
    disc_svg,
    pipe_svg,
    section_svg,
)
from maps.work_order import Json, rendered
from spatial.trap_parts import PartsList


@dataclass(frozen=True, slots=True)
class SheetHead:
    """What stands at the head and foot of the sheet.

    Parameters
    ----------
    site
        Name of the site.
    units
        Units of all sizes.
    about
        What the choice of traps rests on, e.g. ``"Evidence of week 2026-W22"``.
    source
        Provenance line of the foot: version, hashes.
    """

    site: str
    units: Units
    about: str = ""
    source: str = ""


def parts_sheet(found: PartsList, settings: PartsSettings, head: SheetHead) -> str:
    """Return `parts-and-holes.html`, to print on A4 or letter; it holds no link and no script.

    Parameters
    ----------
    found
        From `spatial.trap_parts.trap_parts`.
    settings
        What it was made from; says which sizes are the user's own.
    head
        Head and foot.

    Returns
    -------
    str
        One HTML document; equal lists give equal bytes.
    """
    units = head.units
    parts: Json = {
        "more_css": Markup(template_text("parts_sheet.css")),
        "site": head.site,
        "about": head.about,
        "source": head.source,
        "headline": words.head_sentence(found),
        "unknown": words.unknown_sentence(found),
        "cautions": words.DIG_CAUTIONS,
        "holes": _hole_rows(found, units),
        "buy": _buy_rows(found, settings, units),
        "cup": _cup(found, units),
        "linear": _linear(found, units),
        "after": words.STEPS_AFTER,
    }
    return rendered("parts_sheet.html", parts)


def _hole_rows(found: PartsList, units: Units) -> list[Json]:
    rows = []
    for trap, kind, trench in zip(found.chosen, found.kinds, found.trenches, strict=True):
        hole = ""
        if kind == "cup":
            bore, depth = found.cup.bore_m, found.cup.depth_m
            hole = f"{words.length_text(bore, units)} wide, {words.length_text(depth, units)} deep"
        elif trench is not None:
            hole = f"trench {words.trench_text(trench, units)}"
        rows.append(
            {
                "label": trap.label,
                "design": trap.design,
                "where": words.where_text(trap),
                "position": words.position_text(trap),
                "bearing": words.bearing_text(trap) if kind == "linear" else "",
                "hole": hole,
            }
        )
    return rows


def _buy_rows(found: PartsList, settings: PartsSettings, units: Units) -> list[Json]:
    return [
        {
            "kind": words.KIND_NAMES[part.kind],
            "name": words.PART_NAMES[part.kind, part.code],
            "amount": words.amount_text(part, units),
            "size": words.size_text(part, found, units),
            "source": words.source_text(part, settings),
        }
        for part in found.parts
    ]


def _cup(found: PartsList, units: Units) -> Json | None:
    if not found.count("cup"):
        return None
    return {
        "drawing": Markup(cup_svg(found.cup, units)),
        "key": _key(CUP_KEY),
        "steps": words.STEPS_CUP,
    }


def _linear(found: PartsList, units: Units) -> Json | None:
    if not found.count("linear"):
        return None
    return {
        "pipe": Markup(pipe_svg(found.linear, units)),
        "pipe_key": _key(PIPE_KEY),
        "section": Markup(section_svg(found.linear)),
        "section_key": _key(SECTION_KEY),
        "cut": words.cut_sentence(found, units),
        "fall": words.fall_sentence(found, units),
        "box": words.box_sentence(found, units),
        "steps": words.STEPS_LINEAR,
    }


def _key(texts: Sequence[str]) -> Iterable[tuple[Markup, str]]:
    return [(Markup(disc_svg(number)), text) for number, text in enumerate(texts, 1)]
