"""Sentences from codes and numbers, for a reader who meets the map for the first time.

Every code that an analysis can hold has its words in the language file, so that a page, a table
and a report say the same thing. The sentences claim no more than the numbers: "not testable" never
reads like "nothing found", and "nothing found" never reads like "nothing there".
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping
from typing import Any

import pandas as pd

from data.settings import MarkSettings, Units
from data.site import Site
from maps.catalogue import Catalogue, figure
from maps.method_words import sources_text
from maps.rounds import round_statuses, shown_weeks
from maps.weeks import week_days, week_number
from spatial.results import Analysis, Chance, GlobalTest, Season

BUSY = ("busy_patch", "lone_busy")

MARK_LETTERS = {"busy_patch": "B", "quiet_patch": "Q", "lone_busy": "b", "lone_quiet": "q"}
"""Letters drawn beside the ring of a marked trap; the other states carry none."""

MAP_DRAWING = "Leaflet 1.9.3, BSD-2-Clause"
"""What draws the map, and its licence."""

_LEAST_HA = 0.005
"""Less is not said to be settled."""


def headline(analysis: Analysis, lang: Catalogue) -> list[str]:
    """Return the sentences that open the page, most urgent first.

    Parameters
    ----------
    analysis
        What one weekly run found.
    lang
        Language.

    Returns
    -------
    list of str
        Plain sentences: this week's round, the season's catch, clustering, marked traps, zones
        without traps, suggested places, and rows that were set aside.
    """
    sentences = [
        _round_sentence(analysis, lang),
        _catch_sentence(analysis, lang),
        *headline_of_clusters(analysis, lang),
        *_zone_sentences(analysis, lang),
        _set_aside_sentence(analysis, lang),
        _out_of_season_sentence(analysis, lang),
    ]
    return [sentence for sentence in sentences if sentence]


def headline_of_clusters(analysis: Analysis, lang: Catalogue) -> list[str]:
    """Return what the cluster tests found, the part of `headline` that is about them."""
    sentences = [
        clustering_sentence(analysis.global_test, analysis.site.settings.marks, lang),
        *_mark_sentences(analysis, lang),
        second_look_sentence(analysis, lang),
        chance_sentence(analysis.chance, lang),
    ]
    return [sentence for sentence in sentences if sentence]


def _set_aside_sentence(analysis: Analysis, lang: Catalogue) -> str:
    count = analysis.site.account.count
    return lang.say("headline.set_aside", count) if count else ""


def _out_of_season_sentence(analysis: Analysis, lang: Catalogue) -> str:
    count = analysis.site.account.out_of_season
    window = analysis.site.settings.season
    if not count:
        return ""
    return lang.say("headline.out_of_season", count, first=window.start, last=window.end)


def _round_sentence(analysis: Analysis, lang: Catalogue) -> str:
    week = analysis.season.week
    outcome = round_text(round_statuses(analysis, week).values(), lang)
    span = lang.span(*week_days(week))
    return lang.say("headline.round", week=week_number(week), span=span, round=outcome)


def round_text(statuses: Iterable[str], lang: Catalogue) -> str:
    """Return what became of one round, without a full stop.

    Examples
    --------
    >>> from maps.language_file import english
    >>> round_text(["ok"] * 66 + ["flooded"] * 4 + ["not_checked"] * 2, english())
    '66 of 72 traps checked, 4 void, 2 not checked'
    >>> round_text(["ok"] * 1200 + ["missing"], english())
    '1,200 of 1,201 traps checked, 1 void'
    >>> round_text(["ok"], english()), round_text([], english())
    ('1 of 1 trap checked', 'no traps in use')
    """
    counted = pd.Series(list(statuses), dtype=object)
    if counted.empty:
        return lang.say("headline.no_traps")
    checked = int(counted.eq("ok").sum())
    missed = int(counted.eq("not_checked").sum())
    void = len(counted) - checked - missed
    text = lang.say("headline.checked", len(counted), checked=checked)
    text = lang.say("headline.void", void, round=text) if void else text
    return lang.say("headline.not_checked", missed, round=text) if missed else text


def _catch_sentence(analysis: Analysis, lang: Catalogue) -> str:
    adults = round(float(analysis.traps["adults"].fillna(0).sum()))
    nights = float(analysis.traps["nights"].sum())
    if nights == 0:
        return lang.say("headline.no_count")
    effort = lang.say("method.nights", round(nights))
    if adults == 0:
        return lang.say("headline.none_caught", nights=effort)
    if rate := _week_catch(analysis, lang):
        return lang.say("headline.caught_week", adults, nights=effort, rate=rate)
    return lang.say("headline.caught", adults, nights=effort)


def _week_catch(analysis: Analysis, lang: Catalogue) -> str:
    row = analysis.curve[analysis.curve["week"].eq(analysis.season.week)]
    if row.empty or math.isnan(float(row["rate"].iloc[0])):
        return ""
    rate, low, high = (float(row[name].iloc[0]) for name in ("rate", "rate_low", "rate_high"))
    interval = lang.rates(low, high)
    if not interval:
        return lang.say("amounts.rate", rate=lang.rate(rate))
    return lang.say("amounts.rate_interval", rate=lang.rate(rate), interval=interval)


def clustering_sentence(test: GlobalTest, marks: MarkSettings, lang: Catalogue) -> str:
    """Return what the test of the whole network says, or why there is none.

    Parameters
    ----------
    test
        Global Moran's I.
    marks
        For the chance of error allowed and the fewest traps tested.
    lang
        Language.

    Examples
    --------
    >>> from maps.language_file import english
    >>> nan = float("nan")
    >>> clustering_sentence(GlobalTest(nan, nan, nan, nan, 9, "few_traps"), MarkSettings(),
    ...     english())
    'Clustering was not tested: 9 traps can be compared and the test needs at least 14. Not \
tested does not mean nothing there.'
    """
    if test.reason == "few_traps":
        return lang.say("clustering.few_traps", test.traps, least=marks.min_traps)
    if test.reason:
        return lang.say("clustering.not_tested", why=lang.say(f"no_test.{test.reason}"))
    none = test.p > marks.alpha
    kind = "none" if none else "clustered" if test.i > test.expected else "scattered"
    return lang.say(f"clustering.{kind}", i=lang.decimal(test.i, 2), p=lang.p_value(test.p))


def _mark_sentences(analysis: Analysis, lang: Catalogue) -> list[str]:
    mark = analysis.traps["mark"]
    untested = int(mark.eq("not_testable").sum())
    if untested == len(mark):
        return []
    found = [_marked(analysis, code, lang) for code in MARK_LETTERS]
    sentences = [text for text in found if text] or [lang.say("marked.none")]
    return [*sentences, *([lang.say("marked.untested", untested)] if untested else [])]


def second_look_sentence(analysis: Analysis, lang: Catalogue) -> str:
    """Return how many busy traps are busy even for their place; empty without busy traps."""
    traps = analysis.traps
    busy = traps["mark"].isin(BUSY)
    if not busy.any():
        return ""
    if analysis.placement.reason:
        return lang.say(f"no_second_look.{analysis.placement.reason}")
    both = int((busy & traps["place_mark"].isin(BUSY)).sum())
    untold = int((busy & traps["place_reason"].eq("use_not_told")).sum())
    if both == busy.sum():
        return lang.say("second_look.all", both)
    if not both:
        return _untold("none", "none_untold", untold, lang)
    others = _untold("others", "others_untold", untold, lang)
    return lang.say("second_look.some", both, busy=int(busy.sum()), others=others)


def _untold(told: str, not_all: str, untold: int, lang: Catalogue) -> str:
    """Return a message, or the one that also counts the traps of which it cannot be told."""
    return lang.say(f"second_look.{not_all}", untold) if untold else lang.say(f"second_look.{told}")


def place_text(trap: Mapping[Hashable, Any], lang: Catalogue) -> str:
    """Return what the place of a trap explains of its catch, for its panel.

    Parameters
    ----------
    trap
        Row of `Analysis.traps`: `mark`, `place_mark`, `expected_rate`.
    lang
        Language.

    Examples
    --------
    >>> from maps.language_file import english
    >>> place_text({"mark": "busy_patch", "place_mark": "none", "expected_rate": 2.63}, english())
    'About 2.6 per trap-week are to be expected at such a place.'
    """
    expected = float(trap["expected_rate"])
    if not math.isfinite(expected):
        return ""
    even = "busy_even" if trap["mark"] in BUSY else "busy"
    kind = even if trap["place_mark"] in BUSY else "expected"
    return lang.say(f"place.{kind}", rate=lang.rate(expected))


def chance_sentence(chance: Chance | None, lang: Catalogue) -> str:
    """Return how often the network would find a patch, so that silence is not taken for proof.

    Examples
    --------
    >>> from maps.language_file import english
    >>> chance_sentence(Chance(traps=4, fold=3.0, found=38, maps=100), english())
    'With these traps, a patch of 4 traps at 3 times the rest would be missed 6 times in 10.'
    >>> chance_sentence(Chance(traps=4, fold=3.0, found=99, maps=100), english())
    'With these traps, a patch of 4 traps at 3 times the rest would hardly ever be missed.'
    """
    if chance is None:
        return ""
    missed = round(10 * (1 - chance.share))
    kind = {0: "never", 1: "once", 10: "always"}.get(missed)
    often = lang.say(f"missed.{kind}") if kind else lang.say("missed.times", missed)
    return lang.say("missed.patch", chance.traps, fold=figure(chance.fold), often=often)


def _marked(analysis: Analysis, code: str, lang: Catalogue) -> str:
    marked = analysis.traps[analysis.traps["mark"].eq(code)]
    if marked.empty:
        return ""
    zones = sorted(marked["zone_id"].dropna().astype(str).unique())
    traps = sorted(marked["trap_id"].astype(str).unique())
    named = {"traps": lang.listed(traps)} if code.startswith("lone") else {}
    text = lang.say(f"marked.{code}", len(marked), **named)
    if not zones:
        return lang.say("page.sentence", text=text)
    return lang.say("marked.in_zones", text=text, zones=lang.listed(zones))


def _zone_sentences(analysis: Analysis, lang: Catalogue) -> list[str]:
    gaps, places = analysis.zones["gap"], len(analysis.suggestions)
    fewest = analysis.site.settings.network.min_traps_per_zone
    return [
        *_empty_sentences(gaps.eq("no_traps"), analysis.zones["judged_by"].eq("larvae"), lang),
        *_thin_sentences(gaps, fewest, lang),
        *treated_sentences(analysis.site, analysis.season, lang),
        *([lang.say("headline.suggested", places)] if places else []),
    ]


def _empty_sentences(empty: pd.Series[bool], cored: pd.Series[bool], lang: Catalogue) -> list[str]:
    """Return a sentence about the zones without traps; cores may speak for some of them."""
    unknown, told = int((empty & ~cored).sum()), int((empty & cored).sum())
    key = "headline.unknown_cores" if told else "headline.unknown"
    zones = lang.say("amounts.zones", len(empty))
    return [
        *([lang.say(key, unknown, zones=zones)] if unknown else []),
        *([lang.say("headline.cored", told)] if told else []),
    ]


def _thin_sentences(gaps: pd.Series[str], fewest: int, lang: Catalogue) -> list[str]:
    """Return a sentence for each way in which zones with traps have too few of them."""
    counts = {
        code: int(gaps.eq(code).sum())
        for code in ("no_nights", "removed_traps", "few_traps", "wide_interval")
    }
    few: dict[str, Any] = {} if fewest == 2 else {"fewest": fewest}
    return [
        lang.say("headline.single_trap", count)
        if code == "few_traps" and not few
        else lang.say(f"headline.{code}", count, **(few if code == "few_traps" else {}))
        for code, count in counts.items()
        if count
    ]


def treated_sentences(site: Site, season: Season, lang: Catalogue) -> list[str]:
    """Say that the season to date mixes before and after, where a zone was treated."""
    table = site.treatments
    if table.empty:
        return []
    day = table["applied_on"]
    inside = (day >= pd.Timestamp(season.start)) & (day <= pd.Timestamp(season.cutoff))
    zones = table.loc[inside, "zone_id"].nunique()
    if not zones:
        return []
    return [lang.say("headline.treated", zones, day=lang.day(day[inside].min().date()))]


def provenance(analysis: Analysis, lang: Catalogue) -> str:
    """Return what the map page was made from, in one line."""
    sources = sources_text(analysis, lang)
    return lang.say("map_page.provenance", sources=sources, drawing=MAP_DRAWING)


def zone_rate_text(zone: Mapping[Hashable, Any], state: str, lang: Catalogue) -> str:
    """Return a zone's rate with its interval, or in words why it has none.

    Parameters
    ----------
    zone
        One row of `Analysis.zones`.
    state
        Its state as the map draws it: a digit when it has a rate.
    lang
        Language.

    Examples
    --------
    >>> from maps.language_file import english
    >>> zone_rate_text({"rate": 4.7, "rate_low": 3.1, "rate_high": 7.2}, "3", english())
    '4.7 (3.1 to 7.2)'
    >>> zone_rate_text({"rate": float("nan")}, "t", english())
    'no traps'
    """
    if not state.isdigit():
        code = {"t": "no_traps", "e": "no_nights"}.get(state, "not_comparable")
        return lang.say(f"zone_rate.{code}")
    rate, (interval, of_model) = lang.rate(float(zone["rate"])), _zone_interval(zone, lang)
    if not interval:
        return rate
    told = lang.say("zone_rate.model", interval=interval) if of_model else interval
    return lang.say("zone_rate.interval", rate=rate, interval=told)


def _zone_interval(zone: Mapping[Hashable, Any], lang: Catalogue) -> tuple[str, bool]:
    """Return the interval of a zone, and whether it is that of the zone model."""
    low = float(zone.get("model_low_95", math.nan))
    if math.isfinite(low):
        return lang.rates(low, float(zone["model_high_95"])), True
    return lang.rates(float(zone["rate_low"]), float(zone["rate_high"])), False


def zone_interval_text(zone: Mapping[Hashable, Any], lang: Catalogue) -> str:
    """Return the interval of a zone: that of the zone model, where it was judged by that.

    Examples
    --------
    >>> from maps.language_file import english
    >>> plain = {"rate_low": 1.5, "rate_high": 34.0}
    >>> zone_interval_text(plain, english())
    '95 % interval 1.5 to 34'
    >>> zone_interval_text(plain | {"model_low_95": 2.2, "model_high_95": 9.4}, english())
    '95 % interval of the zone model 2.2 to 9.4'
    """
    interval, of_model = _zone_interval(zone, lang)
    key = "zone_rate.model_told" if of_model else "zone_rate.told"
    return lang.say(key, interval=interval) if interval else ""


def zone_mark_text(mark: str, lang: Catalogue) -> str:
    """Return a zone's mark with its letter, or an empty string.

    Examples
    --------
    >>> from maps.language_file import english
    >>> zone_mark_text("busy_patch", english()), zone_mark_text("none", english())
    ('B busy patch', '')
    """
    if mark not in MARK_LETTERS:
        return ""
    name = lang.say(f"mark_names.{mark}")
    return lang.say("mark_names.lettered", letter=MARK_LETTERS[mark], mark=name)


def banner(analysis: Analysis, lang: Catalogue) -> str:
    """Return the warning over a small network, or an empty string.

    Returns
    -------
    str
        How little a network of this size can see; empty from `few_traps` traps on.
    """
    few, traps = analysis.site.settings.marks.few_traps, analysis.global_test.traps
    if traps >= few:
        return ""
    if analysis.global_test.reason:
        return lang.say("small_network.untested", traps)
    return lang.say("small_network.few", traps, few=few)


def week_sentence(analysis: Analysis, week: str, lang: Catalogue) -> str:
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
    outcome = round_text(round_statuses(analysis, week).values(), lang)
    until = min(week_days(week)[1], analysis.season.cutoff)
    sentences = [lang.say("caption.dots", week=week_number(week), round=outcome)]
    if analysis.judged and week == weeks[-1]:
        sentences.append(lang.say("caption.evidence"))
    elif analysis.judged:
        sentences.append(lang.say("caption.rates", week=week_number(weeks[-1])))
    sentences.append(lang.say("caption.shading_marks", day=lang.day(until)))
    return " ".join(sentences)


def suggestion_sentence(row: Mapping[Hashable, Any], units: Units, lang: Catalogue) -> str:
    """Return where a new trap is suggested, and why.

    Parameters
    ----------
    row
        One row of `Analysis.suggestions`.
    units
        Units of distances.
    lang
        Language.

    Examples
    --------
    >>> from maps.language_file import english
    >>> suggestion_sentence({"zone_id": "H07", "reason": "no_traps", "place": "refuge_edge",
    ...     "refuge_id": "R1", "refuge_distance_m": 6.0, "nearest_trap_m": 80.0, "design": "linear",
    ...     "bearing_deg": 57.4, "uphill_deg": float("nan"), "settles_ha": 0.4, "edge_m": 20.0},
    ...     "metric", english())
    'Zone H07, a linear trap along 57 degrees on the side that faces a refuge (R1, 6 m away): the \
zone has no traps. It is expected to settle 0.40 ha of the zone, and is the first to watch 20 m of \
refuge-facing edge. The nearest trap is 80 m away.'
    """
    sentences = [
        lang.say(
            "suggestion.place",
            zone=str(row["zone_id"]),
            trap=_suggested_trap(row, lang),
            where=_suggested_where(row, units, lang),
            why=lang.say(f"suggestion_why.{row['reason']}"),
        ),
        _gain_text(row, units, lang),
    ]
    if math.isfinite(row["nearest_trap_m"]):
        distance = lang.distance(float(row["nearest_trap_m"]), units)
        sentences.append(lang.say("suggestion.nearest", distance=distance))
    return " ".join(each for each in sentences if each)


def _suggested_trap(row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    design = str(row["design"])
    for column, key in (("uphill_deg", "trap_uphill"), ("bearing_deg", "trap_along")):
        if math.isfinite(degrees := float(row[column])):
            return lang.say(f"suggestion.{key}", design=design, degrees=round(degrees))
    return lang.say("suggestion.trap", design=design)


def place_name(place: str, lang: Catalogue) -> str:
    """Return where in its zone a new trap is suggested.

    Examples
    --------
    >>> from maps.language_file import english
    >>> place_name("zone_interior", english())
    'inside the zone'
    """
    return lang.say(f"suggestion.{'refuge_edge' if place == 'refuge_edge' else 'inside'}")


def _suggested_where(row: Mapping[Hashable, Any], units: Units, lang: Catalogue) -> str:
    where = place_name(str(row["place"]), lang)
    if pd.isna(row["refuge_id"]):
        return where
    distance = lang.distance(float(row["refuge_distance_m"]), units)
    refuge = str(row["refuge_id"])
    return lang.say("suggestion.at_refuge", where=where, refuge=refuge, distance=distance)


def _gain_text(row: Mapping[Hashable, Any], units: Units, lang: Catalogue) -> str:
    """Return what a suggested trap is expected to do; blank if it is next to nothing."""
    settled, edge_m = float(row["settles_ha"]), float(row["edge_m"])
    told = {}
    if settled >= _LEAST_HA:
        told["area"] = lang.area(settled, units)
    if edge_m >= 1:
        told["edge"] = lang.distance(edge_m, units)
    key = {("area",): "settles", ("edge",): "watches", ("area", "edge"): "settles_watches"}
    return lang.say(f"suggestion.{key[tuple(told)]}", **told) if told else ""
