"""What the committee page says, section by section, whatever it is written to.

The HTML page, the PDF and the slides are all made from one `CommitteePage`, so that they never say
different things. Every sentence comes from a code and a language (`maps.catalogue`); the user's own
notes are kept apart.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date

from data.settings import LimitSettings
from maps.catalogue import Catalogue, figure, rounded
from maps.method_words import method_notes, sources_text
from maps.rounds import round_statuses
from maps.weeks import week_days
from maps.words import BUSY
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


GLOSSARY = ("billbug", "trap", "zone", "limit", "states")
"""Words that are explained, in order."""


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
        What it is about, whatever the language.
    heading
        Heading of the section.
    lines
        Sentences.
    items
        Head, with its colon, and text of what is listed: the user's notes, the glossary.
    """

    key: str
    heading: str
    lines: tuple[str, ...]
    items: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class CommitteePage:
    """All that is said.

    Parameters
    ----------
    title, subtitle, lead
        Head of the page; the lead says it all in one sentence.
    sections
        In the order of the page, without the map.
    method
        How it was made, for whoever asks; on a second page.
    findings
        What the map is drawn from.
    lang
        Language of it all.
    """

    title: str
    subtitle: str
    lead: str
    sections: tuple[Section, ...]
    method: tuple[str, ...]
    findings: Findings
    lang: Catalogue

    def section(self, key: str) -> Section:
        """Return one section."""
        return next(each for each in self.sections if each.key == key)


def committee_page(findings: Findings, lang: Catalogue) -> CommitteePage:
    """Return what the page says, in a language."""
    analysis = findings.analysis
    site = analysis.site.settings
    return CommitteePage(
        title=lang.say("page.title", site=short(site.name, MOST_LETTERS_SITE)),
        subtitle=lang.say("page.subtitle", day=lang.day(analysis.season.cutoff)),
        lead=lead_text(analysis, lang),
        sections=(
            _section("found", _found(analysis, lang), lang),
            _section("last_year", last_year_lines(findings.comparison, lang), lang),
            _section("plan", _plan(findings, lang), lang),
            _section("cost", _cost(findings, lang), lang),
            _notes(findings, lang),
            _section("unknown", _unknown(analysis, lang), lang),
            _section("next", _next(findings, lang), lang),
            _section("glossary", [], lang, _glossary(analysis, lang)),
        ),
        method=tuple(_method(analysis, lang)),
        findings=findings,
        lang=lang,
    )


def _section(
    key: str, lines: list[str], lang: Catalogue, items: Sequence[tuple[str, str]] = ()
) -> Section:
    pairs = tuple((lang.say("page.head", head=head), text) for head, text in items)
    return Section(key, lang.say(f"headings.{key}"), tuple(lines), pairs)


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


def zone_names(analysis: Analysis) -> dict[str, str]:
    """Return what each zone is called, by its id: its name, or the id where it has none."""
    zones = analysis.zones
    pairs = zip(zones["zone_id"].astype(str), zones["name"].astype(str), strict=True)
    return {zone_id: short(name.strip() or zone_id) for zone_id, name in pairs}


def _list(names: list[str], lang: Catalogue) -> str:
    return lang.listed(names, MOST_NAMES)


def lead_text(analysis: Analysis, lang: Catalogue) -> str:
    """Return in a line or two how the zones stand against their limits."""
    states = Counter(each.state for each in analysis.decisions)
    empty = without_traps(analysis)
    if not analysis.judged:
        first = [lang.say(f"lead.{_no_limit(analysis)}")]
    else:
        told = states["above"] or states["below"] or states["undecided"]
        code = "above" if states["above"] else "none_above" if told else "none_judged"
        first = [lang.say(f"lead.{code}", states["above"])]
        if states["undecided"]:
            first.append(lang.say("lead.undecided", states["undecided"]))
    parts = [lang.listed(first), *([lang.say("lead.no_traps", empty)] if empty else [])]
    return " ".join(lang.say("page.sentence", text=each) for each in parts)


def without_traps(analysis: Analysis) -> int:
    """Return the number of zones of which no trap tells anything."""
    return int(analysis.zones["gap"].eq("no_traps").sum())


def _no_limit(analysis: Analysis) -> str:
    """Return why no zone is judged: none of the user's limits holds, or there is none."""
    return "no_limit_today" if analysis.site.settings.limits else "no_limit_set"


def _found(analysis: Analysis, lang: Catalogue) -> list[str]:
    lines = [*_round(analysis, lang), _caught(analysis, lang)]
    if analysis.judged:
        lines += _states(analysis, lang)
        lines += _limits(analysis, lang)
    else:
        lines.append(lang.say(f"found.{_no_limit(analysis)}"))
        lines += _most_caught(analysis, lang)
    return [*lines, *_busy(analysis, lang)]


