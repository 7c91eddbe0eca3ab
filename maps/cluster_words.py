"""What the cluster tests found, in sentences: for the person who wants more than the map says."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import pandas as pd

from maps.catalogue import Catalogue
from maps.weeks import week_number
from maps.words import MARK_LETTERS, banner, headline_of_clusters
from spatial.cluster_detail import ClusterDetail
from spatial.global_tests import GlobalStatistic
from spatial.persistence import Persistence
from spatial.power import WANTED
from spatial.results import Chance


def cluster_sentences(detail: ClusterDetail, lang: Catalogue) -> list[str]:
    """Return what the cluster tests found, most useful first."""
    analysis = detail.analysis
    sentences = [
        banner(analysis, lang),
        *headline_of_clusters(analysis, lang),
        *_chance_sentences(detail.chances, lang),
        *_placement_sentences(detail, lang),
        _persistence_sentence(detail.persistence, lang),
        _week_sentence(detail, lang),
        *_global_sentences(detail, lang),
        *_graph_sentences(detail, lang),
    ]
    return [text for text in dict.fromkeys(sentences) if text]


def _chance_sentences(chances: tuple[Chance, ...], lang: Catalogue) -> Iterator[str]:
    """Yield, for every size of patch, the weakest that would be found 8 times in 10."""
    last = {one.traps: one for one in chances}
    for traps, one in last.items():
        told = {"patch": lang.say("cluster_said.patch", traps), "fold": lang.figure(one.fold)}
        if one.share >= WANTED:
            yield lang.say("cluster_said.would_find", **told)
        else:
            yield lang.say("cluster_said.would_miss", **told, share=lang.percent(one.share))


def _placement_sentences(detail: ClusterDetail, lang: Catalogue) -> Iterator[str]:
    effect = detail.analysis.placement
    if effect.reason:
        yield lang.say(f"no_second_look.{effect.reason}")
        return
    yield lang.say("cluster_said.places", p=lang.p_value(effect.p))
    for row in effect.terms.to_dict("records"):
        ends = {name: lang.decimal(float(row[name]), 2) for name in ("ratio", "low", "high")}
        yield lang.say("cluster_said.place", term=_term(row, lang), **ends)
    for row in effect.left_out.to_dict("records"):
        why = lang.say(f"cluster_left_out.{row['reason']}")
        yield lang.say("cluster_said.left_out", term=_term(row, lang), why=why)


def _term(row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    term, level = str(row["term"]), str(row["level"])
    if term == "refuge":
        return lang.say("cluster_terms.refuge")
    return lang.say(f"cluster_terms.{term}", level=lang.use(level)).strip()


def _persistence_sentence(lasting: Persistence, lang: Catalogue) -> str:
    if lasting.reason == "no_pairs":
        return lang.say("cluster_lasting.no_pairs")
    pairs = int(lasting.pairs["rho"].notna().sum())
    rho, low, high = (lang.decimal(each, 2) for each in (lasting.median, lasting.low, lasting.high))
    if math.isfinite(lasting.low):
        text = lang.say("cluster_said.ranks_interval", pairs, rho=rho, low=low, high=high)
    else:
        text = lang.say("cluster_said.ranks", pairs, rho=rho)
    if lasting.reason == "short_of_95":
        coverage = lang.percent(lasting.coverage)
        return f"{text} {lang.say('cluster_lasting.short_of_95', coverage=coverage)}"
    return f"{text} {lang.say('cluster_lasting.few_pairs')}" if lasting.reason else text


def _week_sentence(detail: ClusterDetail, lang: Catalogue) -> str:
    week = week_number(detail.analysis.season.week)
    if reason := detail.week.overall.reason:
        why = lang.say(f"no_test.{reason}")
        return lang.say("cluster_said.week_untested", week=week, why=why)
    marks = pd.Series(detail.week.mark)
    found = [
        lang.say(
            "cluster_said.marked", int((marks == code).sum()), mark=lang.say(f"mark_names.{code}")
        )
        for code in MARK_LETTERS
        if (marks == code).any()
    ]
    what = lang.joined(found) or lang.say("cluster_said.nothing")
    return lang.say("cluster_said.week", week=week, found=what)


def _global_sentences(detail: ClusterDetail, lang: Catalogue) -> Iterator[str]:
    overall = detail.overall
    if overall.reason:
        return
    names = {
        "Moran's I": overall.morans_i,
        "Geary's C": overall.gearys_c,
        "General G": overall.general_g,
    }
    statistics = lang.joined([_statistic(name, one, lang) for name, one in names.items()])
    yield lang.say("cluster_said.whole", overall.traps, statistics=statistics)


def _statistic(name: str, found: GlobalStatistic, lang: Catalogue) -> str:
    if not math.isfinite(found.value):
        return lang.say("cluster_said.undefined", name=name)
    value, p = lang.decimal(found.value, 3), lang.p_value(found.p)
    return lang.say("cluster_said.statistic", name=name, value=value, p=p)


def _graph_sentences(detail: ClusterDetail, lang: Catalogue) -> Iterator[str]:
    parts = pd.Series(detail.components)
    alone = int(detail.analysis.traps["reason"].eq("no_neighbours").sum())
    connected = int(parts[parts > 0].nunique())
    if connected > 1:
        yield lang.say("cluster_said.parts", connected)
    if alone:
        yield lang.say("cluster_said.alone", alone)
