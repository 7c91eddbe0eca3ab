"""Words of treatment plans and of their effect: sentences for every code, amounts in both systems.

No sentence says that a zone should be treated.
"""

from __future__ import annotations

import math

from maps.cautions import cautions
from maps.language_file import english
from maps.percent import percent_text
from maps.weeks import day_text
from maps.words import area_text, count_of, listed, use_text
from spatial.dose import Dose, Loads
from spatial.efficacy import Efficacy, Nights
from spatial.rotation import Repeat
from spatial.treatment import Blanket, CheckZone
from spatial.treatment_plan import TreatmentPlan
from spatial.units import (
    M2_PER_1000_FT2,
    M2_PER_ACRE,
    M2_PER_HA,
    Quantity,
)

TREATMENT_CAUTIONS = (
    "The label is the law. Local codes and licensed applicators decide; where this sheet and the "
    "label differ, the label holds.",
    "Rates, buffers, re-entry and notification on this sheet are what the user typed in. None of "
    "them is ours, and none has a default.",
    "Mind pollinators: flowering weeds, hives and gardens nearby. Mind water, drains and wells.",
    "Rotate IRAC groups. This sheet names no brand but the one typed in.",
    cautions(english())[0],
    "This sheet describes evidence and does the arithmetic; it does not prescribe.",
)
"""Design rule: on anything that names a treatment."""

TACTIC_NAMES = {
    "adult": "against adults",
    "larva": "against larvae",
    "biological": "biological",
    "cultural": "cultural",
}

STATE_TEXT = {
    "above": "above",
    "undecided": "undecided",
    "below": "below",
    "no_traps": "no traps",
    "no_limit": "no limit",
    "": "not judged",
}
"""State of a zone's evidence against its limit, as one word for a table."""

OTHER_ZONES_TEXT = {
    "above": "{} above the limit, but of a use that is never treated",
    "undecided": "{} undecided",
    "below": "{} below the limit",
    "no_traps": "{} without traps, of which nothing is known",
    "no_limit": "{} without a limit",
}
"""Zones that a plan by evidence leaves out, by state."""

STAGE_TEXT = {
    "adult": "Judged by their larvae, not by adults: {}. A treatment of adults comes late there.",
    "larva": "Judged by their adults, not by larvae: {}. Whether larvae are there is not known; "
    "cores would tell.",
}
"""By tactic: zones that were judged by the other stage."""

MISSING_TEXT = {
    "tactic": "site.toml has no section for this tactic",
    "product": "product",
    "registration_number": "registration number of the product",
    "irac_group": "IRAC group of the product",
    "target_pest": "target pest",
    "rate": "label rate",
    "spray_volume": "spray volume",
    "tank": "volume of the tank or load of the hopper",
    "re_entry": "re-entry: how long people stay out",
    "notification": "notification: who is told, when and how",
    "restrictions": "restrictions of the label: weather, most per season, watering in",
    "price": "price of the product",
    "application_cost": "cost of the application",
    "water_buffer": "buffer to water",
    "customer": "name and address of the customer",
}
"""What the user has not given, of `spatial.dose.MISSING`."""

LEFT_OUT_TEXT = {
    "obstacle": "obstacles",
    "buffer": "buffers",
    "exclusion": "zones never treated",
    "overlap": "counted in another zone",
    "sliver": "pieces under 1 m2",
}

ROTATION_TEXT = {
    "same_group": "{zone}: the last treatment there, on {day}, was of the same group, {groups}.",
    "same_main_group": (
        "{zone}: the last treatment there, on {day}, was of group {groups}, a subgroup of the same "
        "number, with the same mode of action."
    ),
    "group_not_recorded": "{zone}: the log does not say the group of the last treatment, {day}.",
    "group_not_given": "{zone}: treated on {day}; without a group for this plan, rotation is open.",
}

CHECK_TEXT = {
    "not_chosen": (
        "{zone} is not in the plan and its traps catch most nearly what those of the treated "
        "{use} zones do: keep it untreated to tell afterwards what the treatment did."
    ),
    "last_chosen": (
        "All trapped {use} zones are in the plan. Without an untreated one its effect cannot be "
        "told; {zone}, the last in order, would be the one to leave out."
    ),
    "none": "No other {use} zone has counted traps: the effect there cannot be told afterwards.",
}

CHECK_ABOVE = "Its own evidence is above your limit: what leaving it may cost is yours to weigh."

