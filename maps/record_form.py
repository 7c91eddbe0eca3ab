"""The record of a treatment: a form with the usual legal elements, and rows for a growing table.

The elements are those of the US federal record for restricted-use products (7 CFR part 110, from
memory, as extension sheets list them): who for, where, area, site, pest, day and time, product and
registration number, amount, applicator and certification number; kept for two years. States and
countries ask for more. Weather is asked for by many of them (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from maps.catalogue import Catalogue
from maps.columns import Column
from maps.exports import csv_text
from maps.treatment_words import amount_text, areas_text, short_amount
from maps.work_order import Json, area_cells, heading, rendered
from spatial.dose import Dose
from spatial.treatment_plan import TreatmentPlan
from spatial.units import M2_PER_1000_FT2, M2_PER_ACRE, M2_PER_HA

RECORD_COLUMNS = (
    Column("applied_on", "date", "Day of the treatment."),
    Column("applied_at", "text", "Time of day."),
    Column("customer", "text", "Whom it was done for."),
    Column("site", "text", "Name of the site."),
    Column("zone_id", "id", "Zone treated.", is_id=True),
    Column("use", "text", "Use of the zone: the site or crop of the record."),
    Column("target_pest", "text", "Target pest."),
    Column("tactic", "text", "`adult`, `larva`, `biological` or `cultural`."),
    Column("product", "text", "Product."),
    Column("registration_number", "text", "Registration number on its label.", is_id=True),
    Column("irac_group", "text", "IRAC group on its label.", is_id=True),
    Column("rate", "text", "Rate, as typed."),
    Column("amount", "number", "Amount of product by the plan.", 4),
    Column("amount_unit", "text", "Unit of it."),
    Column("area_acres", "acre", "Net area by the plan.", 4),
    Column("area_1000_ft2", "1,000 ft2", "The same area.", 3),
    Column("area_ha", "ha", "The same area.", 4),
    Column("applicator", "text", "Who applied it."),
    Column("certificate", "text", "Certification number.", is_id=True),
    Column("week", "ISO week", "Week of the evidence that the plan rests on."),
)
"""Columns of `treatment-records.csv`."""

KEPT_YEARS = 2


@dataclass(frozen=True, slots=True)
class Done:
    """What only the person who applied it can say; blank where not given.

    Parameters
    ----------
    applied_on
        ISO date.
    applied_at
        Time of day, as typed.
    applicator, certificate
        Name and certification number.
    """

    applied_on: str
    applied_at: str = ""
    applicator: str = ""
    certificate: str = ""


def record_form(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return `treatment-record.html`, a form to fill in by hand; it holds no link and no script."""
    parts = {
        **heading(plan, lang),
        "rows": [
            {"text": lang.say(f"record_says.{key}"), "planned": planned}
            for key, planned in _elements(plan, lang)
        ],
        "zones": _zone_rows(plan, lang),
        "total": _amounts(plan.areas.net_m2, plan.dose, lang),
    }
    return rendered("record_form.html", parts)


def record_rows(plan: TreatmentPlan, done: Done) -> str:
    """Return the rows of `treatment-records.csv` for a plan that was carried out, with a header.

    One row a zone. Amounts and areas are those of the plan; what was done otherwise belongs on the
    form, or in a row added by hand.
    """
    zones = plan.areas.zones
    products = [dose.product for dose in plan.zone_doses]
    table = pd.DataFrame(
        {
            "zone_id": zones["zone_id"],
            "use": zones["use"],
            "amount": [each.amount if each else math.nan for each in products],
            "amount_unit": [each.unit.name if each else "" for each in products],
            "area_acres": zones["net_m2"] / M2_PER_ACRE,
            "area_1000_ft2": zones["net_m2"] / M2_PER_1000_FT2,
            "area_ha": zones["net_m2"] / M2_PER_HA,
        }
    )
    tactic = plan.tactic
    same = {
        **{name: getattr(done, name) for name in Done.__dataclass_fields__},
        **{name: getattr(tactic, name) for name in _FROM_TACTIC},
        "customer": plan.settings.customer,
        "site": plan.site.settings.name,
        "tactic": plan.tactic_name,
        "week": plan.week,
    }
    return csv_text(table[zones["net_m2"] > 0].assign(**same), RECORD_COLUMNS)


_FROM_TACTIC = ("target_pest", "product", "registration_number", "irac_group", "rate")


def blank_elements(plan: TreatmentPlan, done: Done) -> list[str]:
    """Return the legal elements that a record would leave blank, in words."""
    given = {
        "customer": plan.settings.customer,
        "target pest": plan.tactic.target_pest,
        "product": plan.tactic.product,
        "registration number": plan.tactic.registration_number,
        "amount": "" if plan.dose.product is None else "known",
        "time": done.applied_at,
        "applicator": done.applicator,
        "certification number": done.certificate,
    }
    return [name for name, value in given.items() if not value]


def _elements(plan: TreatmentPlan, lang: Catalogue) -> Iterable[tuple[str, str]]:
    """Yield each element by its key in the language file, with what was planned."""
    tactic, dose = plan.tactic, plan.dose
    uses = lang.listed([lang.use(each.use) for each in plan.areas.blankets])
    return (
        ("customer", plan.settings.customer),
        ("place", plan.site.settings.name),
        ("crop", lang.say("record_says.turf", uses=uses)),
        ("size", areas_text(plan.areas.net_m2, lang)),
        ("target_pest", tactic.target_pest),
        ("date", ""),
        ("time", ""),
        ("product", tactic.product),
        ("registration_number", tactic.registration_number),
        ("irac_group", tactic.irac_group),
        ("rate", tactic.rate),
        ("total_product", amount_text(dose.product, lang) if dose.product else ""),
        ("total_spray", amount_text(dose.spray, lang) if dose.spray else ""),
        ("weather", ""),
        ("re_entry", tactic.re_entry),
        ("notification", tactic.notification),
        ("applicator", ""),
        ("certificate", ""),
    )


def _zone_rows(plan: TreatmentPlan, lang: Catalogue) -> list[Json]:
    zones = plan.areas.zones
    columns = (zones["order"], zones["zone_id"], zones["use"], zones["net_m2"])
    return [
        {
            "order": order,
            "id": zone_id,
            "use": lang.use(str(use)),
            **_amounts(float(net_m2), dose, lang),
        }
        for (order, zone_id, use, net_m2), dose in zip(
            zip(*columns, strict=True), plan.zone_doses, strict=True
        )
    ]


def _amounts(area_m2: float, dose: Dose, lang: Catalogue) -> Json:
    return {
        **area_cells(area_m2, lang),
        "product": short_amount(dose.product, lang) if dose.product else "",
    }
