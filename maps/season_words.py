"""Words for when adults walk: the season's own dates, what is due, seasons before, and models."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from data.settings import Units
from maps.language_file import english
from maps.percent import percent_text
from maps.weeks import day_text, span_text
from maps.words import count_of, listed, rate_text, treated_sentences
from spatial.larvae_paired import LarvaePaired
from spatial.model_seasons import EventDays, ModelSeason
from spatial.season_calendar import DueWindow
from spatial.season_comparison import SeasonComparison
from spatial.season_dates import LEVEL, SeasonDates, ShareDate
from spatial.season_fit import OwnFit
from spatial.season_report import SeasonReport
from spatial.season_when import SeasonWhen

EVENT_TEXT = {
    "first_adults": "first adults",
    "adults_30": "30 % of adults",
    "adults_peak": "peak of adults",
    "larvae": "larvae and damage",
    "larvae_large": "large larvae",
}

METHOD_TEXT = {
    "simple": "simple average",
    "modified": "average with lows raised to the base",
    "sine": "single sine",
    "double_sine": "double sine",
    "triangle": "single triangle",
    "double_triangle": "double triangle",
}

CUT_OFF_TEXT = {
    "none": "no upper threshold",
    "horizontal": "horizontal cut-off",
    "intermediate": "intermediate cut-off",
    "vertical": "vertical cut-off",
}

NO_DATES_TEXT = {
    "no_visit": "No trap was checked with a countable catch yet.",
    "no_catch": "No beetle was caught yet.",
    "few_beetles": "Too few beetles were caught to say by when a share of them had walked.",
}

NO_SUM_TEXT = {
    "no_weather": "there is no weather for this time",
    "starts_late": "the weather begins after the model's start, so nothing can be summed",
    "long_gap": "the weather has a gap too long to fill after {day}",
    "ends_early": "the weather ends on {day}",
    "not_started": "counting has not begun yet",
    "other_season": "its start lies near no season of this site, so it says nothing of this one",
}

MODELS_NOTE = (
    "Published numbers disagree by more than a month between regions, and by days between methods "
    "on the same weather. Your own catch, the lines in the pictures, says how far one fits here."
)

NONE_NAMED = "Models are shown side by side and none is chosen for you."
"""Where site.toml names none."""

SEASON_NOTE = (
    "Catches are spread evenly over the nights of their visit and divided by the traps that were "
    "out, so rounds with more traps count no more. Intervals are 90 %, by drawing the traps again. "
    "A catch is activity: a cold spell looks like a late season."
)


WINDOW_TEXT = {
    "first_adults": "first adults",
    "adult_middle": "middle of the adults",
    "adult_window": "adults walking, most not yet laid",
    "larvae_due": "larvae hatching",
    "cores": "time for soil cores",
    "soil_larvae": "larvae reaching the soil",
}

WHY_TEXT = {
    "first_adults": "the first beetle of the season in a trap",
    "adult_middle": "half of the season's adults have walked by then",
    "adult_window": (
        "from one adult in ten to the middle of them: what is meant for adults meets them from "
        "when they are active (Turf Tips, 28 April 2015)"
    ),
    "larvae_due": (
        "one week after one adult in ten to two weeks after nine in ten (common practice, no "
        "source)"
    ),
    "cores": (
        "the peak of larvae lies about two weeks after that of the adults (ASA-CSSA-SSSA meeting "
        "2015, abstract 217-2); two more weeks for a second round (common practice, no source)"
    ),
    "soil_larvae": (
        "after hatching, larvae of the middle of the adults live two to three weeks in the stems, "
        "then drop to crowns and roots (Bluegrass billbugs in Iowa, 2003)"
    ),
}

BASIS_TEXT = {
    "observed": "as caught this season",
    "own_fit": "this site's own catch by degree-days, give or take what that missed by in past "
    "seasons{weather}",
    "past_seasons": "same days of the year as in {seasons}",
    "model": "the model that site.toml names{weather}",
}

FIT_TEXT = {
    "few_seasons": (
        "This site's own relation of catch to these degree-days needs three past seasons with "
        "weather before it can be tried; there {are} {n}."
    ),
    "no_fit": "No curve goes through this site's own catch and these degree-days.",
    "not_better": (
        "Tried on {n} past seasons, this site's own relation came {other}: it makes no forecast."
    ),
    "": (
        "Tried on {n} past seasons, this site's own relation came {other}: it makes the forecast."
    ),
}

NOT_COMPARED_TEXT = {
    "no_past_season": "no countable visit of {past} lies in the same part of the season",
    "treated_season": "too few of the same traps stand where nothing was treated since",
    "few_traps": "fewer than five traps stood in the same places on the same nights",
    "few_beetles": "too few beetles were caught in both seasons together",
    "few_before": "too few beetles were caught then",
    "few_now": "too few beetles are caught now",
}

PAIRED_TEXT = {
    "few_zones": (
        "Whether larvae lie where adults walked takes eight zones with cores at least a week after "
        "the catch; there {are} {n}."
    ),
    "no_variation": "All zones with cores were alike in larvae, or in adults: no correlation.",
}

NOT_DUE_TEXT = "There is nothing to go by yet for when larvae are due. Cores tell."
"""Without a whole season before, or where beetles do not come as in those before."""

CALENDAR_NOTE = (
    "Windows say when a stage is likely to be there, not that anything is to be done: limits, "
    "cores and the label decide. High or shaded ground runs later, southern slopes earlier; "
    "that is for you to allow for."
)

CAUGHT_NOTE = (
    "This season is the solid line. The picture takes all traps of each season; the sentences "
    "above compare the same traps only. This season's shares are of what was caught so far."
)

NIGHTS_NOTE = (
    "Marked under the curve: nights colder than {cold} on average, when walking is held back, "
    "and days with at least {wet} of rain where the weather file has rain."
)


def nights_note(cold_c: float, wet_mm: float, units: Units) -> str:
    """Return what is marked under the curve, in the site's units.

    Examples
    --------
    >>> nights_note(20, 1, "us")[29:64], nights_note(20, 1, "metric")[29:64]
    ('s colder than 68 F on average, when', 's colder than 20 C on average, when')
    """
    if units == "us":
        return NIGHTS_NOTE.format(cold=f"{cold_c * 1.8 + 32:.4g} F", wet=f"{wet_mm / 25.4:.2g} in")
    return NIGHTS_NOTE.format(cold=f"{cold_c:g} C", wet=f"{wet_mm:g} mm")


def season_sentences(report: SeasonReport) -> list[str]:
    """Return what the traps say of this season, what is due, and what was before."""
    lines = own_lines(report.dates) + generation_lines(report)
    lines += due_sentences(report.calendar, report.season.cutoff)
    lines += treated_sentences(report.site, report.season, english())
    for label, dates in report.past.items():
        lines.append(past_sentence(label, dates))
        lines.append(compared_sentence(label, report.compared[label]))
    lines += busy_sentences(report)
    lines += [paired_sentence(report.paired)] if len(report.site.cores) else []
    lines += [model_sentence(each, report.dates) for each in report.models]
    return lines


def past_sentence(label: str, dates: SeasonDates) -> str:
    """Return by when a past season's adults had walked."""
    return f"{label}: {_dates_text(dates).removesuffix(' yet')}."