CANNOT_TELL_TEXT = {
    "no_traps": "the zone has no trap",
    "treated_before": "another treatment lies in the nights before",
    "no_before": "no countable visit in the nights before",
    "no_after": "no countable visit in the nights after",
    "few_before": "too few beetles before",
    "no_untreated": "no zone stayed untreated",
    "few_untreated": "too few beetles in the untreated zones",
}

REFERENCE_TEXT = {
    "same_use": "untreated zones of the same use",
    "other_use": "untreated zones of all uses, for those of its own caught too little",
}


_NOTHING = 0.5e-4
"""Smaller numbers round to zero."""


def figure(number: float) -> str:
    """Return a number with four figures, but no more than four decimals, thousands parted.

    Examples
    --------
    >>> [figure(each) for each in (0.5, 139.4366, 12345.6, 2.0, 0.01234, -1e-9)]
    ['0.5', '139.4', '12,346', '2', '0.0123', '0']
    """
    if abs(number) < _NOTHING:
        return "0"
    decimals = min(max(3 - math.floor(math.log10(abs(number))), 0), 4)
    text = f"{number:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def areas_text(area_m2: float) -> str:
    """Return an area in acres, 1,000 ft2 and hectares.

    Examples
    --------
    >>> areas_text(4046.8564224)
    '1 acre = 43.56 x 1,000 ft2 = 0.4047 ha'
    """
    acres = figure(area_m2 / M2_PER_ACRE)
    return (
        f"{acres} {'acre' if acres == '1' else 'acres'} = "
        f"{figure(area_m2 / M2_PER_1000_FT2)} x 1,000 ft2 = {figure(area_m2 / M2_PER_HA)} ha"
    )


def amount_text(quantity: Quantity) -> str:
    """Return an amount in its own unit, and in larger units of both systems.

    Examples
    --------
    >>> from spatial.units import unit_named
    >>> amount_text(Quantity(256, unit_named("fl oz"))), amount_text(Quantity(2, unit_named("kg")))
    ('256 fl oz (2 gal; 7.571 L)', '2 kg (4.409 lb)')
    """
    larger = ("gal", "L") if quantity.unit.kind == "volume" else ("lb", "kg")
    others = [
        f"{figure(quantity.to(name))} {name}" for name in larger if name != quantity.unit.name
    ]
    return f"{short_amount(quantity)} ({'; '.join(others)})"


def short_amount(quantity: Quantity) -> str:
    """Return an amount in its own unit.

    Examples
    --------
    >>> from spatial.units import unit_named
    >>> short_amount(Quantity(21.78, unit_named("fl oz")))
    '21.78 fl oz'
    """
    return f"{figure(quantity.amount)} {quantity.unit.name}"


def money_text(amount: float, currency: str) -> str:
    """Return money, to whole units from 100.

    Examples
    --------
    >>> money_text(1234.4, "$"), money_text(12.5, "EUR"), money_text(3, "")
    ('$1,234', 'EUR 12.50', '3.00')
    """
    sign = f"{currency} " if currency[-1:].isalpha() else currency
    return f"{sign}{amount:,.0f}" if amount >= 100 else f"{sign}{amount:,.2f}"


def plan_sentence(plan: TreatmentPlan) -> str:
    """Return what the plan covers, against all zones of the same uses."""
    zones = len(plan.areas.zones)
    uses = listed([use_text(each.use) for each in plan.areas.blankets])
    share = plan.areas.net_m2 / plan.whole_m2 if plan.whole_m2 else 0.0
    return (
        f"{count_of(zones, 'zone')}, {areas_text(plan.areas.net_m2)}: {percent_text(share)} of "
        f"what treating every {uses} zone would cover."
    )


def choice_sentence(plan: TreatmentPlan) -> str:
    """Return how the zones came into the plan."""
    if plan.named:
        return "The zones were named by the user; they stand in order of evidence."
    text = "These are the zones whose evidence is above the user's limit, in order of evidence."
    parts = [
        OTHER_ZONES_TEXT[state].format(count_of(plan.left_out[state], "zone"))
        for state in OTHER_ZONES_TEXT
        if plan.left_out.get(state)
    ]
    return f"{text} Left out: {'; '.join(parts)}." if parts else text


def stage_sentence(plan: TreatmentPlan) -> str:
    """Return which zones were judged by another stage than the tactic is for; blank without any."""
    other = {"adult": "larvae", "larva": "adults"}.get(plan.tactic_name)
    zones = plan.areas.zones
    names = zones.loc[zones["judged_by"] == other, "zone_id"].tolist()
    return STAGE_TEXT[plan.tactic_name].format(listed(names)) if names else ""


