"""Sentences from codes and numbers, for a reader who meets the map for the first time.

Every code that an analysis can hold has its words here, so that a page, a table and a report say
the same thing. The sentences claim no more than the numbers: "not testable" never reads like
"nothing found", and "nothing found" never reads like "nothing there".
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from data.settings import MarkSettings, Units
from data.site import Site
from maps.language_file import english
from maps.method_words import sources_text
from maps.rounds import round_statuses, shown_weeks
from maps.weeks import day_text, week_days, week_number, week_span
from spatial.results import Analysis, Chance, GlobalTest, Season

MARKS = {
    "busy_patch": "Busy patch: a group of neighbouring traps catches more than chance allows, and "
    "this trap is one of its busier members.",
    "quiet_patch": "Quiet patch: a group of neighbouring traps catches less than chance allows, "
    "and this trap is one of its quieter members.",
    "lone_busy": "Lone busy trap: it catches far more than the traps around it.",
    "lone_quiet": "Lone quiet trap: it catches far less than the traps around it.",
    "none": "Tested: nothing beyond chance was found here.",
    "not_testable": "Not testable: this trap could not be compared with its neighbours.",
}
MARK_NAMES = {
    "busy_patch": "busy patch",
    "quiet_patch": "quiet patch",
    "lone_busy": "lone busy trap",
    "lone_quiet": "lone quiet trap",
    "none": "nothing beyond chance",
    "not_testable": "not testable",
}
BUSY = ("busy_patch", "lone_busy")
MARK_LETTERS = {"busy_patch": "B", "quiet_patch": "Q", "lone_busy": "b", "lone_quiet": "q"}
"""Letters drawn beside the ring of a marked trap; the other states carry none."""

NOT_TESTABLE = {
    "no_traps": "No trap has a count yet.",
    "few_traps": "The network has too few traps with counts.",
    "no_nights": "It has no countable nights this season.",
    "no_neighbours": "No other tested trap lies within walking reach.",
    "few_neighbours": "Only one other trap lies within walking reach: too few for a group.",
    "all_neighbours": "All other tested traps are its neighbours, so it cannot differ from them.",
    "lone_design": "No other tested trap has its design.",
    "no_variation": "No trap of its design caught anything, or all caught at the same rate.",
}
"""Why one trap has no test."""

NO_SECOND_LOOK = {
    "few_traps": "There are too few traps to tell what their places explain.",
    "no_catch": "Nothing was caught, so places explain nothing.",
    "no_terms": "Nothing that is known of the places differs enough between the traps to explain "
    "their catch.",
    "separated": "Some kinds of place caught nothing at all, so what places explain cannot be "
    "told.",
    "no_convergence": "What places explain could not be told: the calculation found no stable "
    "answer.",
}
"""Why there is no second look."""

NO_GLOBAL_TEST = {
    "no_traps": "No trap has a count yet.",
    "few_traps": "Too few traps have counts.",
    "no_nights": "No trap has countable nights this season.",
    "no_neighbours": "No trap has another trap within walking reach, so none can be compared.",
    "few_neighbours": "Every trap has at most one other within walking reach.",
    "all_neighbours": "Every trap is a neighbour of every other, so no place can stand out.",
    "lone_design": "No two traps have the same design, so none can be compared.",
    "no_variation": "All traps caught at the same rate, so there is no pattern to test.",
}
"""Why the whole network has no test."""

GAP_REASONS = {
    "no_traps": "No traps: nothing is known of adults here.",
    "no_nights": "Traps, but no countable nights yet.",
    "removed_traps": "No trap now: the rate is from one that is gone.",
    "few_traps": "Too few traps for a firm rate.",
    "wide_interval": "Interval too wide for a firm rate.",
}
STATUSES = {
    "ok": "checked",
    "flooded": "void: flooded",
    "disturbed": "void: disturbed",
    "missing": "void: missing",
    "covered": "void: covered",
    "not_checked": "not checked",
}
PLACEMENTS = {
    "inside": "inside the zone",
    "edge": "on the zone's edge",
    "near": "just outside the zone",
    "outside": "outside every zone",
}
PLACES = {
    "refuge_edge": "on the side that faces a refuge",
    "rough": "inside the zone",
    "zone_interior": "inside the zone",
}
SUGGESTION_REASONS = {
    "no_traps": "the zone has no traps",
    "no_nights": "the zone's traps have no countable nights",
    "removed_traps": "the zone has no trap any more",
    "few_traps": "the zone has too few traps",
    "wide_interval": "the zone's interval is too wide",
    "undecided": "the zone is undecided",
    "open_edge": "no trap watches this edge",
}
ZONE_STATES = {
    "no_traps": "no traps",
    "no_nights": "no countable nights yet",
    "not_comparable": "only a design that cannot be compared yet",
}
NOTE_OF_PLAIN_RESULT = "That is the usual result and no proof that there is none."


def count_of(number: int, noun: str, plural: str = "") -> str:
    """Return a number with its noun, singular or plural.

    Examples
    --------
    >>> count_of(1, "trap"), count_of(3, "trap"), count_of(1240, "adult")
    ('1 trap', '3 traps', '1,240 adults')
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def listed(items: Sequence[str], most: int = 6) -> str:
    """Return a list as prose; what goes beyond `most` is counted.

    Examples
    --------
    >>> listed(["H01", "H02", "H03"])
    'H01, H02 and H03'
    >>> listed(["a", "b", "c", "d"], most=2)
    'a, b and 2 more'
    """
    shown = list(items[:most])
    if len(items) > most:
        return f"{', '.join(shown)} and {len(items) - most} more"
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def rate_text(rate: float) -> str:
    """Return a catch rate with the digits it deserves.

    Examples
    --------
    >>> rate_text(0.0), rate_text(0.346), rate_text(4.72), rate_text(23.4), rate_text(float("nan"))
    ('0', '0.35', '4.7', '23', 'no rate')
    >>> rate_text(0.004)
    'under 0.01'
    """
    if math.isnan(rate):
        return "no rate"
    if rate == 0:
        return "0"
    if rate < 0.005:
        return "under 0.01"
    return f"{rate:.2f}" if rate < 1 else f"{rate:.1f}" if rate < 10 else f"{rate:,.0f}"