def when_sentences(when: SeasonWhen, today: date) -> list[str]:
    """Return the season in short: its dates so far, what is due on a day, and what comes next."""
    return [*own_lines(when.dates), *due_sentences(when.calendar, today)]


def generation_lines(report: SeasonReport) -> list[str]:
    """Return the dates of both generations; nothing where the site has one."""
    names = ("First", "Second")
    lines = [
        f"{name} generation: {_dates_text(dates)}."
        for name, dates in zip(names, report.generations, strict=False)
    ]
    return [*lines, "What is due is said of the first generation only."] if lines else []


def due_sentences(calendar: Sequence[DueWindow], today: date) -> list[str]:
    """Return what is due on a day, and what comes next."""
    now = [each for each in calendar if each.first <= today <= each.last]
    ahead = sorted((each for each in calendar if each.first > today), key=lambda each: each.first)
    lines = []
    if now:
        texts = [f"{WINDOW_TEXT[each.what]} until {day_text(each.last)}" for each in now]
        ground = "; ".join(dict.fromkeys(map(basis_text, now)))
        lines.append(f"Due on {day_text(today)}: {', '.join(texts)} ({ground}).")
    if ahead:
        each = ahead[0]
        lines.append(
            f"Next: {WINDOW_TEXT[each.what]}, {span_text(each.first, each.last)} "
            f"({basis_text(each)})."
        )
    known = any(each.what == "larvae_due" for each in calendar)
    return lines if known else [*lines, NOT_DUE_TEXT]