def _round(analysis: Analysis, lang: Catalogue) -> list[str]:
    week = analysis.season.week
    statuses = Counter(round_statuses(analysis, week).values())
    number, span = sum(statuses.values()), lang.span(*week_days(week))
    if not number:
        return [lang.say("found.no_round", span=span)]
    checked = statuses["ok"]
    spoiled = number - checked - statuses["not_checked"]
    lines = [lang.say("found.round", number, span=span, checked=checked)]
    return [*lines, *([lang.say("found.spoiled", spoiled)] if spoiled else [])]


def _caught(analysis: Analysis, lang: Catalogue) -> str:
    if float(analysis.traps["nights"].sum()) == 0:
        return lang.say("found.no_count")
    adults = adults_caught(analysis)
    return lang.say("found.caught", adults) if adults else lang.say("found.none_caught")


def adults_caught(analysis: Analysis) -> int:
    """Return the adults that all traps have caught this season."""
    return round(float(analysis.traps["adults"].fillna(0).sum()))


def _states(analysis: Analysis, lang: Catalogue) -> list[str]:
    names = zone_names(analysis)
    above = numbered_above(analysis)
    by_state = {
        state: [names[each.zone_id] for each in analysis.decisions if each.state == state]
        for state in ("below", "undecided")
    }
    if not above and not any(by_state.values()):
        return [lang.say("found.none_judged")]
    lines = []
    if above:
        letter = lang.say("map.letter_above")
        shown = [
            lang.say("found.numbered", n, zone=names[each.zone_id], letter=letter)
            for n, each in enumerate(above, 1)
        ]
        lines.append(lang.say("found.above", len(above), zones=_list(shown, lang)))
    else:
        lines.append(lang.say("found.none_above"))
    for state in ("undecided", "below"):
        zones = by_state[state]
        if zones:
            lines.append(lang.say(f"found.{state}", len(zones), zones=_list(zones, lang)))
    return lines


def _limits(analysis: Analysis, lang: Catalogue) -> list[str]:
    """Return the limits that zones were held against, each once, with their sources."""
    held: dict[str, LimitSettings] = {}
    for each in analysis.decisions:
        limit = each.limits.larvae if each.judged_by == "larvae" else each.limits.adults
        if limit is not None and each.judged_by:
            held.setdefault(_limit_text(limit, lang), limit)
    if not held:
        return []
    sources = sorted({_source(each, lang) for each in held.values()})
    # What holds for the rest is said last.
    texts = sorted(held, key=lambda text: (_for_all(held[text]), text))
    if len(texts) > 1:
        texts = [
            lang.say("limits.on_others", limit=text) if _for_all(held[text]) else text
            for text in texts
        ]
    limits, sources_said = lang.listed(texts, 3), lang.listed(sources, 2)
    return [lang.say("found.limits", len(texts), limits=limits, sources=sources_said)]


def _for_all(limit: LimitSettings) -> bool:
    return limit.zone is None and limit.use is None


def _source(limit: LimitSettings, lang: Catalogue) -> str:
    """Return where a limit comes from and when it was set; a full date in words."""
    try:
        day = lang.day(date.fromisoformat(limit.dated))
    except ValueError:
        day = short(limit.dated)
    return lang.say("limits.source", source=short(limit.source), day=day)


def _limit_text(limit: LimitSettings, lang: Catalogue) -> str:
    amounts = {
        "adults": limit.adults_per_trap_week,
        "larvae_ft2": limit.larvae_per_ft2,
        "larvae_m2": limit.larvae_per_m2,
    }
    given = ((key, amount) for key, amount in amounts.items() if amount is not None)
    text = next((lang.say(f"limits.{key}", figure(amount)) for key, amount in given), "")
    if limit.zone is not None:
        return lang.say("limits.in_zone", limit=text, zone=short(limit.zone))
    if limit.use is not None:
        return lang.say("limits.on_use", limit=text, use=short(lang.use(limit.use)))
    return text


def _most_caught(analysis: Analysis, lang: Catalogue) -> list[str]:
    zones = analysis.zones[analysis.zones["rate"] > 0]
    if zones.empty:
        return []
    top = zones.sort_values(["rate", "zone_id"], ascending=[False, True]).iloc[0]
    name = zone_names(analysis)[str(top["zone_id"])]
    return [lang.say("found.most_caught", zones=name, rate=lang.rate(float(top["rate"])))]


_UNTESTED = dict.fromkeys(("no_traps", "few_traps", "no_nights"), "few_traps") | {
    "no_variation": "all_alike"
}
"""Why no busy spot could be told from chance (`spatial.results.NOT_TESTABLE`) -> what is said."""


