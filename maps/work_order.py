"""The work order of a treatment plan: one offline page to print, with map and arithmetic."""

from __future__ import annotations

import math
from typing import Any

import jinja2
import pandas as pd
from markupsafe import Markup

from data.settings import Units
from data.treatment_settings import TacticSettings
from data.version import VERSION
from maps.catalogue import Catalogue
from maps.decision_words import stated_chance
from maps.offline import policy_tag, refuse_links
from maps.page import template_text
from maps.plan_map import HATCHES, key_svg, plan_map_svg
from maps.treatment_words import (
    area_lines,
    blanket_lines,
    check_zone_text,
    choice_sentence,
    dose_lines,
    missing_head,
    missing_text,
    plan_sentence,
    rotation_text,
    short_amount,
    stage_sentence,
    treatment_cautions,
)
from spatial.decision import cutoffs_of
from spatial.more_evidence import Cutoffs
from spatial.treatment import SLIVER_M2
from spatial.treatment_plan import TreatmentPlan
from spatial.units import M2_PER_1000_FT2, M2_PER_ACRE, M2_PER_HA

_DRAWN_M2: dict[Units, float] = {"us": M2_PER_ACRE, "metric": M2_PER_HA}
"""Size of the unit of the areas that are shown in one unit only."""

_HEADS: dict[Units, tuple[str, str]] = {
    "us": ("drawn_acres", "left_out_acres"),
    "metric": ("drawn_hectares", "left_out_hectares"),
}
"""Heads of the columns of these areas."""

_POLICY_PLACE = "<!-- policy -->"

Json = dict[str, Any]

INPUTS = (
    "product",
    "registration_number",
    "irac_group",
    "target_pest",
    "rate",
    "spray_volume",
    "tank",
    "re_entry",
    "notification",
    "restrictions",
)
"""The user's inputs, of `data.treatment_settings.TacticSettings`, in the order of the paper."""


def work_order(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return `work-order.html`: map, zones, arithmetic, what is missing, and cautions.

    Returns
    -------
    str
        One HTML document without any link or script; equal plans give equal bytes.
    """
    return rendered("work_order.html", _parts(plan, lang))


def rendered(template: str, parts: Json) -> str:
    """Return an offline page from a template of `maps/templates`."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    styled = {
        "css": Markup(template_text("work_order.css") + template_text("plan_map.css")),
        "policy": Markup(_POLICY_PLACE),
    }
    html = environment.from_string(template_text(template)).render({**styled, **parts})
    refuse_links(html)
    return html.replace(_POLICY_PLACE, policy_tag(html), 1)


def heading(plan: TreatmentPlan, lang: Catalogue) -> Json:
    """Return what both papers say at their head and foot, and the language they say it in."""
    return {
        "lang": lang,
        "say": lang.say,
        "site": plan.site.settings.name,
        "week": plan.week,
        "cautions": treatment_cautions(lang),
        "source": _source(plan, lang),
    }


def _source(plan: TreatmentPlan, lang: Catalogue) -> str:
    hashes = {**plan.site.hashes, **({lang.file: lang.digest} if lang.file else {})}
    files = [f"{name} {digest[:12]}" for name, digest in sorted(hashes.items())]
    return lang.say(
        "order.source",
        crs=str(plan.site.zones.crs),
        day=lang.day(plan.cutoff),
        version=VERSION,
        files=lang.joined(files, "apart"),
    )


def inputs(tactic: TacticSettings, plan: TreatmentPlan, lang: Catalogue) -> list[tuple[str, str]]:
    """Return the user's inputs with their headings; blank where missing."""
    rows = [(lang.say(f"order_inputs.{key}"), str(getattr(tactic, key))) for key in INPUTS]
    buffers = [
        lang.say("order_inputs.buffer", kind=kind, width=width)
        for kind, width in plan.settings.buffers.items()
    ]
    return [*rows, (lang.say("order_inputs.buffers"), lang.joined(buffers, "apart"))]