def basis_text(window: DueWindow) -> str:
    """Return what a window rests on.

    Examples
    --------
    >>> basis_text(DueWindow("cores", date(2026, 6, 2), date(2026, 6, 16), "past_seasons", 1))
    'same days of the year as in one past season; two may differ by weeks'
    """
    one, number = window.seasons == 1, window.seasons
    years = "one past year only" if one else count_of(number, "past year")
    return BASIS_TEXT[window.basis].format(
        weather=f", with the weather of {years}" if number else "",
        seasons="one past season; two may differ by weeks"
        if one
        else count_of(number, "past season"),
    )


def compared_sentence(label: str, found: SeasonComparison) -> str:
    """Return how this season compares with an earlier one, matched traps and nights only."""
    if found.reason:
        reason = NOT_COMPARED_TEXT[found.reason].format(past=label)
        if found.reason not in ("few_before", "few_now"):
            return f"Against {label} nothing can be said: {reason}."
        return (
            f"Against {label}, same {count_of(found.traps, 'trap')} on the same nights of the "
            f"season: {rate_text(found.rate)} adults per trap-week now, "
            f"{rate_text(found.past_rate)} then; no ratio, for {reason}."
        )
    high = "no upper end" if found.high == float("inf") else f"{found.high:.2f}"
    return (
        f"Against {label}, same {count_of(found.traps, 'trap')} on the same nights of the season: "
        f"{rate_text(found.rate)} adults per trap-week now, {rate_text(found.past_rate)} then; "
        f"ratio {found.ratio:.2f} ({percent_text(LEVEL)} interval {found.low:.2f} to {high})."
    )


def busy_sentences(report: SeasonReport) -> list[str]:
    """Return the zones that were busy in every season that could tell, of two or more."""
    table = report.busy[(report.busy["testable"] >= 2)]
    always = table[table["busy"] == table["testable"]]
    if not len(table):
        return []
    if always.empty:
        return ["No zone was busy in every season that could tell."]
    zones = [f"{row.zone_id} ({row.busy} of {row.testable})" for row in always.itertuples()]
    return [f"Busy in every season that could tell, by marked traps: {listed(zones, 8)}."]


def paired_sentence(found: LarvaePaired) -> str:
    """Return whether larvae lie where adults walked."""
    if found.reason:
        are = "is" if found.zones == 1 else "are"
        return PAIRED_TEXT[found.reason].format(n=found.zones, are=are)
    return (
        f"Across {found.zones} zones with cores, larvae rank with the adults caught up to a week "
        f"before: correlation {found.rho:.2f} (95 % interval {found.low:.2f} to {found.high:.2f})."
    )


def fit_sentence(fit: OwnFit) -> str:
    """Return whether the site's own relation of catch to degree-days makes a forecast."""
    other = []
    for column, name in (
        ("published_days", "the published thresholds within {theirs:.0f}"),
        ("last_year_days", "the dates of the year before within {theirs:.0f}"),
    ):
        own, theirs = fit.mean_error("own_days", column), fit.mean_error(column, "own_days")
        text = f"within {{own:.0f}} days on average where {name}"
        other += [text.format(own=own, theirs=theirs)] if not math.isnan(theirs) else []
    return FIT_TEXT[fit.reason].format(
        n=fit.seasons,
        are="is" if fit.seasons == 1 else "are",
        other=listed(other) or f"within {fit.mean_error('own_days'):.0f} days on average",
    )


