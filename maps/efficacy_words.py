"""Words of what treatments did: sentences for every code, changes and their intervals."""

from __future__ import annotations

from maps.catalogue import Catalogue, figure
from spatial.efficacy import Efficacy
from spatial.treatment_effects import TreatmentEffects


def efficacy_sentences(found: TreatmentEffects, lang: Catalogue) -> list[str]:
    """Return what was found, the whole first and then every treatment."""
    day = lang.day(found.season.cutoff)
    if not found.courses:
        return [lang.say("effects.none", day=day)]
    told = sum(not each.effect.reason for each in found.courses)
    first = lang.say("effects.treatments", len(found.courses), day=day, told=told)
    return [first, *(efficacy_sentence(each.effect, lang) for each in found.courses)]


def efficacy_sentence(effect: Efficacy, lang: Catalogue) -> str:
    """Return what a treatment did, or why that cannot be told.

    Examples
    --------
    >>> from datetime import date
    >>> from maps.language_file import english
    >>> days = date(2026, 5, 20), date(2026, 4, 22), date(2026, 6, 17)
    >>> none = Efficacy("H09", days[0], "3A", "adult", *days[1:], reason="no_after")
    >>> efficacy_sentence(none, english())
    'H09, treated on 20 May 2026: cannot tell; no countable visit in the nights after.'
    """
    named = {"zone": effect.zone_id, "day": lang.day(effect.applied_on)}
    if effect.reason:
        return lang.say("effect.untold", **named, why=untold_text(effect, lang))
    rates = lang.say(
        "effect.rates_named",
        **_rates(effect, lang),
        zones=lang.listed(effect.untreated),
        kind=lang.say(f"effect_reference.{effect.reference}"),
    )
    return lang.say(
        "effect.told", **named, effect=" ".join([_change_sentence(effect, lang), rates])
    )


def effect_text(effect: Efficacy, lang: Catalogue) -> str:
    """Return what a treatment did, under a heading that names it."""
    if effect.reason:
        return lang.say("effect.untold_alone", why=untold_text(effect, lang))
    rates = lang.say("effect.rates", **_rates(effect, lang))
    return " ".join([_change_sentence(effect, lang), rates])


def untold_text(effect: Efficacy, lang: Catalogue) -> str:
    """Return why an effect cannot be told."""
    return lang.say(f"effect_untold.{effect.reason}")


def _change_sentence(effect: Efficacy, lang: Catalogue) -> str:
    unsure = effect.low <= 0 <= effect.high
    return lang.say(
        "effect.change_unsure" if unsure else "effect.change",
        change=change_text(effect.efficacy, lang),
        interval=change_range(effect.low, effect.high, lang),
    )


def _rates(effect: Efficacy, lang: Catalogue) -> dict[str, str]:
    rates = {
        "before": effect.before,
        "after": effect.after,
        "others_before": effect.untreated_before,
        "others_after": effect.untreated_after,
    }
    return {name: lang.decimal(rate, 2) for name, rate in rates.items()}


def _is_fewer(share: float) -> bool:
    return round(share, 2) >= 0


def change_text(share: float, lang: Catalogue) -> str:
    """Return a share of the catch that was prevented.

    Examples
    --------
    >>> from maps.language_file import english
    >>> change_text(0.42, english()), change_text(-1.09, english())
    ('42 % fewer', '109 % more')
    """
    key = "fewer" if _is_fewer(share) else "more"
    return lang.say(f"effect_change.{key}", percent=lang.percent(abs(share)))


def change_range(low: float, high: float, lang: Catalogue) -> str:
    """Return an interval of the same.

    Examples
    --------
    >>> from maps.language_file import english
    >>> change_range(0.09, 0.96, english()), change_range(-1.09, 0.49, english())
    ('9 % to 96 % fewer', '109 % more to 49 % fewer')
    """
    key = "fewer" if _is_fewer(low) else "more_to_fewer" if _is_fewer(high) else "more"
    ends = {"low": lang.percent(abs(low)), "high": lang.percent(abs(high))}
    return lang.say(f"effect_interval.{key}", **ends)


def untreated_sentence(effect: Efficacy, lang: Catalogue) -> str:
    """Return which untreated zones were looked at; blank without any."""
    if not effect.untreated:
        return ""
    return lang.say(f"effect.{effect.reference}", zones=lang.joined(effect.untreated))


def weather_sentence(effect: Efficacy, cold_c: float, lang: Catalogue) -> str:
    """Return how the nights before and after compare; blank without weather."""
    before, after = effect.weather_before, effect.weather_after
    if before is None or after is None or not (before.known and after.known):
        return ""
    return lang.say(
        "effect.nights",
        figure(cold_c),
        cold_before=before.cold,
        known_before=before.known,
        cold_after=after.cold,
        known_after=after.known,
    )