def p_text(p: float) -> str:
    """Return a p value, with its sign.

    Examples
    --------
    >>> p_text(0.0002), p_text(0.0341), p_text(0.62), p_text(0.00001)
    ('p = 0.0002', 'p = 0.034', 'p = 0.62', 'p < 0.0001')
    """
    if p < 0.0001:
        return "p < 0.0001"
    return f"p = {p:.4f}" if p < 0.001 else f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"


def headline(analysis: Analysis) -> list[str]:
    """Return the sentences that open the page, most urgent first.

    Parameters
    ----------
    analysis
        What one weekly run found.

    Returns
    -------
    list of str
        Plain sentences: this week's round, the season's catch, clustering, marked traps, zones
        without traps, suggested places, and rows that were set aside.
    """
    sentences = [
        _round_sentence(analysis),
        _catch_sentence(analysis),
        *headline_of_clusters(analysis),
        *_zone_sentences(analysis),
        _set_aside_sentence(analysis),
        _out_of_season_sentence(analysis),
    ]
    return [sentence for sentence in sentences if sentence]


def headline_of_clusters(analysis: Analysis) -> list[str]:
    """Return what the cluster tests found, the part of `headline` that is about them."""
    sentences = [
        clustering_sentence(analysis.global_test, analysis.site.settings.marks),
        *_mark_sentences(analysis),
        second_look_sentence(analysis),
        chance_sentence(analysis.chance),
    ]
    return [sentence for sentence in sentences if sentence]


