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
from maps.decision_words import stated_chance
from maps.language_file import english
from maps.offline import policy_tag, refuse_links
from maps.page import template_text
from maps.plan_map import HATCHES, key_svg, plan_map_svg
from maps.treatment_words import (
    MISSING_TEXT,
    STATE_TEXT,
    TACTIC_NAMES,
    TREATMENT_CAUTIONS,
    area_lines,
    blanket_lines,
    check_zone_text,
    choice_sentence,
    dose_lines,
    plan_sentence,
    rotation_text,
    short_amount,
    stage_sentence,
)
from maps.weeks import day_text
from maps.words import use_text
from spatial.decision import cutoffs_of
from spatial.dose import Dose
from spatial.more_evidence import Cutoffs
from spatial.treatment import SLIVER_M2
from spatial.treatment_plan import TreatmentPlan
from spatial.units import M2_PER_1000_FT2, M2_PER_ACRE, M2_PER_HA

_DRAWN: dict[Units, tuple[str, float]] = {"us": ("acres", M2_PER_ACRE), "metric": ("ha", M2_PER_HA)}
"""Unit of the areas that are shown in one unit only, and its size in m2."""

_POLICY_PLACE = "<!-- policy -->"

Json = dict[str, Any]

INPUTS = (
    ("product", "Product"),
    ("registration_number", "Registration number"),
    ("irac_group", "IRAC group"),
    ("target_pest", "Target pest"),
    ("rate", "Rate"),
    ("spray_volume", "Spray volume"),
    ("tank", "Tank or hopper"),
    ("re_entry", "Re-entry"),
    ("notification", "Notification"),
    ("restrictions", "Restrictions"),
)
"""The user's inputs as they are headed on paper."""


def work_order(plan: TreatmentPlan) -> str:
    """Return `work-order.html`: map, zones, arithmetic, what is missing, and cautions.

    Returns
    -------
    str
        One HTML document without any link or script; equal plans give equal bytes.
    """
    return rendered("work_order.html", _parts(plan))


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


def heading(plan: TreatmentPlan) -> Json:
    """Return what both papers say at their head and foot."""
    site = plan.site
    hashes = [f"{name} {value[:12]}" for name, value in sorted(site.hashes.items())]
    return {
        "site": site.settings.name,
        "week": plan.week,
        "cutoff": day_text(plan.cutoff),
        "tactic": TACTIC_NAMES[plan.tactic_name],
        "cautions": TREATMENT_CAUTIONS,
        "inputs": inputs(plan.tactic, plan),
        "source": (
            f"Areas as drawn in {site.zones.crs}. Evidence up to "
            f"{day_text(plan.cutoff)}. snoutline {VERSION}. Files (SHA-256): {'; '.join(hashes)}."
        ),
    }


def inputs(tactic: TacticSettings, plan: TreatmentPlan) -> list[tuple[str, str]]:
    """Return the user's inputs with their headings; blank where missing."""
    rows = [(text, str(getattr(tactic, key))) for key, text in INPUTS]
    buffers = "; ".join(f"{word} {width}" for word, width in plan.settings.buffers.items())
    return [*rows, ("Buffers", buffers)]


def _parts(plan: TreatmentPlan) -> Json:
    return {
        **heading(plan),
        "headline": plan_sentence(plan),
        "choice": f"{choice_sentence(plan)} {stage_sentence(plan)}".rstrip(),
        "map": Markup(plan_map_svg(plan)),
        "key": [(Markup(key_svg(name, HATCHES.get(name))), text) for name, text in _key(plan)],
        "zones": _zone_rows(plan),
        "sum": [_area_row(text, area_m2) for text, area_m2 in area_lines(plan)],
        "dose": dose_lines(plan),
        "blanket": blanket_lines(plan),
        "checks": [check_zone_text(each) for each in plan.areas.check_zones],
        "missing": _missing(plan),
        "rotation": [rotation_text(each) for each in plan.repeats],
        "open_water": ", ".join(plan.areas.open_water),
        "drawn_in": _DRAWN[plan.site.settings.units][0],
        "has_amount": plan.dose.product is not None,
        "has_spray": plan.dose.spray is not None,
    }


def _missing(plan: TreatmentPlan) -> list[str]:
    return [MISSING_TEXT[code] for code in plan.missing]


def _key(plan: TreatmentPlan) -> list[tuple[str, str]]:
    entries = [("m-treat", "to treat, numbered in order"), ("m-left", "of these zones, left out")]
    entries += [("m-zone", "other zones"), ("m-obstacle", "obstacles"), ("m-water", "water")]
    if any(each.zone_id for each in plan.areas.check_zones):
        entries.append(("m-check", "C: proposed untreated check zone"))
    return entries


def _zone_rows(plan: TreatmentPlan) -> list[Json]:
    drawn_m2 = _DRAWN[plan.site.settings.units][1]
    cutoffs = cutoffs_of(plan.site.settings.decision)
    records = pd.DataFrame(plan.areas.zones.drop(columns="geometry")).to_dict("records")
    return [
        _zone_row({str(key): value for key, value in row.items()}, dose, drawn_m2, cutoffs)
        for row, dose in zip(records, plan.zone_doses, strict=True)
    ]


def _zone_row(row: Json, dose: Dose, drawn_m2: float, cutoffs: Cutoffs) -> Json:
    chance, shared = row["p_above"], row["overlap_m2"]
    left_out = row["gross_m2"] - row["net_m2"] - shared
    return {
        "order": row["order"],
        "id": row["zone_id"],
        "name": row["name"] if row["name"] != row["zone_id"] else "",
        "use": use_text(row["use"]),
        "state": STATE_TEXT[row["state"]] + (", by larvae" if row["judged_by"] == "larvae" else ""),
        "chance": ""
        if math.isnan(chance)
        else stated_chance(chance, row["judged_by"], cutoffs, english()),
        "rate": "" if math.isnan(row["rate"]) else f"{row['rate']:.1f}",
        "gross": f"{row['gross_m2'] / drawn_m2:,.3f}",
        # A rounding of the overlay is no ground.
        "left_out": f"{max(left_out, 0.0) / drawn_m2:,.3f}",
        "shared": f"{shared / drawn_m2:,.3f}" if shared >= SLIVER_M2 else "",
        **area_cells(row["net_m2"]),
        "product": short_amount(dose.product) if dose.product else "",
        "spray": short_amount(dose.spray) if dose.spray else "",
    }


def area_cells(area_m2: float) -> Json:
    """Return an area in three units for a table, with fixed decimals."""
    return {
        "acres": f"{area_m2 / M2_PER_ACRE:,.3f}",
        "parts": f"{area_m2 / M2_PER_1000_FT2:,.2f}",
        "ha": f"{area_m2 / M2_PER_HA:,.4f}",
    }


def _area_row(text: str, area_m2: float) -> Json:
    sign = "\u2212" if area_m2 < 0 else ""
    cells = {**area_cells(abs(area_m2)), "m2": f"{abs(area_m2):,.1f}"}
    return {"text": text, **{key: sign + value for key, value in cells.items()}}
