"""Words for when adults walk: the season's own dates, what is due, seasons before, and models."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from data.degree_day_models import STATUSES
from data.settings import Units
from data.weather import MM_PER_INCH
from maps.catalogue import Catalogue, figure, rounded
from maps.season_models import model_text
from maps.words import treated_sentences
from spatial.larvae_paired import LarvaePaired
from spatial.model_seasons import EventDays, ModelSeason
from spatial.season_calendar import DueWindow
from spatial.season_comparison import SeasonComparison
from spatial.season_dates import LEVEL, SeasonDates, ShareDate
from spatial.season_fit import OwnFit
from spatial.season_report import SeasonReport
from spatial.season_when import SeasonWhen

_GENERATIONS = ("first_generation", "second_generation")

_ON_WEATHER = {"own_fit": "own_fit_weather", "model": "model_weather"}
"""Basis of a window -> what is said where courses of the weather are behind it."""

_STATUS = dict(zip(STATUSES[1:], ("quoted", "memory", "own"), strict=True))
"""How a figure was seen -> its key; one that was read needs no word."""

_OTHERS = {"published_days": "near_published", "last_year_days": "near_last_year"}
"""Errors of another forecast -> how the site's own is said beside it."""


def nights_note(cold_c: float, wet_mm: float, units: Units, lang: Catalogue) -> str:
    """Return what is marked under the curve, in the site's units.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [nights_note(20, 1, each, english())[29:64] for each in ("us", "metric")]
    ['s colder than 68 F on average, when', 's colder than 20 C on average, when']
    """
    if units == "us":
        warmth, depth = f"{cold_c * 1.8 + 32:.4g}", f"{wet_mm / MM_PER_INCH:.2g}"
        cold = lang.say("season_notes.fahrenheit", Decimal(warmth))
        rain = lang.say("season_notes.inches", Decimal(depth))
    else:
        cold = lang.say("season_notes.celsius", figure(cold_c))
        rain = lang.say("season_notes.millimetres", figure(wet_mm))
    return lang.say("season_notes.nights", cold=cold, rain=rain)


def season_sentences(report: SeasonReport, lang: Catalogue) -> list[str]:
    """Return what the traps say of this season, what is due, and what was before."""
    lines = own_lines(report.dates, lang) + generation_lines(report, lang)
    lines += due_sentences(report.calendar, report.season.cutoff, lang)
    lines += treated_sentences(report.site, report.season, lang)
    for label, dates in report.past.items():
        lines.append(past_sentence(label, dates, lang))
        lines.append(compared_sentence(label, report.compared[label], lang))
    lines += busy_sentences(report, lang)
    lines += [paired_sentence(report.paired, lang)] if len(report.site.cores) else []
    lines += [model_sentence(each, report.dates, lang) for each in report.models]
    return lines


def past_sentence(label: str, dates: SeasonDates, lang: Catalogue) -> str:
    """Return by when a past season's adults had walked."""
    said = _dates_text(dates, "season_no_dates_past", lang)
    return lang.say("season_dates.past", season=label, dates=said)


def when_sentences(when: SeasonWhen, today: date, lang: Catalogue) -> list[str]:
    """Return the season in short: its dates so far, what is due on a day, and what comes next."""
    return [*own_lines(when.dates, lang), *due_sentences(when.calendar, today, lang)]


def generation_lines(report: SeasonReport, lang: Catalogue) -> list[str]:
    """Return the dates of both generations; nothing where the site has one."""
    lines = [
        lang.say(f"season_dates.{code}", dates=_dates_text(dates, "season_no_dates_yet", lang))
        for code, dates in zip(_GENERATIONS, report.generations, strict=False)
    ]
    return [*lines, lang.say("season_dates.generations")] if lines else []


def due_sentences(calendar: Sequence[DueWindow], today: date, lang: Catalogue) -> list[str]:
    """Return what is due on a day, and what comes next."""
    now = [each for each in calendar if each.first <= today <= each.last]
    ahead = sorted((each for each in calendar if each.first > today), key=lambda each: each.first)
    lines = [_due_now(now, today, lang)] if now else []
    if ahead:
        each = ahead[0]
        window, days = lang.say(f"season_windows.{each.what}"), lang.span(each.first, each.last)
        basis = basis_text(each, lang)
        lines.append(lang.say("season_due.next", window=window, days=days, basis=basis))
    known = any(each.what == "larvae_due" for each in calendar)
    # Without a whole season before, or where beetles do not come as in those before.
    return lines if known else [*lines, lang.say("season_due.unknown")]


