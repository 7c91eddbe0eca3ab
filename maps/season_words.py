"""Words for when adults walk: the season's own dates first, then what models make of it."""

from __future__ import annotations

from datetime import date

from maps.percent import percent_text
from maps.weeks import day_text
from maps.words import count_of, treated_sentences
from spatial.season_dates import SeasonDates, ShareDate, larvae_days
from spatial.season_report import EventDays, ModelSeason, SeasonReport

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
}

MODELS_NOTE = (
    "Models are shown side by side and none is chosen for you. Published numbers disagree by more "
    "than a month between regions, and by days between methods on the same weather; your own first "
    "and median catch, drawn beside them, say how far one fits here."
)

SEASON_NOTE = (
    "Catches are spread evenly over the nights of their visit and divided by the traps that were "
    "out, so rounds with more traps count no more. Intervals are 90 %, by drawing the traps again. "
    "A catch is activity: a cold spell looks like a late season."
)


def season_sentences(report: SeasonReport) -> list[str]:
    """Return what the traps say of this season and of those before."""
    lines = _own_lines(report.dates)
    lines += treated_sentences(report.site, report.season)
    lines += [f"{label}: {_dates_text(dates)}." for label, dates in report.past.items()]
    lines += [model_sentence(each, report.dates) for each in report.models]
    return lines


def _own_lines(dates: SeasonDates) -> list[str]:
    lines = []
    if dates.first_catch is not None:
        first, last = dates.first_catch
        lines.append(f"The first beetle was caught between {day_text(first)} and {day_text(last)}.")
    if dates.reason:
        return [*lines, NO_DATES_TEXT[dates.reason]]
    lines.append(f"Of all adults caught so far this season: {_dates_text(dates)}.")
    due = [day_text(day) for day in larvae_days(dates)]
    lines.append(
        f"Larvae follow the adults by one to two weeks: for the middle of those caught so far, "
        f"{due[0]} to {due[1]} (common practice, no source). Cores tell."
    )
    return lines


def _dates_text(dates: SeasonDates) -> str:
    if dates.reason:
        return NO_DATES_TEXT[dates.reason].rstrip(".").lower()
    return "; ".join(_share_text(each) for each in dates.dates)


def _share_text(each: ShareDate) -> str:
    text = f"{percent_text(each.share)} by {day_text(each.day)}"
    if each.low is None or each.high is None:
        return text
    return f"{text} ({day_text(each.low)} to {day_text(each.high)})"


def model_sentence(found: ModelSeason, dates: SeasonDates) -> str:
    """Return what one model says, how it counts, and where it is from."""
    model = found.sums.model
    said = "; ".join(event_text(each, ended=bool(found.sums.reason)) for each in found.events)
    counted = f"{METHOD_TEXT[model.method]}, {CUT_OFF_TEXT[model.cut_off]}, base {model.base:g} "
    counted += f"{model.unit}, from {model.start}"
    parts = [f"{model.name}: {said} ({counted}; {model.source})."]
    if found.sums.filled:
        parts.append(f"{count_of(found.sums.filled, 'day')} without a temperature were filled.")
    if found.sums.reason:
        day = day_text(found.sums.known_to) if found.sums.known_to else ""
        parts.append(f"But {NO_SUM_TEXT[found.sums.reason].format(day=day)}.")
    return " ".join([*parts, *_against(found, dates)])


def event_text(each: EventDays, *, ended: bool = False) -> str:
    """Return when a model puts an event; `ended` where its sum stops before the cut-off."""
    name = EVENT_TEXT[each.event.event]
    quoted = "" if each.event.status == "read" else f" ({each.event.status})"
    if each.low is None:
        return f"{name} {'not known' if ended else 'not reached yet'}{quoted}"
    if each.high is None:
        end = "to a day not known" if ended else "on"
        return f"{name} from {day_text(each.low)} {end}{quoted}"
    return f"{name} {day_text(each.low)} to {day_text(each.high)}{quoted}"


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
