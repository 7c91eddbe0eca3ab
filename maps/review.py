"""What the season review says: the year in six pictures, what worked, and what to change.

Like the committee page it is made from reason codes only, and its words are those of the language.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from maps.catalogue import Catalogue
from maps.committee import (
    MOST_LETTERS_SITE,
    adults_caught,
    last_year_lines,
    lead_text,
    missed_text,
    short,
    without_traps,
    zone_names,
)
from maps.weeks import week_number
from spatial.season_calendar import nearly_over
from spatial.season_dates import SHARES
from spatial.season_review import SeasonReview

PICTURES = ("where", "weeks", "months", "years", "effects", "network")
"""The six, in their order."""

MOST_EFFECTS = 12
"""Of more treatments the first of the season are not drawn, so that all stays on two sheets."""

MOST_PAIRS = 4
MOST_WEEKS = 6


@dataclass(frozen=True, slots=True)
class ReviewPage:
    """The season review in words.

    Parameters
    ----------
    title, subtitle, lead
        Of the page.
    captions
        Picture (`PICTURES`) -> sentences under it.
    worked, change
        What worked, and what to change in the network.
    review, lang
        What it is made from, and its language.
    """

    title: str
    subtitle: str
    lead: str
    captions: dict[str, tuple[str, ...]]
    worked: tuple[str, ...]
    change: tuple[str, ...]
    review: SeasonReview
    lang: Catalogue


def review_page(review: SeasonReview, lang: Catalogue) -> ReviewPage:
    """Return what the review says.

    Parameters
    ----------
    review
        The season.
    lang
        The language.
    """
    season, site = review.analysis.season, review.analysis.site.settings
    return ReviewPage(
        title=lang.say(
            "review.title", season=season.label, site=short(site.name, MOST_LETTERS_SITE)
        ),
        subtitle=lang.say("review.subtitle", day=lang.day(season.cutoff)),
        lead=_lead(review, lang),
        captions={
            "where": (lead_text(review.analysis, lang),),
            "months": (
                lang.say("review_said.months" if review.months else "review_said.no_months"),
            ),
            "weeks": _weeks(review, lang),
            "years": _years(review, lang),
            "effects": _effects(review, lang),
            "network": (lang.say("review_said.network"),),
        },
        worked=tuple(_worked(review, lang)),
        change=tuple(_change(review, lang)),
        review=review,
        lang=lang,
    )


def _lead(review: SeasonReview, lang: Catalogue) -> str:
    if not review.rounds.counted:
        return lang.say("review.no_count")
    adults = adults_caught(review.analysis)
    if not nearly_over(review.analysis.season):
        return lang.say("review.so_far", adults, day=lang.day(review.analysis.season.cutoff))
    half = [each.day for each in review.when.dates.dates if each.share == SHARES[1]]
    if not adults:
        return lang.say("review.none_caught")
    if not half:
        return lang.say("review.caught_few", adults)
    return lang.say("review.caught", adults, day=lang.day(half[0]))


def _weeks(review: SeasonReview, lang: Catalogue) -> tuple[str, ...]:
    bars = lang.say("review_said.bars")
    dates = review.when.dates.dates
    if not review.rounds.counted:
        return (lang.say("review_said.no_months"),)
    if not nearly_over(review.analysis.season):
        return (lang.say("review_said.weeks_early"), bars)
    if not dates:
        return (lang.say("review_said.weeks_few"), bars)
    early, half, late = (lang.day(each.day) for each in dates)
    return (lang.say("review_said.weeks", early=early, half=half, late=late), bars)


def _years(review: SeasonReview, lang: Catalogue) -> tuple[str, ...]:
    if not review.when.past:
        return (lang.say("review_said.no_years"),)
    latest = next(iter(review.when.past))
    return tuple(last_year_lines(review.when.compared[latest], lang))


def _effects(review: SeasonReview, lang: Catalogue) -> tuple[str, ...]:
    if not review.courses:
        return (lang.say("review_said.no_effects"),)
    left = len(review.courses) - MOST_EFFECTS
    more = [lang.say("review_said.effects_undrawn", left)] if left > 0 else []
    return (lang.say("review_said.effects"), *more)


def _worked(review: SeasonReview, lang: Catalogue) -> list[str]:
    kept, analysis = review.rounds, review.analysis
    lines = [lang.say("review_worked.rounds", kept.weeks, counted=kept.counted, visits=kept.visits)]
    if not kept.missed:
        lines.append(lang.say("review_worked.no_week_missed"))
    if analysis.judged:
        states = Counter(each.state for each in analysis.decisions)
        settled = states["above"] + states["below"]
        key = "settled" if nearly_over(review.analysis.season) else "settled_so_far"
        lines.append(lang.say(f"review_worked.{key}", settled, all=len(analysis.zones)))
    return [*lines, *_effect_counts(review, lang), missed_text(analysis, lang)]


def _effect_counts(review: SeasonReview, lang: Catalogue) -> list[str]:
    tally = review.effects
    counts = {
        "less": tally.less,
        "more": tally.more,
        "unsure": tally.unsure,
        "untold": sum(tally.untold.values()),
    }
    return [
        lang.say(f"review_worked.{code}", number, all=tally.treatments)
        for code, number in counts.items()
        if number
    ]


def _change(review: SeasonReview, lang: Catalogue) -> list[str]:
    zones = review.analysis.zones
    empty = without_traps(review.analysis)
    lines = [lang.say("review_change.no_traps", empty, all=len(zones))] if empty else []
    lines += [*_places(review, lang), *_standing(review, lang), *_lost(review, lang)]
    return lines


def _places(review: SeasonReview, lang: Catalogue) -> list[str]:
    plan, units = review.network.plan, review.analysis.site.settings.units
    if not len(plan.suggestions):
        return [lang.say("review_change.no_new")]
    names = zone_names(review.analysis)
    zones = [names[str(each)] for each in dict.fromkeys(plan.suggestions["zone_id"])]
    area = lang.area(float(plan.suggestions["settles_ha"].sum()), units)
    count = len(plan.suggestions)
    return [
        lang.say("review_change.new", count, zones=lang.listed(zones), area=area),
        lang.say("review_change.dig"),
    ]


def _standing(review: SeasonReview, lang: Catalogue) -> list[str]:
    network = review.network
    pairs = [
        lang.say("review_change.pair", first=str(first), second=str(second))
        for first, second in network.pairs[["first", "second"]].to_numpy()
    ]
    lines = []
    if pairs:
        lines.append(lang.say("review_change.close", pairs=lang.listed(pairs, MOST_PAIRS)))
    if network.redundant:
        traps = lang.listed(list(network.redundant))
        code = "could_go_one" if len(network.redundant) == 1 else "could_go_any"
        lines.append(lang.say(f"review_change.{code}", names=traps))
    return lines


def _lost(review: SeasonReview, lang: Catalogue) -> list[str]:
    kept = review.rounds
    lines = [
        lang.say(
            "review_change.lost",
            name=str(row["trap_id"]),
            lost=int(row["lost"]),
            visits=int(row["visits"]),
        )
        for row in kept.losers.head(MOST_PAIRS).to_dict("records")
    ]
    if left := len(kept.losers) - len(lines):
        lines.append(lang.say("review_change.lost_more", left))
    if kept.missed:
        weeks = lang.listed([str(week_number(each)) for each in kept.missed], MOST_WEEKS)
        lines.append(lang.say("review_change.missed", len(kept.missed), weeks=weeks))
    return lines
