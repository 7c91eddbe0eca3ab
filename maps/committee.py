"""What the committee page says, section by section, whatever it is written to.

The HTML page, the PDF and the slides are all made from one `CommitteePage`, so that they never say
different things. Every sentence comes from a code and `maps.committee_words`; the user's own notes
are kept apart.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, fields
from datetime import date

from data.settings import LimitSettings
from maps import committee_words as words
from maps.committee_words import say
from maps.decision_words import chance_text
from maps.percent import percent_text
from maps.rounds import round_statuses
from maps.treatment_words import money_text
from maps.weeks import day_text, span_text, week_span
from maps.words import (
    BUSY,
    area_text,
    listed,
    method_notes,
    rate_text,
    sources_text,
    use_text,
)
from spatial.decision import Decision, cutoffs_of
from spatial.next_dates import NextDate, next_dates
from spatial.results import Analysis
from spatial.season_comparison import SeasonComparison
from spatial.season_dates import DRAWS, FEWEST_TRAPS
from spatial.treatment_plan import TreatmentPlan
from spatial.units import M2_PER_HA

MOST_NAMES = 6
"""More zones than this are counted, not named, so that all stays on one page."""

MOST_LETTERS = 40
"""A longer name is cut."""

MOST_LETTERS_SITE = 80
"""A longer name of a site is cut: more than two lines of heading leave too little for the rest."""

UNDER = ("last_year", "plan", "cost", "unknown", "next", "notes")
"""Sections under the map and what was found, in two columns of about one height."""


@dataclass(frozen=True, slots=True)
class Findings:
    """What a committee page is made from.

    Parameters
    ----------
    analysis
        What one weekly run found.
    comparison
        This season against the last.
    plan
        The treatment plan; None without one.
    no_plan
        Why there is none: ``"no_limit"``, ``"none_above"``, ``"only_undecided"``,
        ``"never_treated"``, ``"no_ground"`` (`spatial.plan_or_not`); ``""`` with a plan.
    """

    analysis: Analysis
    comparison: SeasonComparison
    plan: TreatmentPlan | None
    no_plan: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the page.

    Parameters
    ----------
    key
        One of `maps.committee_words.HEADINGS`.
    lines
        Sentences.
    items
        Head and text of what is listed: the user's notes, the glossary.
    """

    key: str
    lines: tuple[str, ...]
    items: tuple[tuple[str, str], ...] = ()

    @property
    def heading(self) -> str:
        """Heading of the section."""
        return words.HEADINGS[self.key]


@dataclass(frozen=True, slots=True)
class CommitteePage:
    """All that is said.

    Parameters
    ----------
    title, subtitle, lead
        Head of the page; the lead says it all in one sentence.
    sections
        In the order of `maps.committee_words.HEADINGS`, without the map.
    method
        How it was made, for whoever asks; on a second page.
    findings
        What the map is drawn from.
    """

    title: str
    subtitle: str
    lead: str
    sections: tuple[Section, ...]
    method: tuple[str, ...]
    findings: Findings

    def section(self, key: str) -> Section:
        """Return one section."""
        return next(each for each in self.sections if each.key == key)


def committee_page(findings: Findings) -> CommitteePage:
    """Return what the page says."""
    analysis = findings.analysis
    site = analysis.site.settings
    return CommitteePage(
        title=words.TITLE.format(site=short(site.name, MOST_LETTERS_SITE)),
        subtitle=words.SUBTITLE.format(day=day_text(analysis.season.cutoff)),
        lead=_lead(analysis),
        sections=(
            Section("found", tuple(_found(analysis))),
            Section("last_year", tuple(_last_year(findings.comparison))),
            Section("plan", tuple(_plan(findings))),
            Section("cost", tuple(_cost(findings))),
            _notes(findings),
            Section("unknown", tuple(_unknown(analysis))),
            Section("next", tuple(_next(findings))),
            Section("glossary", (), _glossary(analysis)),
        ),
        method=tuple(_method(analysis)),
        findings=findings,
    )


def numbered_above(analysis: Analysis) -> list[Decision]:
    """Return the zones above their limit, the most likely over it first, as the map numbers them.

    Where no limit holds there are none.
    """
    if not analysis.judged:
        return []
    above = [each for each in analysis.decisions if each.state == "above"]
    return sorted(above, key=lambda each: (-each.p_above, each.zone_id))