def area_lines(plan: TreatmentPlan) -> list[tuple[str, float]]:
    """Return the sum from gross to net area: what, and its m2 (negative: taken off)."""
    zones = plan.areas.zones
    lines = [("Zones as drawn", float(zones["gross_m2"].sum()))]
    for reason, text in LEFT_OUT_TEXT.items():
        area = float(zones[f"{reason}_m2"].sum())
        if area > 0:
            lines.append((f"less {text}", -area))
    return [*lines, ("To treat", plan.areas.net_m2)]


def dose_lines(plan: TreatmentPlan) -> list[str]:
    """Return the arithmetic of product, spray, loads and cost, one line each."""
    dose, currency = plan.dose, plan.settings.currency
    lines = [_product_line(dose)] if dose.rate else []
    if dose.spray and dose.spray_rate:
        lines.append(
            f"Spray: {_rate_text(dose.spray_rate.over, dose.spray_rate.per)} x "
            f"{_parts(dose.spray_rate.per, dose.area_m2)} = {amount_text(dose.spray)}."
        )
    lines += [loads_text(dose.loads)] if dose.loads else []
    costs = [
        ("product", dose.product_cost, plan.tactic.price),
        ("application", dose.application_cost, plan.tactic.application_cost),
    ]
    known = [f"{what} {money_text(cost, currency)} (at {at})" for what, cost, at in costs if cost]
    if known:
        total = f" = {money_text(dose.cost, currency)}" if dose.cost is not None else ""
        lines.append(f"Cost: {' + '.join(known)}{total}.")
    return lines


def loads_text(loads: Loads) -> str:
    """Return how the tank or hopper is filled.

    Examples
    --------
    >>> from spatial.units import read_quantity
    >>> gal, oz = (read_quantity(t, "x", ["volume"]) for t in ("200 gal", "50 fl oz"))
    >>> loads_text(Loads(2, gal, oz, None, None))
    'Loads: 2 full ones of 200 gal with 50 fl oz of product in each.'
    """
    parts = []
    if loads.full:
        noun = "full one" if loads.full == 1 else "full ones"
        inside = _with(loads.each, loads.each_product, each=loads.full > 1)
        parts.append(f"{loads.full} {noun} of {short_amount(loads.each)}{inside}")
    if loads.last:
        inside = _with(loads.last, loads.last_product, each=False)
        parts.append(f"one of {short_amount(loads.last)}{inside}")
    return f"Loads: {', then '.join(parts)}." if parts else "Loads: none."


def _with(load: Quantity, product: Quantity | None, *, each: bool) -> str:
    """Return how much product is in a load; a hopper of dry product holds nothing else."""
    if product is None or load.unit.kind == "mass":
        return ""
    return f" with {short_amount(product)} of product{' in each' if each else ''}"


def _product_line(dose: Dose) -> str:
    rate, product = dose.rate, dose.product
    if rate is None or product is None:
        return "Product: the rate is per volume of spray, and the spray volume is missing."
    whole = _parts(rate.per, dose.area_m2)
    if dose.spray and rate.per.unit.kind == "volume":
        many = f"{figure(rate.per.amount)} " if rate.per.amount != 1 else ""
        whole = f"{figure(dose.spray.base / rate.per.base)} ({many}{rate.per.unit.name} of spray)"
    return f"Product: {_rate_text(rate.over, rate.per)} x {whole} = {amount_text(product)}."


def _rate_text(over: Quantity, per: Quantity) -> str:
    many = f"{figure(per.amount)} " if per.amount != 1 else ""
    return f"{short_amount(over)} per {many}{per.unit.name}"


def _parts(per: Quantity, area_m2: float) -> str:
    """Return an area in the parts that a rate is per: 139.4 (1,000 ft2)."""
    many = f"{figure(per.amount)} " if per.amount != 1 else ""
    return f"{figure(area_m2 / per.base)} ({many}{per.unit.name})"


def blanket_lines(plan: TreatmentPlan) -> list[str]:
    """Return what the plan leaves untreated, compared with every zone of the same use."""
    lines = [_blanket_line(each, plan) for each in plan.areas.blankets]
    dose, whole = plan.dose, plan.blanket_dose
    if dose.product and whole.product:
        spared = Quantity(whole.product.amount - dose.product.amount, dose.product.unit)
        lines.append(f"Product not used, compared with all of them: {amount_text(spared)}.")
    if dose.cost is not None and whole.cost is not None:
        saved = money_text(whole.cost - dose.cost, plan.settings.currency)
        lines.append(f"Cost saved, compared with all of them: {saved}.")
    return lines