def _set_aside_sentence(analysis: Analysis) -> str:
    count = analysis.site.account.count
    if not count:
        return ""
    verb = "was" if count == 1 else "were"
    return f"{count_of(count, 'row')} of the files {verb} set aside with a mistake and not counted."


def _out_of_season_sentence(analysis: Analysis) -> str:
    count = analysis.site.account.out_of_season
    if not count:
        return ""
    verb = "lies" if count == 1 else "lie"
    window = analysis.site.settings.season
    return (
        f"{count_of(count, 'row')} of the visits {verb} outside every season "
        f"({window.start} to {window.end}) and no figure rests on "
        f"{'it' if count == 1 else 'them'}."
    )


def _round_sentence(analysis: Analysis) -> str:
    week = analysis.season.week
    outcome = round_text(round_statuses(analysis, week).values())
    return f"Week {week_number(week)} ({week_span(week)}): {outcome}."


def round_text(statuses: Iterable[str]) -> str:
    """Return what became of one round, without a full stop.

    Examples
    --------
    >>> round_text(["ok"] * 66 + ["flooded"] * 4 + ["not_checked"] * 2)
    '66 of 72 traps checked, 4 void, 2 not checked'
    >>> round_text(["ok"] * 1200 + ["missing"])
    '1,200 of 1,201 traps checked, 1 void'
    >>> round_text(["ok"])
    '1 of 1 trap checked'
    >>> round_text([])
    'no traps in use'
    """
    counted = pd.Series(list(statuses), dtype=object)
    if counted.empty:
        return "no traps in use"
    checked = int(counted.eq("ok").sum())
    missed = int(counted.eq("not_checked").sum())
    void = len(counted) - checked - missed
    text = f"{checked:,} of {count_of(len(counted), 'trap')} checked"
    text += f", {void:,} void" if void else ""
    return text + (f", {missed:,} not checked" if missed else "")


def _catch_sentence(analysis: Analysis) -> str:
    adults = float(analysis.traps["adults"].fillna(0).sum())
    nights = float(analysis.traps["nights"].sum())
    if nights == 0:
        return "No trap has a count yet this season."
    effort = f"in {count_of(round(nights), 'trap-night')} this season"
    if adults == 0:
        return f"No adults were caught {effort}."
    this_week = _week_catch(analysis)
    total = f"{count_of(round(adults), 'adult')} were" if adults != 1 else "1 adult was"
    return f"{total} caught {effort}{this_week}."


def _week_catch(analysis: Analysis) -> str:
    row = analysis.curve[analysis.curve["week"].eq(analysis.season.week)]
    if row.empty or math.isnan(float(row["rate"].iloc[0])):
        return ""
    rate, low, high = (float(row[name].iloc[0]) for name in ("rate", "rate_low", "rate_high"))
    text = f"; this week {rate_text(rate)} per trap-week"
    return text + _interval_text(low, high)


def _interval_text(low: float, high: float) -> str:
    if math.isnan(low) or math.isnan(high):
        return ""
    return f" (95 % interval {rate_text(low)} to {rate_text(high)})"


def clustering_sentence(test: GlobalTest, marks: MarkSettings) -> str:
    """Return what the test of the whole network says, or why there is none.

    Parameters
    ----------
    test
        Global Moran's I.
    marks
        For the chance of error allowed and the fewest traps tested.

    Examples
    --------
    >>> nan = float("nan")
    >>> clustering_sentence(GlobalTest(nan, nan, nan, nan, 9, "few_traps"), MarkSettings())
    'Clustering was not tested: 9 traps can be compared and the test needs at least 14. Not \
tested does not mean nothing there.'
    """
    if test.reason == "few_traps":
        return (
            f"Clustering was not tested: {count_of(test.traps, 'trap')} can be compared and the "
            f"test needs at least "
            f"{marks.min_traps}. Not tested does not mean nothing there."
        )
    if test.reason:
        return f"Clustering was not tested. {NO_GLOBAL_TEST[test.reason]}"
    figures = f"Moran's I = {test.i:.2f}, {p_text(test.p)}"
    if test.p > marks.alpha:
        return (
            f"Over the whole network, no clustering beyond chance was found ({figures}). "
            f"{NOTE_OF_PLAIN_RESULT}"
        )
    if test.i > test.expected:
        return f"Activity this season is clustered ({figures}): busy traps stand near busy traps."
    return f"Activity this season is scattered ({figures}): busy traps stand near quiet ones."