def _parts(plan: TreatmentPlan, lang: Catalogue) -> Json:
    units = plan.site.settings.units
    choice = (choice_sentence(plan, lang), stage_sentence(plan, lang))
    return {
        **heading(plan, lang),
        "tactic": lang.say(f"tactics.{plan.tactic_name}"),
        "cutoff": lang.day(plan.cutoff),
        "headline": plan_sentence(plan, lang),
        "choice": " ".join(each for each in choice if each),
        "inputs": inputs(plan.tactic, plan, lang),
        "map": Markup(plan_map_svg(plan, lang)),
        "key": _key(plan, lang),
        "zones": _zone_rows(plan, lang),
        "sum": [_area_row(text, area_m2, lang) for text, area_m2 in area_lines(plan, lang)],
        "factors": _factors(lang),
        "dose": dose_lines(plan, lang),
        "blanket": blanket_lines(plan, lang),
        "checks": [check_zone_text(each, lang) for each in plan.areas.check_zones],
        "missing": missing_text(plan, lang),
        "missing_head": missing_head(lang),
        "rotation": [rotation_text(each, lang) for each in plan.repeats],
        "open_water": lang.joined(plan.areas.open_water),
        "heads": [lang.say(f"order_zones.{key}") for key in _HEADS[units]],
        "has_amount": plan.dose.product is not None,
        "has_spray": plan.dose.spray is not None,
    }


def _factors(lang: Catalogue) -> str:
    parts, m2 = M2_PER_ACRE / M2_PER_1000_FT2, M2_PER_ACRE
    return lang.say("order.factors", parts=lang.decimal(parts, 2), m2=lang.decimal(m2, 3))


def _key(plan: TreatmentPlan, lang: Catalogue) -> list[tuple[Markup, str]]:
    keys = ["treat", "left", "zone", "obstacle", "water"]
    if any(each.zone_id for each in plan.areas.check_zones):
        keys.append("check")
    letter = lang.say("order_map.letter_check")
    return [
        (
            Markup(key_svg(f"m-{key}", HATCHES.get(f"m-{key}"))),
            lang.say(f"order_map.{key}", letter=letter),
        )
        for key in keys
    ]


def _zone_rows(plan: TreatmentPlan, lang: Catalogue) -> list[Json]:
    drawn_m2 = _DRAWN_M2[plan.site.settings.units]
    cutoffs = cutoffs_of(plan.site.settings.decision)
    records = pd.DataFrame(plan.areas.zones.drop(columns="geometry")).to_dict("records")
    rows = [{str(key): value for key, value in row.items()} for row in records]
    return [
        {
            **_zone_row(row, drawn_m2, lang),
            "evidence": _evidence(row, cutoffs, lang),
            "product": short_amount(dose.product, lang) if dose.product else "",
            "spray": short_amount(dose.spray, lang) if dose.spray else "",
        }
        for row, dose in zip(rows, plan.zone_doses, strict=True)
    ]


def _zone_row(row: Json, drawn_m2: float, lang: Catalogue) -> Json:
    # A rounding of the overlay is no ground.
    left_out = max(row["gross_m2"] - row["net_m2"] - row["overlap_m2"], 0.0)
    shared = lang.decimal(row["overlap_m2"] / drawn_m2, 3)
    return {
        "order": row["order"],
        "id": row["zone_id"],
        "name": row["name"] if row["name"] != row["zone_id"] else "",
        "use": lang.use(row["use"]),
        "rate": "" if math.isnan(row["rate"]) else lang.decimal(row["rate"], 1),
        "gross": lang.decimal(row["gross_m2"] / drawn_m2, 3),
        "left_out": lang.decimal(left_out / drawn_m2, 3),
        "shared": lang.say("order_zones.shared", area=shared)
        if row["overlap_m2"] >= SLIVER_M2
        else "",
        **area_cells(row["net_m2"], lang),
    }


def _evidence(row: Json, cutoffs: Cutoffs, lang: Catalogue) -> str:
    """Return the state of a zone against its limit, by what, and how sure that is."""
    state = lang.say(f"order_states.{row['state'] or 'not_judged'}")
    if row["judged_by"] == "larvae":
        state = lang.say("order_zones.by_larvae", state=state)
    if math.isnan(row["p_above"]):
        return state
    chance = stated_chance(row["p_above"], row["judged_by"], cutoffs, lang)
    return lang.say("order_zones.with_chance", state=state, chance=chance)


def area_cells(area_m2: float, lang: Catalogue) -> Json:
    """Return an area in three units for a table, with fixed decimals."""
    return {
        "acres": lang.decimal(area_m2 / M2_PER_ACRE, 3),
        "parts": lang.decimal(area_m2 / M2_PER_1000_FT2, 2),
        "ha": lang.decimal(area_m2 / M2_PER_HA, 4),
    }


def _area_row(text: str, area_m2: float, lang: Catalogue) -> Json:
    cells = {**area_cells(abs(area_m2), lang), "m2": lang.decimal(abs(area_m2), 1)}
    if area_m2 < 0:
        cells = {key: lang.say("order_area.taken_off", area=value) for key, value in cells.items()}
    return {"text": text, **cells}
