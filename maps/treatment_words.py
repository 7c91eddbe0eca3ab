"""Words of treatment plans: sentences for every code, amounts in both systems.

No sentence says that a zone should be treated.
"""

from __future__ import annotations

import math
from decimal import Decimal

from maps.catalogue import Catalogue
from spatial.dose import Dose, Loads
from spatial.rotation import Repeat
from spatial.treatment import LEFT_OUT, STATE_ORDER, Blanket, CheckZone
from spatial.treatment_plan import TreatmentPlan
from spatial.units import (
    M2_PER_1000_FT2,
    M2_PER_ACRE,
    M2_PER_HA,
    Quantity,
    Rate,
)

_NOTHING = 0.5e-4
"""Smaller numbers round to zero."""


CAUTIONS = ("label", "user", "pollinators", "groups", "evidence")
"""Keys of the cautions of a treatment; before the last one stands that a catch is activity."""


def treatment_cautions(lang: Catalogue) -> tuple[str, ...]:
    """Return the cautions, which stand on everything that names a treatment."""
    first = (
        lang.say(f"order_cautions.{key}") for key in ("label", "user", "pollinators", "groups")
    )
    return (*first, lang.say("cautions.activity"), lang.say("order_cautions.evidence"))


def measured(number: float) -> Decimal:
    """Return a number with four figures, but no more than four decimals.

    Examples
    --------
    >>> [str(measured(each)) for each in (0.5, 139.4366, 12345.6, 2.0, 0.01234, -1e-9)]
    ['0.5', '139.4', '12346', '2', '0.0123', '0']
    """
    if abs(number) < _NOTHING:
        return Decimal(0)
    decimals = min(max(3 - math.floor(math.log10(abs(number))), 0), 4)
    text = f"{number:.{decimals}f}"
    return Decimal(text.rstrip("0").rstrip(".") if "." in text else text)


def areas_text(area_m2: float, lang: Catalogue) -> str:
    """Return an area in acres, 1,000 ft2 and hectares.

    Examples
    --------
    >>> from maps.language_file import english
    >>> areas_text(4046.8564224, english())
    '1 acre = 43.56 x 1,000 ft2 = 0.4047 ha'
    """
    return lang.say(
        "quantities.ground",
        acres=lang.say("quantities.acre", measured(area_m2 / M2_PER_ACRE)),
        parts=measured(area_m2 / M2_PER_1000_FT2),
        hectares=measured(area_m2 / M2_PER_HA),
    )


def amount_text(quantity: Quantity, lang: Catalogue) -> str:
    """Return an amount in its own unit, and in larger units of both systems.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.units import unit_named
    >>> amount_text(Quantity(256, unit_named("fl oz")), english())
    '256 fl oz (2 gal; 7.571 L)'
    >>> amount_text(Quantity(2, unit_named("kg")), english())
    '2 kg (4.409 lb)'
    """
    larger = ("gal", "L") if quantity.unit.kind == "volume" else ("lb", "kg")
    others = [
        lang.say(f"quantities.{name}", measured(quantity.to(name)))
        for name in larger
        if name != quantity.unit.name
    ]
    amount = short_amount(quantity, lang)
    return lang.say("quantities.also", amount=amount, others=lang.joined(others, "apart"))


def short_amount(quantity: Quantity, lang: Catalogue) -> str:
    """Return an amount in its own unit.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.units import unit_named
    >>> short_amount(Quantity(21.78, unit_named("fl oz")), english())
    '21.78 fl oz'
    """
    return lang.say(f"quantities.{unit_key(quantity.unit.name)}", measured(quantity.amount))


def unit_key(name: str) -> str:
    """Return the key of a unit in the language file.

    Examples
    --------
    >>> unit_key("fl oz")
    'fl_oz'
    """
    return name.replace(" ", "_")


