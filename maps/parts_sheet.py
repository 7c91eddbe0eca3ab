"""The parts and hole sheet: what to buy for chosen traps, where to dig, how to cut. For paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from data.parts_settings import PartsSettings
from data.settings import Units
from maps import parts_words as words
from maps.catalogue import Catalogue
from maps.page import template_text
from maps.parts_drawing import KEYS, cup_svg, disc_svg, pipe_svg, section_svg
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


def parts_sheet(found: PartsList, settings: PartsSettings, head: SheetHead, lang: Catalogue) -> str:
    """Return `parts-and-holes.html`, to print on A4 or letter; it holds no link and no script.

    Parameters
    ----------
    found
        From `spatial.trap_parts.trap_parts`.
    settings
        What it was made from; says which sizes are the user's own.
    head
        Head and foot.
    lang
        Language.

    Returns
    -------
    str
        One HTML document; equal lists give equal bytes.
    """
    units = head.units
    parts: Json = {
        "more_css": Markup(template_text("parts_sheet.css")),
        "lang": lang,
        "say": lang.say,
        "site": head.site,
        "about": head.about,
        "source": head.source,
        "headline": words.head_sentence(found, lang),
        "unknown": words.unknown_sentence(found, lang),
        "cautions": words.dig_cautions(lang),
        "holes": _hole_rows(found, units, lang),
        "buy": _buy_rows(found, settings, units, lang),
        "cup": _cup(found, units, lang),
        "linear": _linear(found, units, lang),
        "after": words.steps("after", lang),
    }
    return rendered("parts_sheet.html", parts)


def _hole_rows(found: PartsList, units: Units, lang: Catalogue) -> list[Json]:
    return [
        {
            "label": trap.label,
            "design": trap.design,
            "where": words.where_text(trap, lang),
            "position": words.position_text(trap),
            "bearing": words.bearing_text(trap, lang) if kind == "linear" else "",
            "hole": words.hole_text(found, number, units, lang),
        }
        for number, (trap, kind) in enumerate(zip(found.chosen, found.kinds, strict=True))
    ]


def _buy_rows(
    found: PartsList, settings: PartsSettings, units: Units, lang: Catalogue
) -> list[Json]:
    return [
        {
            "kind": lang.say(f"parts_kinds.{part.kind}"),
            "name": lang.say(f"parts_{part.kind}.{part.code}"),
            "amount": words.amount_text(part, units, lang),
            "size": words.size_text(part, found, units, lang),
            "source": words.source_text(part, settings, lang),
        }
        for part in found.parts
    ]


def _cup(found: PartsList, units: Units, lang: Catalogue) -> Json | None:
    if not found.count("cup"):
        return None
    return {
        "drawing": Markup(cup_svg(found.cup, units, lang)),
        "key": _key("cup", lang),
        "steps": words.steps("cup", lang),
    }


def _linear(found: PartsList, units: Units, lang: Catalogue) -> Json | None:
    if not found.count("linear"):
        return None
    return {
        "pipe": Markup(pipe_svg(found.linear, units, lang)),
        "pipe_key": _key("pipe", lang),
        "section": Markup(section_svg(found.linear, lang)),
        "section_key": _key("section", lang),
        "cut": words.cut_sentence(found, units, lang),
        "fall": words.fall_sentence(found, units, lang),
        "box": words.box_sentence(found, units, lang),
        "steps": words.steps("linear", lang),
    }


def _key(drawing: str, lang: Catalogue) -> Iterable[tuple[Markup, str]]:
    texts = [lang.say(f"parts_{drawing}_key.{key}") for key in KEYS[drawing]]
    return [(Markup(disc_svg(number)), text) for number, text in enumerate(texts, 1)]