def _busy(analysis: Analysis, lang: Catalogue) -> list[str]:
    traps = analysis.traps
    if traps["mark"].eq("not_testable").all():
        code = _UNTESTED.get(analysis.global_test.reason, "not_tested")
        return [lang.say(f"found.{code}")]
    busy = traps[traps["mark"].isin(BUSY)]
    if busy.empty:
        return [lang.say("found.none_busy")]
    names = zone_names(analysis)
    zones = [names[each] for each in sorted(set(busy["zone_id"].dropna().astype(str)))]
    where = _list(zones, lang) or lang.say("found.outside")
    lines = [lang.say("found.busy", len(busy), zones=where)]
    for_place = busy["place_mark"].isin(BUSY).any()
    return lines if for_place else [*lines, lang.say("found.busy_place", len(busy))]


def last_year_lines(found: SeasonComparison, lang: Catalogue) -> list[str]:
    """Return how this season's catch compares with an earlier one, or why it cannot be compared."""
    if found.reason and found.reason not in ("few_before", "few_now"):
        return [lang.say(f"last_year.{found.reason}", found.traps, least=FEWEST_TRAPS)]
    lines = [lang.say("last_year.matched", found.traps)]
    if found.treated_traps:
        lines.append(lang.say("last_year.treated_out", found.treated_traps))
    rate, past = lang.rate(found.rate), lang.rate(found.past_rate)
    lines.append(lang.say("last_year.rates", rate=rate, past=past))
    if found.reason:
        return [*lines, lang.say(f"last_year.{found.reason}")]
    return [*lines, *_change(found, lang)]


def _change(found: SeasonComparison, lang: Catalogue) -> list[str]:
    shown = round(100 * (found.ratio - 1))
    code = "same" if shown == 0 else "less" if shown < 0 else "more"
    change = lang.percent(abs(found.ratio - 1))
    low, high = change_text(found.low, lang), change_text(found.high, lang)
    unsure = found.low <= 1 <= found.high
    return [
        lang.say(f"last_year.{code}", change=change, low=low, high=high),
        lang.say("last_year.unsure" if unsure else "last_year.weather"),
    ]


def change_text(ratio: float, lang: Catalogue) -> str:
    """Return a ratio as a change in words.

    Examples
    --------
    >>> from maps.language_file import english
    >>> [change_text(each, english()) for each in (0.81, 1.0, 1.4, 3.62, math.inf)]
    ['19 % less', 'no change', '40 % more', '3.6 times as much', 'any number of times as much']
    """
    if math.isinf(ratio):
        return lang.say("change.any")
    if ratio >= 3:
        return lang.say("change.times", rounded(ratio, 1))
    shown = round(100 * (ratio - 1))
    if shown == 0:
        return lang.say("change.none")
    return lang.say(
        "change.less" if shown < 0 else "change.more", percent=lang.percent(abs(ratio - 1))
    )


def _plan(findings: Findings, lang: Catalogue) -> list[str]:
    plan = findings.plan
    if plan is None:
        return [lang.say(f"plan.{findings.no_plan}"), lang.say("plan.caution")]
    names = zone_names(findings.analysis)
    zones = [names[str(each)] for each in plan.areas.zones["zone_id"]]
    code = "planned_named" if plan.named else "planned_above"
    lines = [
        lang.say(f"plan.{code}", len(zones), zones=_list(zones, lang)),
        *_left(findings, plan, lang),
    ]
    checks = [each for each in plan.areas.check_zones if each.reason == "not_chosen"]
    if checks:
        kept = [names[each.zone_id] for each in checks]
        lines.append(lang.say("plan.check_zone", zones=_list(kept, lang)))
    if plan.areas.open_water:
        lines.append(lang.say("plan.open_water"))
    if plan.missing:
        lines.append(lang.say("plan.lacking", len(plan.missing)))
    return [*lines, lang.say("plan.caution")]


