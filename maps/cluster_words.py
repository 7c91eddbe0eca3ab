"""What the cluster tests found, in sentences: for the person who wants more than the map says."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import pandas as pd

from maps.language_file import english
from maps.weeks import week_number
from maps.words import (
    banner,
    count_of,
    headline_of_clusters,
    p_text,
    use_text,
)
from spatial.cluster_detail import ClusterDetail
from spatial.global_tests import GlobalStatistic
from spatial.persistence import Persistence
from spatial.power import WANTED
from spatial.results import Chance

TERMS = {"design": "design", "refuge": "walk to the nearest refuge", "use": "use"}
"""What a term of the second look is about."""

LEFT_OUT = {
    "no_refuges": "no refuge is drawn",
    "constant": "it is the same for all traps",
    "few_traps_of_it": "it has fewer than five traps; they are taken with the other ground",
    "one_zone": "it is in one zone only, so use and place cannot be told apart",
    "no_catch": "nothing was caught there; its traps are taken with the other ground",
    "collinear": "it goes together with a term already taken",
    "no_room": "there are too few traps for one more term (ten each)",
}
"""Why a term was left out of the second look."""

NO_PLACE = {
    "no_nights": "It has no countable nights.",
    "inside_obstacle": "It stands inside an obstacle on the map: check its position.",
    "lone_design": "It is the only trap of its design.",
    "no_catch_of_design": "No trap of its design caught anything.",
    "use_not_told": "Too few traps have its use to tell what the use explains.",
}
"""Why one trap has no second look."""

NO_PAIR = {
    "few_traps": "fewer than eight traps were checked in both rounds",
    "no_variation": "all traps of a design caught the same in one of the rounds",
}
"""Why two rounds have no rank correlation."""

NO_PERSISTENCE = {
    "no_pairs": "No two successive rounds can be compared, so nothing can be said about how long "
    "the pattern lasts.",
    "few_pairs": "There are too few rounds for an interval.",
    "short_of_95": "There are few rounds: the interval holds with {coverage:.0%}, not 95 %.",
}
"""What is missing from the persistence of the pattern."""


def cluster_sentences(detail: ClusterDetail) -> list[str]:
    """Return what the cluster tests found, most useful first."""
    analysis = detail.analysis
    sentences = [
        banner(analysis, english()),
        *headline_of_clusters(analysis, english()),
        *_chance_sentences(detail.chances),
        *_placement_sentences(detail),
        _persistence_sentence(detail.persistence),
        _week_sentence(detail),
        *_global_sentences(detail),
        *_graph_sentences(detail),
    ]
    return [text for text in dict.fromkeys(sentences) if text]


def _chance_sentences(chances: tuple[Chance, ...]) -> Iterator[str]:
    """Yield, for every size of patch, the weakest that would be found 8 times in 10."""
    last = {one.traps: one for one in chances}
    for traps, one in last.items():
        patch = f"a patch of {traps} traps"
        if one.share >= WANTED:
            yield f"It would find {patch} at {one.fold:g} times the rest at least 8 times in 10."
        else:
            yield (
                f"Even at {one.fold:g} times the rest, {patch} would be found only "
                f"{one.share:.0%} of the time."
            )


def _placement_sentences(detail: ClusterDetail) -> Iterator[str]:
    effect = detail.analysis.placement
    if effect.reason:
        yield english().say(f"no_second_look.{effect.reason}")
        return
    yield f"What the places explain, all together: {p_text(effect.p)}."
    for row in effect.terms.to_dict("records"):
        low, high = float(row["low"]), float(row["high"])
        yield f"Place, {_term(row)}: {_ratio(float(row['ratio']), low, high)}."
    for row in effect.left_out.to_dict("records"):
        yield f"Not looked at: {_term(row)}, since {LEFT_OUT[str(row['reason'])]}."


def _term(row: Mapping[Hashable, Any]) -> str:
    term, level = str(row["term"]), str(row["level"])
    if term == "refuge":
        return "twice the walk to the nearest refuge"
    return f"{TERMS[term]} {use_text(level)}".strip()


def _ratio(ratio: float, low: float, high: float) -> str:
    return f"{ratio:.2f} times the catch (95 % interval {low:.2f} to {high:.2f})"


def _persistence_sentence(lasting: Persistence) -> str:
    if lasting.reason == "no_pairs":
        return NO_PERSISTENCE["no_pairs"]
    pairs = int(lasting.pairs["rho"].notna().sum())
    text = (
        f"From one round to the next the traps keep their ranks with a correlation of "
        f"{lasting.median:.2f} (median of {count_of(pairs, 'pair')} of rounds"
    )
    if math.isfinite(lasting.low):
        text += f", interval {lasting.low:.2f} to {lasting.high:.2f}"
    missing = NO_PERSISTENCE.get(lasting.reason, "").format(coverage=lasting.coverage)
    return f"{text}). {missing}".strip()


def _week_sentence(detail: ClusterDetail) -> str:
    week = f"week {week_number(detail.analysis.season.week)}"
    if detail.week.overall.reason:
        return f"The catch of {week} alone was not tested. " + english().say(
            f"no_test.{detail.week.overall.reason}"
        )
    marks = pd.Series(detail.week.mark)
    found = [
        f"{count_of(int((marks == code).sum()), 'trap')} {english().say(f'mark_names.{code}')}"
        for code in ("busy_patch", "quiet_patch", "lone_busy", "lone_quiet")
        if (marks == code).any()
    ]
    what = ", ".join(found) or "nothing beyond chance"
    return f"In {week} alone: {what}. That says when, not where."


def _global_sentences(detail: ClusterDetail) -> Iterator[str]:
    overall = detail.overall
    if overall.reason:
        return
    names = {"Moran's I": overall.morans_i, "Geary's C": overall.gearys_c}
    yield (
        "Whole network: "
        + ", ".join(_statistic(name, one) for name, one in names.items())
        + f", {_statistic('General G', overall.general_g)} ({count_of(overall.traps, 'trap')})."
    )


def _statistic(name: str, found: GlobalStatistic) -> str:
    if not math.isfinite(found.value):
        return f"{name} not defined, since only one trap caught anything"
    return f"{name} {found.value:.3f} ({p_text(found.p)})"


def _graph_sentences(detail: ClusterDetail) -> Iterator[str]:
    parts = pd.Series(detail.components)
    alone = int(detail.analysis.traps["reason"].eq("no_neighbours").sum())
    connected = parts[parts > 0].nunique()
    if connected > 1:
        yield f"On foot the network falls into {connected} parts that are not neighbours."
    if alone:
        has = "trap has" if alone == 1 else "traps have"
        yield f"{alone} {has} no other within walking reach."
