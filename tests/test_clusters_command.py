"""`snoutline clusters`: what it prints and writes, and that its sentences cover every code."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from languages import EN, section
from numpy.testing import assert_allclose

from data.reading import read_site
from maps.cluster_words import cluster_sentences
from maps.clusters import clusters_csv, clusters_json, known_chances
from maps.columns import CLUSTERS
from scripts.cli import cli
from spatial import persistence, placement_effect
from spatial.analysis import analyse
from spatial.autocorrelation import gearys_c, general_g, morans_i, row_standardised
from spatial.cluster_detail import ClusterDetail, cluster_detail
from spatial.global_tests import global_autocorrelation
from spatial.neighbours import nearest_on_foot
from spatial.results import Analysis

SITE = Path(__file__).parents[1] / "data" / "demo" / "site"


@cache
def demo() -> Analysis:
    """Return the demo's last week, with few permutations."""
    site = read_site(SITE)
    marks = replace(site.settings.marks, permutations=499)
    return analyse(replace(site, settings=replace(site.settings, marks=marks)))


@cache
def detail() -> ClusterDetail:
    return cluster_detail(demo(), maps=30)


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        (placement_effect.EFFECT_REASONS, section("no_second_look")),
        (placement_effect.TERM_REASONS, section("cluster_left_out")),
        (persistence.OVERALL_REASONS, section("cluster_lasting")),
    ],
)
def test_every_code_of_the_second_look_has_words(
    codes: tuple[str, ...], said: dict[str, str]
) -> None:
    assert set(said) == set(codes)


def test_the_command_writes_both_files_and_says_what_it_found(tmp_path: Path) -> None:
    arguments = ["clusters", str(SITE), "--out", str(tmp_path), "--maps", "20"]
    done = CliRunner().invoke(cli, arguments)
    assert done.exit_code == 0, done.output
    assert {path.name for path in tmp_path.iterdir()} == {"clusters.csv", "clusters.json"}
    assert "busy even for the place" in done.output
    assert "That says when, not where." in done.output
    first = json.loads((tmp_path / "clusters.json").read_text(encoding="utf-8"))
    assert CliRunner().invoke(cli, arguments).exit_code == 0
    again = json.loads((tmp_path / "clusters.json").read_text(encoding="utf-8"))
    assert again == first


def test_a_known_simulation_is_not_made_again() -> None:
    found = detail()
    told: list[str] = []
    again = cluster_detail(
        demo(), maps=30, known=known_chances(clusters_json(found)), told=told.append
    )
    assert again.chances == found.chances
    assert not [text for text in told if "planted" in text]


def test_another_setting_makes_the_simulation_anew() -> None:
    known = known_chances(clusters_json(detail()))
    assert cluster_detail(demo(), maps=31, known=known).fingerprint not in known


def test_the_table_has_every_described_column_and_trap() -> None:
    lines = clusters_csv(detail()).splitlines()
    assert lines[0].split(",") == [each.name for each in CLUSTERS]
    assert len(lines) == len(demo().traps) + 1


def test_the_week_alone_is_told_apart_from_the_season() -> None:
    week = detail().week
    counted = (demo().traps["week_nights"] > 0).to_numpy()
    assert np.isfinite(week.gi_star[counted]).all()
    assert set(week.mark[~counted]) <= {"not_testable"}


def test_sentences_name_what_was_left_out_and_why() -> None:
    text = " ".join(cluster_sentences(detail(), EN))
    for row in demo().placement.left_out.to_dict("records"):
        assert section("cluster_left_out")[str(row["reason"])] in text


def test_without_terms_there_is_no_second_look_and_it_is_said() -> None:
    analysis = demo()
    placement = replace(analysis.placement, reason="no_terms")
    text = " ".join(
        cluster_sentences(replace(detail(), analysis=replace(analysis, placement=placement)), EN)
    )
    assert section("no_second_look")["no_terms"] in text
    assert "busy even for" not in text


def test_few_rounds_say_that_the_interval_is_short_of_its_promise() -> None:
    lasting = replace(detail().persistence, reason="short_of_95", coverage=0.9375)
    text = " ".join(cluster_sentences(replace(detail(), persistence=lasting), EN))
    assert "the interval holds with 94 %, not 95 %" in text


def test_global_statistics_are_those_of_the_reference_functions() -> None:
    """Values and z as in spatial.autocorrelation, which the reference tests hold to spdep."""
    random = np.random.default_rng(4)
    places = random.uniform(0, 500, size=(40, 2))
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    graph = nearest_on_foot([str(number) for number in range(40)], between, 5, 10_000)
    counts = random.negative_binomial(1, 0.3, size=40).astype(float)
    found = global_autocorrelation(counts, [14] * 40, graph, permutations=499)
    near = graph.adjacency.astype(float)
    assert_allclose(found.morans_i.value, morans_i(counts, row_standardised(near)).i, rtol=1e-9)
    assert_allclose(found.gearys_c.z, gearys_c(counts, row_standardised(near)).z, rtol=1e-9)
    assert_allclose(found.general_g.value, general_g(counts, near).g, rtol=1e-9)
    assert_allclose(found.general_g.z, general_g(counts, near).z, rtol=1e-9)


def test_global_tests_of_scattered_catches_keep_their_level() -> None:
    """Of 200 maps without a pattern, .05 plus three standard errors (.015) are below .05."""
    random = np.random.default_rng(6)
    small = np.zeros(3)
    for number in range(200):
        places = random.uniform(0, 500, size=(30, 2))
        between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        graph = nearest_on_foot([str(trap) for trap in range(30)], between, 5, 10_000)
        nights = random.choice([7.0, 14, 28], size=30)
        counts = random.negative_binomial(1, 1 / (1 + 0.3 * nights))
        found = global_autocorrelation(counts, nights, graph, permutations=199, seed=number)
        p = [found.morans_i.p, found.gearys_c.p, found.general_g.p]
        small += np.asarray(p) <= 0.05
    assert (small / 200 <= 0.05 + 3 * 0.0154).all()
    assert small.sum() > 0


def test_too_few_traps_have_no_global_test() -> None:
    graph = nearest_on_foot(["A", "B", "C"], np.full((3, 3), 10.0), 2, 100)
    found = global_autocorrelation([1, 2, 3], [7, 7, 7], graph)
    assert found.reason == "few_traps"
    assert np.isnan(found.morans_i.p)


def test_expected_catch_is_on_the_scale_of_the_rate() -> None:
    """Over all traps with a fit, expected adults add up to about those caught (score equation)."""
    traps = demo().traps[demo().traps["expected_rate"].notna()]
    expected = (traps["expected_rate"] * traps["nights"] / 7).sum()
    assert expected == pytest.approx(traps["adults"].sum(), rel=0.1)


def test_persistence_of_the_demo_counts_pairs_of_rounds() -> None:
    pairs = detail().persistence.pairs
    assert isinstance(pairs, pd.DataFrame)
    assert len(pairs) == demo().rounds["week"].nunique() - 1