def _left(findings: Findings, plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return how many zones the plan leaves alone, and why."""
    number = len(findings.analysis.zones) - len(plan.areas.zones)
    if not number:
        return []
    if plan.named:
        return [lang.say("plan.left_alone_named", number)]
    parts = [
        lang.say(f"plan.left_{state}", plan.left_out[state])
        for state in ("above", "undecided", "below", "no_traps", "no_limit")
        if plan.left_out.get(state)
    ]
    return [lang.say("plan.left_alone", number, why=lang.listed(parts))]


def _cost(findings: Findings, lang: Catalogue) -> list[str]:
    plan = findings.plan
    if plan is None:
        return [lang.say("cost.nothing")]
    units = findings.analysis.site.settings.units

    def area(area_m2: float) -> str:
        return lang.area(area_m2 / M2_PER_HA, units)

    if plan.areas.net_m2 >= plan.whole_m2:
        lines = [lang.say("cost.all", area=area(plan.areas.net_m2))]
    else:
        uses = lang.listed([lang.use(each.use) for each in plan.areas.blankets])
        net, whole = area(plan.areas.net_m2), area(plan.whole_m2)
        share = lang.percent(plan.areas.net_m2 / plan.whole_m2)
        lines = [
            lang.say("cost.area", area=net, whole=whole, uses=uses),
            lang.say("cost.share", share=share),
        ]
        sure = math.fsum(max(each.surely_saved_m2, 0.0) for each in plan.areas.blankets)
        lines += [lang.say("cost.surely", area=area(sure))] if sure > 0 else []
    return [*lines, _money(plan, lang)]


def _money(plan: TreatmentPlan, lang: Catalogue) -> str:
    if plan.dose.cost is None or plan.blanket_dose.cost is None:
        return lang.say("cost.no_cost")
    currency = plan.settings.currency
    cost, whole = (lang.money(each, currency) for each in (plan.dose.cost, plan.blanket_dose.cost))
    return lang.say("cost.cost", cost=cost, whole=whole)


def _notes(findings: Findings, lang: Catalogue) -> Section:
    """Return the user's notes as they are, and which are not there."""
    given = findings.analysis.site.settings.committee
    texts = {each.name: str(getattr(given, each.name)) for each in fields(given)}
    items = [(lang.say(f"notes.{key}"), text) for key, text in texts.items() if text]
    lacking = [
        lang.say(f"notes.topic_{key}") for key, text in texts.items() if not text and key != "notes"
    ]
    lines = [lang.say("notes.lacking", topics=lang.either(lacking))] if lacking else []
    return _section("notes", lines, lang, items)


def _unknown(analysis: Analysis, lang: Catalogue) -> list[str]:
    zones = analysis.zones
    empty, cored = zones["gap"].eq("no_traps"), zones["judged_by"].eq("larvae")
    counts = {
        "no_traps": int((empty & ~cored).sum()),
        "cores_only": int((empty & cored).sum()),
        "no_nights": int(zones["gap"].eq("no_nights").sum()),
        "undecided": int(zones["state"].eq("undecided").sum()) if analysis.judged else 0,
        "rough": int(zones["gap"].isin(["removed_traps", "few_traps", "wide_interval"]).sum()),
    }
    lines = [lang.say(f"unknown.{code}", n, all=len(zones)) for code, n in counts.items() if n]
    if not empty.any():
        lines.append(lang.say("unknown.every_zone"))
    return [*lines, missed_text(analysis, lang), lang.say("unknown.activity")]


def missed_text(analysis: Analysis, lang: Catalogue) -> str:
    """Return how often a busy spot would be missed."""
    chance = analysis.chance
    if chance is None or math.isnan(chance.share):
        return lang.say("unknown.missed_unknown")
    missed = round(10 * (1 - chance.share))
    code = f"missed_{missed}" if missed in (0, 1, 10) else "missed_many"
    often = lang.say(f"unknown.{code}", missed)
    return lang.say("unknown.missed", chance.traps, fold=figure(chance.fold), often=often)


def _next(findings: Findings, lang: Catalogue) -> list[str]:
    found = next_dates(findings.analysis, planned=findings.plan is not None)
    return [_date_sentence(each, lang) for each in found]


def _date_sentence(each: NextDate, lang: Catalogue) -> str:
    first = lang.day(each.first) if each.first else ""
    last = lang.day(each.last) if each.last else ""
    days = lang.span(each.first, each.last) if each.first and each.last else ""
    number = each.seasons or None
    return lang.say(f"next.{each.kind}", number, first=first, last=last, days=days)


def _glossary(analysis: Analysis, lang: Catalogue) -> list[tuple[str, str]]:
    values = _cutoffs(analysis, lang)
    return [
        (lang.say(f"glossary.{term}.head"), lang.say(f"glossary.{term}.text", **values))
        for term in GLOSSARY
    ]


def _cutoffs(analysis: Analysis, lang: Catalogue) -> dict[str, str]:
    cutoffs = cutoffs_of(analysis.site.settings.decision)
    return {"above": lang.chance(cutoffs.above), "below": lang.chance(cutoffs.below)}


def _method(analysis: Analysis, lang: Catalogue) -> list[str]:
    return [
        lang.say("method.comparison", DRAWS),
        lang.say("method.areas"),
        lang.say("method.states", **_cutoffs(analysis, lang)),
        *method_notes(analysis, lang, dots=False),
        sources_text(analysis, lang),
    ]