def _mark_sentences(analysis: Analysis) -> list[str]:
    mark = analysis.traps["mark"]
    untested = int(mark.eq("not_testable").sum())
    if untested == len(mark):
        return []
    found = [_marked(analysis, code) for code in MARK_LETTERS]
    sentences = [text for text in found if text]
    if not sentences:
        sentences = ["No single trap stands out once chance is allowed for."]
    if untested:
        was = "trap could" if untested == 1 else "traps could"
        sentences.append(f"{untested} {was} not be tested, and may be busy or quiet.")
    return sentences


def second_look_sentence(analysis: Analysis) -> str:
    """Return how many busy traps are busy even for their place; empty without busy traps."""
    traps = analysis.traps
    busy = traps["mark"].isin(BUSY)
    if not busy.any():
        return ""
    reason = analysis.placement.reason
    if reason:
        return NO_SECOND_LOOK[reason]
    both = int((busy & traps["place_mark"].isin(BUSY)).sum())
    of_them = "the busy trap" if busy.sum() == 1 else f"the {busy.sum()} busy traps"
    untold = int((busy & traps["place_reason"].eq("use_not_told")).sum())
    note = f" (of {count_of(untold, 'trap')} it cannot be told)" if untold else ""
    is_are = "is" if both == 1 else "are"
    if both == busy.sum():
        return f"{of_them.capitalize()} {is_are} busy even for the place (refuge distance and use)."
    place = "such places (refuge distance and use of the ground)"
    if not both:
        return f"But {place} may explain it: no trap is busy even for its place{note}."
    others = f"{place} may explain the others{note}"
    return f"{both} of {of_them} {is_are} busy even for the place; {others}."


def place_text(trap: Mapping[Hashable, Any]) -> str:
    """Return what the place of a trap explains of its catch, for its panel.

    Parameters
    ----------
    trap
        Row of `Analysis.traps`: `mark`, `place_mark`, `expected_rate`.

    Examples
    --------
    >>> place_text({"mark": "busy_patch", "place_mark": "none", "expected_rate": 2.63})
    'About 2.6 per trap-week are to be expected at such a place.'
    >>> place_text({"mark": "busy_patch", "place_mark": "busy_patch", "expected_rate": 0.5})
    'About 0.50 per trap-week are to be expected at such a place: busy even for its place.'
    """
    expected = float(trap["expected_rate"])
    if not math.isfinite(expected):
        return ""
    text = f"About {rate_text(expected)} per trap-week are to be expected at such a place"
    if trap["place_mark"] not in BUSY:
        return f"{text}."
    return f"{text}: {'busy even for its place' if trap['mark'] in BUSY else 'busy for its place'}."


def chance_sentence(chance: Chance | None) -> str:
    """Return how often the network would find a patch, so that silence is not taken for proof.

    Examples
    --------
    >>> chance_sentence(Chance(traps=4, fold=3.0, found=38, maps=100))
    'With these traps, a patch of 4 traps at 3 times the rest would be missed 6 times in 10.'
    >>> chance_sentence(Chance(traps=4, fold=3.0, found=99, maps=100))
    'With these traps, a patch of 4 traps at 3 times the rest would hardly ever be missed.'
    """
    if chance is None:
        return ""
    missed = round(10 * (1 - chance.share))
    how_often = {0: "hardly ever be missed", 1: "be missed once in 10 times"}
    how_often[10] = "almost always be missed"
    often = how_often.get(missed, f"be missed {missed} times in 10")
    return (
        f"With these traps, a patch of {chance.traps} traps at {chance.fold:g} times the rest "
        f"would {often}."
    )