def plan_sentence(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return what the plan covers, against all zones of the same uses."""
    share = plan.areas.net_m2 / plan.whole_m2 if plan.whole_m2 else 0.0
    return lang.say(
        "plan_said.covers",
        len(plan.areas.zones),
        area=areas_text(plan.areas.net_m2, lang),
        share=lang.percent(share),
        uses=lang.listed([lang.use(each.use) for each in plan.areas.blankets]),
    )


def choice_sentence(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return how the zones came into the plan."""
    if plan.named:
        return lang.say("plan_said.named")
    parts = [
        lang.say(f"plan_left_out.{state}", plan.left_out[state])
        for state in STATE_ORDER
        if plan.left_out.get(state)
    ]
    left_out = [lang.say("plan_said.left_out", zones=lang.joined(parts, "apart"))] if parts else []
    return " ".join([lang.say("plan_said.above"), *left_out])


_OTHER_STAGE = {
    "adult": ("larvae", "judged_by_larvae"),
    "larva": ("adults", "judged_by_adults"),
}
"""By tactic: what else a zone may have been judged by, and what is said of it."""


def stage_sentence(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return which zones were judged by another stage than the tactic is for; blank without any."""
    other, key = _OTHER_STAGE.get(plan.tactic_name, ("", ""))
    zones = plan.areas.zones
    names = zones.loc[zones["judged_by"] == other, "zone_id"].tolist() if other else []
    return lang.say(f"plan_said.{key}", zones=lang.listed(names)) if names else ""


def missing_text(plan: TreatmentPlan, lang: Catalogue) -> str:
    """Return what the user has not given; blank if nothing is missing."""
    inputs = [lang.say(f"plan_lacks.{code}") for code in plan.missing]
    return lang.say("page.sentence", text=lang.joined(inputs, "apart")) if inputs else ""


def missing_head(lang: Catalogue) -> str:
    """Return what stands before it."""
    return lang.say("page.head", head=lang.say("plan_lacks.head"))


def area_lines(plan: TreatmentPlan, lang: Catalogue) -> list[tuple[str, float]]:
    """Return the sum from gross to net area: what, and its m2 (negative: taken off)."""
    zones = plan.areas.zones
    sums = {
        "drawn": float(zones["gross_m2"].sum()),
        **{reason: -float(zones[f"{reason}_m2"].sum()) for reason in LEFT_OUT},
        "net": plan.areas.net_m2,
    }
    return [
        (lang.say(f"order_area.{key}"), area_m2)
        for key, area_m2 in sums.items()
        if area_m2 < 0 or key not in LEFT_OUT
    ]


def dose_lines(plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return the arithmetic of product, spray, loads and cost, one line each."""
    dose = plan.dose
    lines = [_product_line(dose, dose.rate, lang)] if dose.rate else []
    if dose.spray and dose.spray_rate:
        parts = _parts(dose.spray_rate.per, dose.area_m2, lang)
        lines.append(_taken("spray", dose.spray_rate, parts, dose.spray, lang))
    lines += [loads_text(dose.loads, lang)] if dose.loads else []
    return [*lines, *_cost(plan, lang)]


def _cost(plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return the sum of what product and application cost, or the one of them that is known."""
    dose, tactic, currency = plan.dose, plan.tactic, plan.settings.currency
    told: dict[str, str] = {}
    key = ""
    if dose.product_cost is not None:
        key = "cost_product"
        told |= {"product": lang.money(dose.product_cost, currency), "price": tactic.price}
    if dose.application_cost is not None:
        key = "cost" if key else "cost_application"
        told["application"] = lang.money(dose.application_cost, currency)
        told["application_price"] = tactic.application_cost
    if dose.cost is not None:
        told["total"] = lang.money(dose.cost, currency)
    return [lang.say(f"plan_dose.{key}", **told)] if key else []


def loads_text(loads: Loads, lang: Catalogue) -> str:
    """Return how the tank or hopper is filled.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.units import read_quantity
    >>> gal, oz = (read_quantity(t, "x", ["volume"]) for t in ("200 gal", "50 fl oz"))
    >>> loads_text(Loads(2, gal, oz, None, None), english())
    'Loads: 2 full ones of 200 gal with 50 fl oz of product in each.'
    """
    full = _full_loads(loads, lang) if loads.full else ""
    last = _last_load(loads.last, loads.last_product, lang) if loads.last else ""
    if not full and not last:
        return lang.say("plan_loads.none")
    both = lang.say("plan_loads.then", full=full, last=last) if full and last else full or last
    return lang.say("plan_loads.loads", loads=both)


def _full_loads(loads: Loads, lang: Catalogue) -> str:
    """Return the full loads with the product in each; dry product fills a hopper by itself."""
    load, product = short_amount(loads.each, lang), loads.each_product
    if product is None or loads.each.unit.kind == "mass":
        return lang.say("plan_loads.full", loads.full, load=load)
    inside = short_amount(product, lang)
    return lang.say("plan_loads.full_product", loads.full, load=load, product=inside)


def _last_load(last: Quantity, product: Quantity | None, lang: Catalogue) -> str:
    load = short_amount(last, lang)
    if product is None or last.unit.kind == "mass":
        return lang.say("plan_loads.last", load=load)
    return lang.say("plan_loads.last_product", load=load, product=short_amount(product, lang))


def _product_line(dose: Dose, rate: Rate, lang: Catalogue) -> str:
    if dose.product is None:
        return lang.say("plan_dose.no_spray")
    parts = _parts(rate.per, dose.area_m2, lang)
    if dose.spray and rate.per.unit.kind == "volume":
        number = measured(dose.spray.base / rate.per.base)
        parts = lang.say("plan_dose.parts_spray", number, part=_part(rate.per, lang))
    return _taken("product", rate, parts, dose.product, lang)


def _taken(key: str, rate: Rate, parts: str, amount: Quantity, lang: Catalogue) -> str:
    over = short_amount(rate.over, lang)
    said = lang.say("plan_dose.rate", amount=over, part=_part(rate.per, lang))
    return lang.say(f"plan_dose.{key}", rate=said, parts=parts, amount=amount_text(amount, lang))


def _part(per: Quantity, lang: Catalogue) -> str:
    """Return what a rate is per: acre, or 1,000 ft2."""
    one = per.amount == 1
    return lang.say(f"unit_names.{unit_key(per.unit.name)}") if one else short_amount(per, lang)


def _parts(per: Quantity, area_m2: float, lang: Catalogue) -> str:
    """Return an area in the parts that a rate is per: 139.4 (1,000 ft2)."""
    return lang.say("plan_dose.parts", measured(area_m2 / per.base), part=_part(per, lang))


def blanket_lines(plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return what the plan leaves untreated, compared with every zone of the same use."""
    lines = [_blanket_line(each, plan, lang) for each in plan.areas.blankets]
    dose, whole = plan.dose, plan.blanket_dose
    if dose.product and whole.product:
        spared = Quantity(whole.product.amount - dose.product.amount, dose.product.unit)
        lines.append(lang.say("plan_compared.product", amount=amount_text(spared, lang)))
    if dose.cost is not None and whole.cost is not None:
        saved = lang.money(whole.cost - dose.cost, plan.settings.currency)
        lines.append(lang.say("plan_compared.cost", cost=saved))
    return lines


def _blanket_line(blanket: Blanket, plan: TreatmentPlan, lang: Catalogue) -> str:
    units = plan.site.settings.units
    zones = lang.say(
        "plan_compared.zones",
        blanket.zones,
        chosen=blanket.chosen,
        use=lang.use(blanket.use),
        treated=lang.area(blanket.treated_m2 / M2_PER_HA, units),
        whole=lang.area(blanket.whole_m2 / M2_PER_HA, units),
    )
    return " ".join([zones, *_left_untreated(blanket, plan, lang)])


def _left_untreated(blanket: Blanket, plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return which zones of a use the plan leaves out, and how sure it is that they may stay so."""
    units = plan.site.settings.units
    left = {
        "untreated": (blanket.untreated, blanket.saved_m2 - blanket.unknown_m2),
        "unknown": (blanket.unknown, blanket.unknown_m2),
    }
    lines = [
        lang.say(
            f"plan_compared.{key}",
            area=lang.area(area_m2 / M2_PER_HA, units),
            zones=lang.listed(names),
        )
        for key, (names, area_m2) in left.items()
        if names
    ]
    if not lines:
        return []
    if not plan.areas.zones["state"].isin(["above", "below", "undecided"]).any():
        return [*lines, lang.say("plan_compared.not_judged")]
    sure = lang.area(max(blanket.surely_saved_m2, 0.0) / M2_PER_HA, units)
    return [*lines, lang.say("plan_compared.surely", area=sure)]


def check_zone_text(check: CheckZone, lang: Catalogue) -> str:
    """Return the proposal of an untreated check zone.

    Examples
    --------
    >>> from maps.language_file import english
    >>> check_zone_text(CheckZone("tee", "", "none"), english())
    'No other tee zone has counted traps: the effect there cannot be told afterwards.'
    """
    use = lang.use(check.use)
    said = lang.say(f"plan_check.{check.reason}", zone=check.zone_id, use=use)
    return " ".join([said, lang.say("plan_check.above")]) if check.state == "above" else said


def rotation_text(repeat: Repeat, lang: Catalogue) -> str:
    """Return one warning about the rotation of IRAC groups."""
    return lang.say(
        f"plan_rotation.{repeat.reason}",
        zone=repeat.zone_id,
        day=lang.day(repeat.applied_on),
        groups=lang.listed(repeat.groups),
    )