def _due_now(now: Sequence[DueWindow], today: date, lang: Catalogue) -> str:
    windows = [
        lang.say(
            "season_due.until",
            window=lang.say(f"season_windows.{each.what}"),
            day=lang.day(each.last),
        )
        for each in now
    ]
    bases = list(dict.fromkeys(basis_text(each, lang) for each in now))
    return lang.say(
        "season_due.now",
        day=lang.day(today),
        windows=lang.joined(windows),
        basis=lang.joined(bases, "apart"),
    )


def basis_text(window: DueWindow, lang: Catalogue) -> str:
    """Return what a window rests on.

    Examples
    --------
    >>> from maps.language_file import english
    >>> cores = DueWindow("cores", date(2026, 6, 2), date(2026, 6, 16), "past_seasons", 1)
    >>> basis_text(cores, english())
    'same days of the year as in one past season; two may differ by weeks'
    """
    code = _ON_WEATHER.get(window.basis, window.basis) if window.seasons else window.basis
    return lang.say(f"season_basis.{code}", window.seasons)


def compared_sentence(label: str, found: SeasonComparison, lang: Catalogue) -> str:
    """Return how this season compares with an earlier one, matched traps and nights only."""
    if found.reason not in ("", "few_before", "few_now"):
        return lang.say(f"season_compared.{found.reason}", season=label)
    said = {"season": label, "rate": lang.rate(found.rate), "past": lang.rate(found.past_rate)}
    if found.reason:
        return lang.say(f"season_compared.{found.reason}", found.traps, **said)
    endless = lang.say("season_compared.no_upper_end")
    said |= {
        "ratio": lang.decimal(found.ratio, 2),
        "percent": lang.percent(LEVEL),
        "low": lang.decimal(found.low, 2),
        "high": endless if math.isinf(found.high) else lang.decimal(found.high, 2),
    }
    return lang.say("season_compared.ratio", found.traps, **said)


def busy_sentences(report: SeasonReport, lang: Catalogue) -> list[str]:
    """Return the zones that were busy in every season that could tell, of two or more."""
    table = report.busy[(report.busy["testable"] >= 2)]
    always = table[table["busy"] == table["testable"]]
    if not len(table):
        return []
    if always.empty:
        return [lang.say("season_busy.none_always")]
    counts = zip(always["zone_id"], always["busy"], always["testable"], strict=True)
    zones = [
        lang.say("season_busy.zone", zone=str(zone), busy=int(busy), seasons=int(seasons))
        for zone, busy, seasons in counts
    ]
    return [lang.say("season_busy.always", zones=lang.listed(zones, 8))]


def paired_sentence(found: LarvaePaired, lang: Catalogue) -> str:
    """Return whether larvae lie where adults walked."""
    if found.reason:
        return lang.say(f"season_paired.{found.reason}", found.zones)
    figures = {"rho": found.rho, "low": found.low, "high": found.high}
    said = {name: lang.decimal(amount, 2) for name, amount in figures.items()}
    return lang.say("season_paired.correlation", found.zones, **said)


def fit_sentence(fit: OwnFit, lang: Catalogue) -> str:
    """Return whether the site's own relation of catch to degree-days makes a forecast."""
    if fit.reason not in ("", "not_better"):
        return lang.say(f"season_fit.{fit.reason}", fit.seasons)
    near = lang.listed(_near(fit, lang))
    return lang.say(f"season_fit.{fit.reason or 'forecasts'}", fit.seasons, near=near)


def _near(fit: OwnFit, lang: Catalogue) -> list[str]:
    """Return how near it came to the past, beside each other forecast that can be held to it."""
    parts = []
    for column, code in _OTHERS.items():
        own, theirs = fit.mean_error("own_days", column), fit.mean_error(column, "own_days")
        if not math.isnan(theirs):
            said = lang.say(f"season_fit.{code}", rounded(own, 0), theirs=rounded(theirs, 0))
            parts.append(said)
    return parts or [lang.say("season_fit.near", rounded(fit.mean_error("own_days"), 0))]