def _marked(analysis: Analysis, code: str) -> str:
    marked = analysis.traps[analysis.traps["mark"].eq(code)]
    if marked.empty:
        return ""
    zones = sorted(marked["zone_id"].dropna().astype(str).unique())
    where = f" ({listed(zones)})" if zones else ""
    if code.startswith("lone"):
        traps = sorted(marked["trap_id"].astype(str).unique())
        more = "more" if code == "lone_busy" else "less"
        noun, verb, them = ("Trap", "catches", "it")
        if len(marked) > 1:
            noun, verb, them = ("Traps", "catch", "them")
        return f"{noun} {listed(traps)} {verb} {more} than the traps around {them}{where}."
    verb = "is" if len(marked) == 1 else "are"
    return f"{count_of(len(marked), 'trap')} {verb} marked as {MARK_NAMES[code]}{where}."


def _zone_sentences(analysis: Analysis) -> list[str]:
    gaps = analysis.zones["gap"]
    sentences = _empty_sentences(gaps.eq("no_traps"), analysis.zones["judged_by"].eq("larvae"))
    sentences += _thin_sentences(gaps, analysis.site.settings.network.min_traps_per_zone)
    sentences += treated_sentences(analysis.site, analysis.season)
    places = len(analysis.suggestions)
    if places:
        verb = "is" if places == 1 else "are"
        sentences.append(f"{count_of(places, 'place')} for new traps {verb} suggested.")
    return sentences


def _empty_sentences(empty: pd.Series[bool], cored: pd.Series[bool]) -> list[str]:
    """Return a sentence about the zones without traps; cores may speak for some of them."""
    unknown, told = int((empty & ~cored).sum()), int((empty & cored).sum())
    sentences = []
    if unknown:
        has, them = ("has", "it") if unknown == 1 else ("have", "them")
        other = " and no cores that count" if told else ""
        sentences.append(
            f"{unknown} of {count_of(len(empty), 'zone')} {has} no traps{other}: "
            f"nothing can be said about {them}."
        )
    if told:
        has, is_ = ("has", "is") if told == 1 else ("have", "are")
        sentences.append(
            f"{count_of(told, 'zone')} {has} no traps and {is_} judged by cores alone."
        )
    return sentences


def _thin_sentences(gaps: pd.Series[str], fewest: int) -> list[str]:
    """Return a sentence for each way in which zones with traps have too few of them."""
    few = "rests on a single trap" if fewest == 2 else f"has fewer than {fewest} traps"
    many = "rest on a single trap each" if fewest == 2 else f"have fewer than {fewest} traps"
    words = {
        "no_nights": (
            "has traps but no countable night yet",
            "have traps but no countable night yet",
        ),
        "removed_traps": ("has lost its last trap", "have lost their last trap"),
        "few_traps": (few, many),
        "wide_interval": ("has a rate that is known only roughly", "have rates known only roughly"),
    }
    counts = {code: int(gaps.eq(code).sum()) for code in words}
    return [
        f"{count_of(count, 'zone')} {words[code][count > 1]}."
        for code, count in counts.items()
        if count
    ]


def treated_sentences(site: Site, season: Season) -> list[str]:
    """Say that the season to date mixes before and after, where a zone was treated."""
    table = site.treatments
    if table.empty:
        return []
    day = table["applied_on"]
    inside = (day >= pd.Timestamp(season.start)) & (day <= pd.Timestamp(season.cutoff))
    zones = table.loc[inside, "zone_id"].nunique()
    if not zones:
        return []
    was = "was" if zones == 1 else "were"
    first = day_text(day[inside].min().date())
    return [
        f"{count_of(zones, 'zone')} {was} treated this season, first on {first}: figures for the "
        "season to date mix before and after."
    ]