def own_lines(dates: SeasonDates) -> list[str]:
    """Return what the traps say of this season so far."""
    lines = []
    if dates.first_catch is not None:
        first, last = dates.first_catch
        lines.append(f"The first beetle was caught between {day_text(first)} and {day_text(last)}.")
    if dates.reason:
        return [*lines, NO_DATES_TEXT[dates.reason]]
    return [*lines, f"Of all adults caught so far this season: {_dates_text(dates)}."]


def _dates_text(dates: SeasonDates) -> str:
    if dates.reason:
        return NO_DATES_TEXT[dates.reason].rstrip(".").lower()
    return "; ".join(_share_text(each) for each in dates.dates)


def _share_text(each: ShareDate) -> str:
    text = f"{percent_text(each.share)} by {day_text(each.day)}"
    if each.low is None or each.high is None:
        return text
    return f"{text} ({span_text(each.low, each.high)})"


def model_sentence(found: ModelSeason, dates: SeasonDates) -> str:
    """Return what one model says, how it counts, and where it is from."""
    model = found.sums.model
    said = "; ".join(event_text(each, ended=bool(found.sums.reason)) for each in found.events)
    counted = f"{METHOD_TEXT[model.method]}, {CUT_OFF_TEXT[model.cut_off]}, base {model.base:g} "
    counted += f"{model.unit}, from {model.start}"
    parts = [f"{model.name}: {said} ({counted}; {model.source})."]
    parts += [model.method_note] if model.method_note else []
    if found.sums.filled:
        verb = "was" if found.sums.filled == 1 else "were"
        parts.append(f"{count_of(found.sums.filled, 'day')} without a temperature {verb} filled.")
    if found.sums.reason:
        day = day_text(found.sums.known_to) if found.sums.known_to else ""
        parts.append(f"But {NO_SUM_TEXT[found.sums.reason].format(day=day)}.")
    stands = stands_sentences(found)
    return " ".join([*parts, *_against(found, dates), *stands, fit_sentence(found.fit)])


def stands_sentences(found: ModelSeason) -> list[str]:
    """Return which days of past seasons had the degree-days that this one has now."""
    known = [found.same_sum(each) for each in found.past]
    days = [day_text(day) for day in known if day is not None]
    if not days or found.sums.known_to is None:
        return []
    return [f"By these degree-days {day_text(found.sums.known_to)} is like {listed(days, 4)}."]


def event_text(each: EventDays, *, ended: bool = False) -> str:
    """Return when a model puts an event; `ended` where its sum stops before the cut-off."""
    name = EVENT_TEXT[each.event.event]
    quoted = "" if each.event.status == "read" else f" ({each.event.status})"
    if each.ahead is not None:
        return f"{name} expected {span_text(*each.ahead)}{quoted}"
    if each.low is None:
        return f"{name} {'not known' if ended else 'not reached yet'}{quoted}"
    if each.high is None:
        end = "to a day not known" if ended else "on"
        return f"{name} from {day_text(each.low)} {end}{quoted}"
    return f"{name} {span_text(each.low, each.high)}{quoted}"


def _against(found: ModelSeason, dates: SeasonDates) -> list[str]:
    """Return how the site's own first catch lies to the model's first adults."""
    first = next((each for each in found.events if each.event.event == "first_adults"), None)
    if first is None or dates.first_catch is None:
        return []
    if first.low is None and found.sums.reason:
        return []
    earliest, latest = dates.first_catch
    if first.low is None or latest < first.low:
        days = _apart(latest, first.low)
        return [f"The first catch here came {days} than that."]
    if first.high is not None and earliest > first.high:
        return [f"The first catch here came {(earliest - first.high).days} days later than that."]
    return ["The first catch here fits that."]


def _apart(latest: date, low: date | None) -> str:
    return "earlier" if low is None else f"{(low - latest).days} days earlier"