def own_lines(dates: SeasonDates, lang: Catalogue) -> list[str]:
    """Return what the traps say of this season so far."""
    lines = []
    if dates.first_catch is not None:
        first, last = map(lang.day, dates.first_catch)
        lines.append(lang.say("season_dates.first_catch", first=first, last=last))
    if dates.reason:
        return [*lines, lang.say(f"season_no_dates.{dates.reason}")]
    said = _dates_text(dates, "season_no_dates_yet", lang)
    return [*lines, lang.say("season_dates.so_far", dates=said)]


def _dates_text(dates: SeasonDates, without: str, lang: Catalogue) -> str:
    """Return dates as a part of a sentence; `without` is the section that says why none is."""
    if dates.reason:
        return lang.say(f"{without}.{dates.reason}")
    return lang.joined([_share_text(each, lang) for each in dates.dates], "apart")


def _share_text(each: ShareDate, lang: Catalogue) -> str:
    said = {"percent": lang.percent(each.share), "day": lang.day(each.day)}
    if each.low is None or each.high is None:
        return lang.say("season_dates.share", **said)
    return lang.say("season_dates.share_between", **said, days=lang.span(each.low, each.high))


def model_sentence(found: ModelSeason, dates: SeasonDates, lang: Catalogue) -> str:
    """Return what one model says, how it counts, and where it is from."""
    sums, note = found.sums, model_text(found.sums.model, "method_note", lang)
    parts = [_events_sentence(found, lang), *([note] if note else [])]
    if sums.filled:
        parts.append(lang.say("season_model.filled", sums.filled))
    if sums.reason:
        day = lang.day(sums.known_to) if sums.known_to else ""
        parts.append(lang.say(f"season_sums.{sums.reason}", day=day))
    parts += [*_against(found, dates, lang), *stands_sentences(found, lang)]
    return " ".join([*parts, fit_sentence(found.fit, lang)])


def _events_sentence(found: ModelSeason, lang: Catalogue) -> str:
    model, ended = found.sums.model, bool(found.sums.reason)
    events = [event_text(each, lang, ended=ended) for each in found.events]
    return lang.say(
        "season_model.sentence",
        model=model_text(model, "name", lang),
        events=lang.joined(events, "apart"),
        method=lang.say(f"season_methods.{model.method}"),
        cut_off=lang.say(f"season_cut_offs.{model.cut_off}"),
        base=figure(model.base),
        unit=model.unit,
        start=model.start,
        source=model_text(model, "source", lang),
    )


def stands_sentences(found: ModelSeason, lang: Catalogue) -> list[str]:
    """Return which days of past seasons had the degree-days that this one has now."""
    known = [found.same_sum(each) for each in found.past]
    days = [lang.day(day) for day in known if day is not None]
    if not days or found.sums.known_to is None:
        return []
    today = lang.day(found.sums.known_to)
    return [lang.say("season_model.like", day=today, days=lang.listed(days, 4))]


def event_text(each: EventDays, lang: Catalogue, *, ended: bool = False) -> str:
    """Return when a model puts an event; `ended` where its sum stops before the cut-off."""
    event = lang.say(f"season_events.{each.event.event}")
    code, days = "days", ""
    if each.ahead is not None:
        code, days = "expected", lang.span(*each.ahead)
    elif each.low is None:
        code = "not_known" if ended else "not_yet"
    elif each.high is None:
        code = "from_untold" if ended else "from"
    else:
        days = lang.span(each.low, each.high)
    day = lang.day(each.low) if each.low else ""
    text = lang.say(f"season_model.{code}", event=event, day=day, days=days)
    status = _STATUS.get(each.event.status)
    if status is None:
        return text
    seen = lang.say(f"season_statuses.{status}")
    return lang.say("season_model.quoted", event=text, status=seen)


def _against(found: ModelSeason, dates: SeasonDates, lang: Catalogue) -> list[str]:
    """Return how the site's own first catch lies to the model's first adults."""
    first = next((each for each in found.events if each.event.event == "first_adults"), None)
    if first is None or dates.first_catch is None:
        return []
    earliest, latest = dates.first_catch
    if first.low is None:
        return [] if found.sums.reason else [lang.say("season_first.earlier")]
    if latest < first.low:
        return [lang.say("season_first.days_earlier", (first.low - latest).days)]
    if first.high is not None and earliest > first.high:
        return [lang.say("season_first.days_later", (earliest - first.high).days)]
    return [lang.say("season_first.fits")]