def provenance(analysis: Analysis) -> str:
    """Return what the map page was made from, in one line."""
    return f"{sources_text(analysis, english())} Map drawing: Leaflet 1.9.3, BSD-2-Clause."


def zone_rate_text(zone: Mapping[Hashable, Any], state: str) -> str:
    """Return a zone's rate with its interval, or in words why it has none.

    Parameters
    ----------
    zone
        One row of `Analysis.zones`.
    state
        Its state as the map draws it: a digit when it has a rate.

    Examples
    --------
    >>> zone_rate_text({"rate": 4.7, "rate_low": 3.1, "rate_high": 7.2}, "3")
    '4.7 (3.1 to 7.2)'
    >>> zone_rate_text({"rate": float("nan")}, "t")
    'no traps'
    """
    if not state.isdigit():
        return {"t": ZONE_STATES["no_traps"], "e": ZONE_STATES["no_nights"]}.get(
            state, ZONE_STATES["not_comparable"]
        )
    interval = zone_interval_text(zone)
    return rate_text(float(zone["rate"])) + (f" ({interval})" if interval else "")


def zone_interval_text(zone: Mapping[Hashable, Any]) -> str:
    """Return the interval of a zone: that of the zone model, where it was judged by that.

    Examples
    --------
    >>> plain = {"rate_low": 1.5, "rate_high": 34.0}
    >>> zone_interval_text(plain)
    '1.5 to 34'
    >>> zone_interval_text(plain | {"model_low_95": 2.2, "model_high_95": 9.4})
    'zone model 2.2 to 9.4'
    """
    low = float(zone.get("model_low_95", math.nan))
    if math.isfinite(low):
        return f"zone model {interval_range(low, float(zone['model_high_95']))}"
    return interval_range(float(zone["rate_low"]), float(zone["rate_high"]))


def use_text(use: str) -> str:
    """Return a zone's use as it is read.

    Examples
    --------
    >>> use_text("sod_block")
    'sod block'
    """
    return use.replace("_", " ")


def zone_mark_text(mark: str) -> str:
    """Return a zone's mark with its letter, or an empty string.

    Examples
    --------
    >>> zone_mark_text("busy_patch"), zone_mark_text("none"), zone_mark_text("")
    ('B busy patch', '', '')
    """
    return f"{MARK_LETTERS[mark]} {MARK_NAMES[mark]}" if mark in MARK_LETTERS else ""


def banner(analysis: Analysis) -> str:
    """Return the warning over a small network, or an empty string.

    Returns
    -------
    str
        How little a network of this size can see; empty from `few_traps` traps on.
    """
    marks, traps = analysis.site.settings.marks, analysis.global_test.traps
    if traps >= marks.few_traps:
        return ""
    small = f"This is a small network: {count_of(traps, 'trap')} can be compared. "
    if analysis.global_test.reason:
        return f"{small}A map without marks says nothing here."
    return (
        f"{small}With fewer than {marks.few_traps}, only a strong pattern can show; a map without "
        "marks says little."
    )


def week_sentence(analysis: Analysis, week: str) -> str:
    """Return what dots and shading show when the slider stands at a week.

    Raises
    ------
    ValueError
        If the week is not one of the season's.
    """
    weeks = shown_weeks(analysis)
    if week not in weeks:
        msg = f"week must be one of {', '.join(weeks)}. Got {week!r} instead."
        raise ValueError(msg)
    statuses = round_statuses(analysis, week)
    number = week_number(week)
    until = min(week_days(week)[1], analysis.season.cutoff)
    dots = f"Dots: catch of week {number} alone ({round_text(statuses.values())}). "
    if not analysis.judged:
        return f"{dots}Shading and marks: season to date, up to {day_text(until)}."
    if week == weeks[-1]:
        shading = "evidence against your limits"
    else:
        judged = week_number(weeks[-1])
        shading = f"catch rate, as only week {judged} is judged against your limits"
    span = f"season to date, up to {day_text(until)}"
    return f"{dots}Shading: {shading}. Shading and marks: {span}."