def _blanket_line(blanket: Blanket, plan: TreatmentPlan) -> str:
    def area(area_m2: float) -> str:
        return area_text(area_m2 / M2_PER_HA, plan.site.settings.units)

    line = (
        f"{use_text(blanket.use).capitalize()}: {blanket.chosen} of "
        f"{count_of(blanket.zones, 'zone')}, {area(blanket.treated_m2)} of "
        f"{area(blanket.whole_m2)}"
    )
    known_m2 = blanket.saved_m2 - blanket.unknown_m2
    if blanket.untreated:
        line += f". Left untreated on purpose: {area(known_m2)} ({listed(blanket.untreated)})"
    if blanket.unknown:
        unknown = area(blanket.unknown_m2)
        line += f". Left out because nothing is known: {unknown} ({listed(blanket.unknown)})"
    if not blanket.untreated and not blanket.unknown:
        return f"{line}."
    if not plan.areas.zones["state"].isin(["above", "below", "undecided"]).any():
        return f"{line}. Whether they need no treatment has not been judged."
    sure = area(max(blanket.surely_saved_m2, 0.0))
    return f"{line}. At least {sure} stay untreated if zones not known to be below had to follow."


def check_zone_text(check: CheckZone) -> str:
    """Return the proposal of an untreated check zone.

    Examples
    --------
    >>> check_zone_text(CheckZone("tee", "", "none"))
    'No other tee zone has counted traps: the effect there cannot be told afterwards.'
    """
    said = CHECK_TEXT[check.reason].format(zone=check.zone_id, use=use_text(check.use))
    return f"{said} {CHECK_ABOVE}" if check.state == "above" else said


def rotation_text(repeat: Repeat) -> str:
    """Return one warning about the rotation of IRAC groups."""
    return ROTATION_TEXT[repeat.reason].format(
        zone=repeat.zone_id, day=day_text(repeat.applied_on), groups=" and ".join(repeat.groups)
    )


def efficacy_sentence(effect: Efficacy) -> str:
    """Return what a treatment did, or why that cannot be told.

    Examples
    --------
    >>> from datetime import date
    >>> days = date(2026, 5, 20), date(2026, 4, 22), date(2026, 6, 17)
    >>> efficacy_sentence(Efficacy("H09", days[0], "3A", "adult", *days[1:], reason="no_after"))
    'H09, treated on 20 May 2026: cannot tell; no countable visit in the nights after.'
    """
    kind = REFERENCE_TEXT.get(effect.reference, "")
    said = effect_text(effect, listed(effect.untreated), f" ({kind})")
    return f"{effect.zone_id}, treated on {day_text(effect.applied_on)}: {said}"


def effect_text(effect: Efficacy, others: str, after: str = "") -> str:
    """Return what a treatment did without its name.

    Parameters
    ----------
    effect
        The effect.
    others
        What the untreated zones are called.
    after
        What stands at the end, in front of the full stop.
    """
    if effect.reason:
        return f"cannot tell; {CANNOT_TELL_TEXT[effect.reason]}."
    unsure = "; no effect is not ruled out" if effect.low <= 0 <= effect.high else ""
    return (
        f"{change_text(effect.efficacy)} than expected from the untreated zones "
        f"(95 % interval {change_range(effect.low, effect.high)}{unsure}). Adults per trap-week "
        f"went from {effect.before:.2f} to {effect.after:.2f}; in {others} from "
        f"{effect.untreated_before:.2f} to {effect.untreated_after:.2f}{after}."
    )


def change_text(share: float) -> str:
    """Return a share of the catch that was prevented.

    Examples
    --------
    >>> change_text(0.42), change_text(-1.09)
    ('42 % fewer', '109 % more')
    """
    return f"{percent_text(abs(share))} {'fewer' if round(share, 2) >= 0 else 'more'}"


def change_range(low: float, high: float) -> str:
    """Return an interval of the same.

    Examples
    --------
    >>> change_range(0.09, 0.96), change_range(-1.09, 0.49)
    ('9 % to 96 % fewer', '109 % more to 49 % fewer')
    """
    low_text, high_text = change_text(low), change_text(high)
    word = high_text.rpartition(" ")[2]
    return f"{low_text.removesuffix(word).rstrip()} to {high_text}"


def weather_sentence(effect: Efficacy, cold_c: float) -> str:
    """Return how the nights before and after compare; blank without weather."""
    before, after = effect.weather_before, effect.weather_after
    if before is None or after is None or not (before.known and after.known):
        return ""
    return f"Nights under {cold_c:g} C: {_cold(before)} before, {_cold(after)} after."


def _cold(nights: Nights) -> str:
    return f"{nights.cold} of {nights.known}"