def short(name: str, most: int = MOST_LETTERS) -> str:
    """Return a name of at most so many letters, that cannot push the rest off the page.

    Examples
    --------
    >>> short("Hole 5 green surround"), len(short("x" * 99))
    ('Hole 5 green surround', 40)
    """
    text = " ".join(name.split())
    return text if len(text) <= most else text[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"


def unparted(text: str) -> str:
    r"""Return a text in which no line ends between a number and its sign.

    Examples
    --------
    >>> unparted("19 % less")
    '19\xa0% less'
    """
    return text.replace(" %", "\N{NO-BREAK SPACE}%")


def _names(analysis: Analysis) -> dict[str, str]:
    zones = analysis.zones
    pairs = zip(zones["zone_id"].astype(str), zones["name"].astype(str), strict=True)
    return {zone_id: short(name.strip() or zone_id) for zone_id, name in pairs}


def _list(names: list[str]) -> str:
    return listed(names, MOST_NAMES)


def _lead(analysis: Analysis) -> str:
    states = Counter(each.state for each in analysis.decisions)
    empty = int(analysis.zones["gap"].eq("no_traps").sum())
    if not analysis.judged:
        held = bool(analysis.site.settings.limits)
        first = [say(words.LEAD, "no_limit_today" if held else "no_limit_set")]
    else:
        told = states["above"] or states["below"] or states["undecided"]
        code = "above" if states["above"] else "none_above" if told else "none_judged"
        first = [say(words.LEAD, code, states["above"])]
        if states["undecided"]:
            first.append(say(words.LEAD, "undecided", states["undecided"]))
    sentences = [listed(first), *([say(words.LEAD, "no_traps", empty)] if empty else [])]
    return " ".join(f"{each}." for each in sentences)


def _found(analysis: Analysis) -> list[str]:
    said = words.FOUND
    lines = [*_round(analysis), _caught(analysis)]
    if analysis.judged:
        lines += _states(analysis)
        lines += _limits(analysis)
    else:
        held = bool(analysis.site.settings.limits)
        lines.append(say(said, "no_limit_today" if held else "no_limit_set"))
        lines += _most_caught(analysis)
    return [*lines, *_busy(analysis)]


def _round(analysis: Analysis) -> list[str]:
    week = analysis.season.week
    statuses = Counter(round_statuses(analysis, week).values())
    number, span = sum(statuses.values()), week_span(week)
    if not number:
        return [say(words.FOUND, "no_round", span=span)]
    checked = statuses["ok"]
    spoiled = number - checked - statuses["not_checked"]
    lines = [say(words.FOUND, "round", number, span=span, checked=checked)]
    return [*lines, *([say(words.FOUND, "spoiled", spoiled)] if spoiled else [])]


def _caught(analysis: Analysis) -> str:
    if float(analysis.traps["nights"].sum()) == 0:
        return say(words.FOUND, "no_count")
    adults = round(float(analysis.traps["adults"].fillna(0).sum()))
    return say(words.FOUND, "caught", adults) if adults else say(words.FOUND, "none_caught")


def _states(analysis: Analysis) -> list[str]:
    names = _names(analysis)
    above = numbered_above(analysis)
    by_state = {
        state: [names[each.zone_id] for each in analysis.decisions if each.state == state]
        for state in ("below", "undecided")
    }
    if not above and not any(by_state.values()):
        return [say(words.FOUND, "none_judged")]
    lines = []
    if above:
        shown = [f"{names[each.zone_id]} (A{n})" for n, each in enumerate(above, 1)]
        lines.append(say(words.FOUND, "above", len(above), zones=_list(shown)))
    else:
        lines.append(say(words.FOUND, "none_above"))
    for state in ("undecided", "below"):
        zones = by_state[state]
        if zones:
            lines.append(say(words.FOUND, state, len(zones), zones=_list(zones)))
    return lines


def _limits(analysis: Analysis) -> list[str]:
    """Return the limits that zones were held against, each once, with their sources."""
    held: dict[str, LimitSettings] = {}
    for each in analysis.decisions:
        limit = each.limits.larvae if each.judged_by == "larvae" else each.limits.adults
        if limit is not None and each.judged_by:
            held.setdefault(_limit_text(limit), limit)
    if not held:
        return []
    sources = sorted({f"{short(each.source)}, {_dated(each)}" for each in held.values()})
    # What holds for the rest is said last.
    texts = sorted(held, key=lambda text: (_for_all(held[text]), text))
    if len(texts) > 1:
        rest = words.LIMIT_TEXT["rest"]
        texts = [f"{text}{rest}" if _for_all(held[text]) else text for text in texts]
    return [
        say(words.FOUND, "limits", len(texts), limits=listed(texts, 3), sources=listed(sources, 2))
    ]


def _for_all(limit: LimitSettings) -> bool:
    return limit.zone is None and limit.use is None


def _dated(limit: LimitSettings) -> str:
    """Return when a limit was set; a full date in words."""
    try:
        return day_text(date.fromisoformat(limit.dated))
    except ValueError:
        return short(limit.dated)


def _limit_text(limit: LimitSettings) -> str:
    where = ""
    if limit.zone is not None:
        where = words.LIMIT_TEXT["zone"].format(zone=short(limit.zone))
    elif limit.use is not None:
        where = words.LIMIT_TEXT["use"].format(use=short(use_text(limit.use)))
    for amount, kind in (
        (limit.adults_per_trap_week, "adults"),
        (limit.larvae_per_ft2, "larvae_ft2"),
        (limit.larvae_per_m2, "larvae_m2"),
    ):
        if amount is not None:
            return words.LIMIT_TEXT[kind].format(amount=f"{amount:g}", where=where)
    return ""


def _most_caught(analysis: Analysis) -> list[str]:
    zones = analysis.zones[analysis.zones["rate"] > 0]
    if zones.empty:
        return []
    top = zones.sort_values(["rate", "zone_id"], ascending=[False, True]).iloc[0]
    name = _names(analysis)[str(top["zone_id"])]
    return [say(words.FOUND, "most_caught", zones=name, rate=rate_text(float(top["rate"])))]


_UNTESTED = dict.fromkeys(("no_traps", "few_traps", "no_nights"), "few_traps") | {
    "no_variation": "all_alike"
}
"""Why no busy spot could be told from chance (`spatial.results.NOT_TESTABLE`) -> what is said."""


def _busy(analysis: Analysis) -> list[str]:
    traps = analysis.traps
    if traps["mark"].eq("not_testable").all():
        code = _UNTESTED.get(analysis.global_test.reason, "not_tested")
        return [say(words.FOUND, code)]
    busy = traps[traps["mark"].isin(BUSY)]
    if busy.empty:
        return [say(words.FOUND, "none_busy")]
    names = _names(analysis)
    zones = [names[each] for each in sorted(set(busy["zone_id"].dropna().astype(str)))]
    lines = [say(words.FOUND, "busy", zones=_list(zones) or words.OUTSIDE)]
    for_place = busy["place_mark"].isin(BUSY).any()
    return lines if for_place else [*lines, say(words.FOUND, "busy_place")]


def _last_year(found: SeasonComparison) -> list[str]:
    said = words.LAST_YEAR
    if found.reason and found.reason != "few_before":
        return [say(said, found.reason, found.traps, least=FEWEST_TRAPS)]
    lines = [say(said, "matched", traps=found.traps)]
    if found.treated_traps:
        lines.append(say(said, "treated_out", found.treated_traps))
    rate, past = rate_text(found.rate), rate_text(found.past_rate)
    lines.append(say(said, "rates", rate=rate, past=past))
    if found.reason:
        return [*lines, say(said, found.reason)]
    return [*lines, *_change(found)]


def _change(found: SeasonComparison) -> list[str]:
    said = words.LAST_YEAR
    shown = round(100 * (found.ratio - 1))
    code = "same" if shown == 0 else "less" if shown < 0 else "more"
    change, low, high = (
        percent_text(abs(found.ratio - 1)),
        *map(change_text, (found.low, found.high)),
    )
    lines = [say(said, code, change=change, low=low, high=high)]
    unsure = found.low <= 1 <= found.high
    return [*lines, say(said, "unsure" if unsure else "weather")]


def change_text(ratio: float) -> str:
    """Return a ratio as a change in words.

    Examples
    --------
    >>> [change_text(each) for each in (0.81, 1.0, 1.4, 3.62, math.inf)]
    ['19 % less', 'no change', '40 % more', '3.6 times as much', 'any number of times as much']
    """
    if math.isinf(ratio):
        return "any number of times as much"
    if ratio >= 3:
        return f"{ratio:.1f} times as much"
    shown = round(100 * (ratio - 1))
    if shown == 0:
        return "no change"
    return f"{percent_text(abs(ratio - 1))} {'less' if shown < 0 else 'more'}"


def _plan(findings: Findings) -> list[str]:
    said, plan = words.PLAN, findings.plan
    if plan is None:
        return [say(said, findings.no_plan), say(said, "caution")]
    names = _names(findings.analysis)
    zones = [names[str(each)] for each in plan.areas.zones["zone_id"]]
    code = "planned_named" if plan.named else "planned_above"
    lines = [say(said, code, len(zones), zones=_list(zones)), *_left(findings, plan)]
    checks = [each for each in plan.areas.check_zones if each.reason == "not_chosen"]
    if checks:
        kept = [names[each.zone_id] for each in checks]
        lines.append(say(said, "check_zone", zones=_list(kept)))
    if plan.areas.open_water:
        lines.append(say(said, "open_water"))
    if plan.missing:
        lines.append(say(said, "lacking", len(plan.missing)))
    return [*lines, say(said, "caution")]


def _left(findings: Findings, plan: TreatmentPlan) -> list[str]:
    """Return how many zones the plan leaves alone, and why."""
    number = len(findings.analysis.zones) - len(plan.areas.zones)
    if not number:
        return []
    if plan.named:
        return [say(words.PLAN, "left_alone_named", number)]
    parts = [
        say(words.PLAN, f"left_{state}", plan.left_out[state])
        for state in ("above", "undecided", "below", "no_traps", "no_limit")
        if plan.left_out.get(state)
    ]
    return [say(words.PLAN, "left_alone", number, why=listed(parts))]


def _cost(findings: Findings) -> list[str]:
    said, plan = words.COST, findings.plan
    if plan is None:
        return [say(said, "nothing")]
    units = findings.analysis.site.settings.units

    def area(area_m2: float) -> str:
        return area_text(area_m2 / M2_PER_HA, units)

    if plan.areas.net_m2 >= plan.whole_m2:
        lines = [say(said, "all", area=area(plan.areas.net_m2))]
    else:
        uses = listed([use_text(each.use) for each in plan.areas.blankets])
        net, whole = area(plan.areas.net_m2), area(plan.whole_m2)
        share = percent_text(plan.areas.net_m2 / plan.whole_m2)
        lines = [
            say(said, "area", area=net, whole=whole, uses=uses),
            say(said, "share", share=share),
        ]
        sure = math.fsum(max(each.surely_saved_m2, 0.0) for each in plan.areas.blankets)
        lines += [say(said, "surely", area=area(sure))] if sure > 0 else []
    return [*lines, _money(plan)]


def _money(plan: TreatmentPlan) -> str:
    if plan.dose.cost is None or plan.blanket_dose.cost is None:
        return say(words.COST, "no_cost")
    currency = plan.settings.currency
    cost, whole = (money_text(each, currency) for each in (plan.dose.cost, plan.blanket_dose.cost))
    return say(words.COST, "cost", cost=cost, whole=whole)


def _notes(findings: Findings) -> Section:
    """Return the user's notes as they are, and which are not there."""
    given = findings.analysis.site.settings.committee
    texts = {each.name: str(getattr(given, each.name)) for each in fields(given)}
    items = [(say(words.NOTES, key), text) for key, text in texts.items() if text]
    lacking = [
        say(words.NOTES, f"topic_{key}")
        for key, text in texts.items()
        if not text and key != "notes"
    ]
    topics = " or ".join(filter(None, [", ".join(lacking[:-1]), *lacking[-1:]]))
    lines = (say(words.NOTES, "lacking", topics=topics),) if lacking else ()
    return Section("notes", lines, tuple(items))


def _unknown(analysis: Analysis) -> list[str]:
    said, zones = words.UNKNOWN, analysis.zones
    empty, cored = zones["gap"].eq("no_traps"), zones["judged_by"].eq("larvae")
    counts = {
        "no_traps": int((empty & ~cored).sum()),
        "cores_only": int((empty & cored).sum()),
        "no_nights": int(zones["gap"].eq("no_nights").sum()),
        "undecided": int(zones["state"].eq("undecided").sum()) if analysis.judged else 0,
        "rough": int(zones["gap"].isin(["removed_traps", "few_traps", "wide_interval"]).sum()),
    }
    lines = [say(said, code, n, all=len(zones)) for code, n in counts.items() if n]
    if not empty.any():
        lines.append(say(said, "every_zone"))
    return [*lines, _missed(analysis), say(said, "activity")]


def _missed(analysis: Analysis) -> str:
    said, chance = words.UNKNOWN, analysis.chance
    if chance is None or math.isnan(chance.share):
        return say(said, "missed_unknown")
    missed = round(10 * (1 - chance.share))
    code = f"missed_{missed}" if missed in (0, 1, 10) else "missed_many"
    often = say(said, code, missed)
    return say(said, "missed", traps=chance.traps, fold=f"{chance.fold:g}", often=often)


def _next(findings: Findings) -> list[str]:
    found = next_dates(findings.analysis, planned=findings.plan is not None)
    return [_date_sentence(each) for each in found]


def _date_sentence(each: NextDate) -> str:
    first = day_text(each.first) if each.first else ""
    last = day_text(each.last) if each.last else ""
    days = span_text(each.first, each.last) if each.first and each.last else ""
    return say(words.NEXT, each.kind, first=first, last=last, days=days)


def _glossary(analysis: Analysis) -> tuple[tuple[str, str], ...]:
    cutoffs = cutoffs_of(analysis.site.settings.decision)
    values = {"above": chance_text(cutoffs.above), "below": chance_text(cutoffs.below)}
    return tuple((head, text.format(**values)) for head, text in words.GLOSSARY)


def _method(analysis: Analysis) -> list[str]:
    cutoffs = cutoffs_of(analysis.site.settings.decision)
    values = {
        "draws": f"{DRAWS:,}",
        "above": chance_text(cutoffs.above),
        "below": chance_text(cutoffs.below),
    }
    own = [text.format(**values) for text in words.METHOD]
    return [*own, *method_notes(analysis, dots=False), sources_text(analysis)]