def area_text(area_ha: float, units: Units) -> str:
    """Return an area in the site's units; one acre is 0.40468564224 ha (NIST Handbook 44, C).

    Examples
    --------
    >>> area_text(0.40468564224, "us"), area_text(12.34, "metric")
    ('1.0 acres', '12.3 ha')
    """
    value, unit = (area_ha / 0.40468564224, "acres") if units == "us" else (area_ha, "ha")
    return f"{value:.2f} {unit}" if value < 0.95 else f"{value:,.1f} {unit}"


def distance_text(distance_m: float, units: Units) -> str:
    """Return a distance in the site's units; one foot is 0.3048 m (NIST Handbook 44, C).

    Examples
    --------
    >>> distance_text(30.48, "us"), distance_text(30.48, "metric")
    ('100 ft', '30 m')
    """
    return f"{distance_m / 0.3048:,.0f} ft" if units == "us" else f"{distance_m:,.0f} m"


def interval_range(low: float, high: float) -> str:
    """Return the ends of an interval, or an empty string when there is none.

    Examples
    --------
    >>> interval_range(0.42, 12.3), interval_range(float("nan"), float("nan"))
    ('0.42 to 12', '')
    """
    if math.isnan(low) or math.isnan(high):
        return ""
    return f"{rate_text(low)} to {rate_text(high)}"


def _gain_text(row: Mapping[Hashable, Any], units: Units) -> str:
    """Return what a suggested trap is expected to do; blank if it is next to nothing."""
    settled, edge_m = float(row["settles_ha"]), float(row["edge_m"])
    parts = []
    if settled >= _LEAST_HA:
        parts.append(f"is expected to settle {area_text(settled, units)} of the zone")
    if edge_m >= 1:
        edge = distance_text(edge_m, units)
        parts.append(f"is the first to watch {edge} of refuge-facing edge")
    return f" It {', and '.join(parts)}." if parts else ""


_LEAST_HA = 0.005
"""Less is not said to be settled."""


def suggestion_sentence(row: Mapping[Hashable, Any], units: Units) -> str:
    """Return where a new trap is suggested, and why.

    Parameters
    ----------
    row
        One row of `Analysis.suggestions`.
    units
        Units of distances.

    Examples
    --------
    >>> suggestion_sentence({"zone_id": "H07", "reason": "no_traps", "place": "refuge_edge",
    ...     "refuge_id": "R1", "refuge_distance_m": 6.0, "nearest_trap_m": 80.0, "design": "linear",
    ...     "bearing_deg": 57.4, "uphill_deg": float("nan"), "settles_ha": 0.4, "edge_m": 20.0},
    ...     "metric")
    'Zone H07, a linear trap along 57 degrees on the side that faces a refuge (R1, 6 m away): the \
zone has no traps. It is expected to settle 0.40 ha of the zone, and is the first to watch 20 m of \
refuge-facing edge. The nearest trap is 80 m away.'
    """
    bearing = float(row["bearing_deg"])
    along = f" along {bearing:.0f} degrees" if math.isfinite(bearing) else ""
    uphill = float(row["uphill_deg"])
    if math.isfinite(uphill):
        along = f", its pipe running up at {uphill:.0f} degrees from the collector,"
    text = f"Zone {row['zone_id']}, a {row['design']} trap{along} {PLACES[row['place']]}"
    if not pd.isna(row["refuge_id"]):
        away = distance_text(float(row["refuge_distance_m"]), units)
        text += f" ({row['refuge_id']}, {away} away)"
    text += f": {SUGGESTION_REASONS[row['reason']]}.{_gain_text(row, units)}"
    if math.isfinite(row["nearest_trap_m"]):
        text += f" The nearest trap is {distance_text(row['nearest_trap_m'], units)} away."
    return text
