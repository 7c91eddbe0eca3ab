"""Words of patchiness, sample sizes and charts: one for every code, and no more than is known."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from languages import EN, section

from maps import sampling_words as words
from maps.sampling_words import Unit
from spatial import common_k, sample_size, sampling, sequential, variance_laws
from spatial.sample_size import Precision, stop_line, try_stop_line, units_needed
from spatial.sampling import dispersion_by_class
from spatial.sequential import Hypotheses, around, decision_chart, performance
from spatial.variance_laws import NegativeBinomial, taylor

VISIT, CORE = Unit("traps", 7), Unit("cores", 10.8)

PAIRS: tuple[tuple[Sequence[str], str], ...] = (
    (variance_laws.NO_LAW, "sampling_no_law"),
    (variance_laws.LAW_CAUTIONS, "sampling_doubts"),
    (common_k.NO_K, "sampling_no_k"),
    (sampling.NO_DISPERSION, "sampling_scatter"),
    (sample_size.NO_SIZE, "sampling_no_size"),
    (sample_size.NO_LINE, "sampling_no_line"),
    (sample_size.MEANINGS, "sampling_precision"),
    (sequential.NO_CHART, "sampling_no_chart"),
)


@pytest.mark.parametrize(("codes", "name"), PAIRS)
def test_every_code_has_words_and_no_words_lack_a_code(codes: Sequence[str], name: str) -> None:
    said = section(name)
    assert set(said) == set(codes)
    assert len(set(said.values())) == len(said)
    assert not any("_" in text for text in said.values())


def test_both_ends_of_a_chart_have_words() -> None:
    for unit in (VISIT, CORE):
        assert {unit.key(each) for each in sequential.AT_END} <= set(EN.messages)


def test_traps_and_cores_say_the_same_things() -> None:
    traps, cores = set(section("sampling_traps")), set(section("sampling_cores"))
    # Only visits are left out, as only they have trap-nights.
    assert traps - cores == {"left_out"}
    assert cores <= traps


def test_the_two_meanings_of_precision_are_never_confused() -> None:
    law = NegativeBinomial(0.8)
    se, half = (
        words.size_sentence(units_needed(2, law, Precision(0.25, meaning)), VISIT, EN)
        for meaning in sample_size.MEANINGS
    )
    assert "standard error of 25 % of the mean takes 28 trap-visits" in se
    assert "95 % interval of plus or minus 25 % of the mean takes 108 trap-visits" in half


def test_a_missing_size_gives_its_reason_and_no_number() -> None:
    size = units_needed(2, NegativeBinomial(math.inf), Precision(0.25))
    text = words.size_sentence(size, CORE, EN)
    assert text == (
        "How many cores a standard error of 25 % of the mean takes cannot be said: k is infinite: "
        "taking chance alone would ask for too few."
    )


def test_a_patchy_class_is_described_with_its_errors() -> None:
    mean = np.repeat(np.geomspace(1, 20, 12), 8)
    counts = np.random.default_rng(4).negative_binomial(1, 1 / (1 + mean))
    (found,) = dispersion_by_class(counts, ["sod_block"] * 96, np.repeat(range(12), 8))
    text = " ".join(words.dispersion_sentences(found, VISIT, EN))
    assert text.startswith(f"{EN.rate(found.mean)} adults per trap-visit on average; variance ")
    assert f"k = {found.k.adjusted.k:.2g} (95 % interval" in text
    assert f"of b {found.taylor.b_se:.2f}; 12 rounds of zones" in text
    assert f"standard errors {found.iwao.alpha_se:.2f}" in text
    assert "nan" not in text


def test_counts_like_chance_do_not_claim_a_k() -> None:
    counts = np.random.default_rng(1).binomial(10, 0.5, size=60)
    (found,) = dispersion_by_class(counts, ["tee"] * 60, np.repeat(range(6), 10))
    text = " ".join(words.dispersion_sentences(found, VISIT, EN))
    assert "k is not known, since the counts vary no more than chance; only k below" in text
    assert "inf" not in text


def test_a_class_without_catch_says_only_that() -> None:
    (found,) = dispersion_by_class([0] * 12, ["tee"] * 12, ["a"] * 12, [7] * 11 + [30])
    assert words.dispersion_sentences(found, VISIT, EN) == [
        "Nothing was caught, so nothing can be said about patchiness. Left out: "
        "1 trap-visit with unusual trap-nights."
    ]


def test_a_law_with_doubts_says_them() -> None:
    text = words.taylor_sentence(taylor([1, 2, 3, 0], [2, 5, 9, 0]), EN)
    assert "fewer than ten rounds, the highest mean" in text
    assert "less than five times the lowest and some rounds could not be used" in text


def test_the_chart_says_what_it_tells_apart_and_that_undecided_is_no_all_clear() -> None:
    chart = decision_chart(around(3, 2), 1.2, most=20)
    first, last = words.chart_sentences(chart, VISIT, EN)
    assert first.startswith(
        "The limit is 3.0 adults per trap-visit. The chart tells 1.5 or fewer from 6.0"
    )
    assert last == (
        "After trap-visit 20 with no line reached, stop: undecided. That is no all-clear."
    )
    nearer = decision_chart(Hypotheses(2, 4), 1.2, most=20, at_end="nearer")
    first, last = words.chart_sentences(nearer, CORE, EN)
    assert "limit is" not in first
    assert last.endswith(f"above from a total of {nearer.middle}, else below.")


def test_what_a_chart_did_is_said_from_the_simulation_not_from_its_promise() -> None:
    chart = decision_chart(around(3, 2), 1.2, most=8)
    found = performance(chart, [1.5, 3, 6], k=0.5, runs=500)
    text = " ".join(words.performance_sentences(found, chart, VISIT, EN))
    assert "where k is really 0.5" in text
    assert f'at 1.5 per trap-visit it says "above" {100 * found.above[0]:.0f} %' in text
    assert f'at 6.0 it says "below" {100 * found.below[2]:.0f} %' in text


def test_a_stop_line_says_when_it_starts_and_when_it_ends() -> None:
    line = stop_line(NegativeBinomial(1), Precision(0.25), most=40)
    first, last = words.line_sentences(line, CORE, EN)
    assert "running total of larvae reaches the number beside the core" in first
    assert last.startswith("Not before core 17. If core 40 comes first, stop there")
    trial = try_stop_line(line, 0.01, 1, runs=50)
    text = words.trial_sentence(trial, line, CORE, EN)
    assert "a standard error of 25 % of the mean is out of reach with 40 cores: 100 % of" in text
    reached = words.trial_sentence(try_stop_line(line, 4, 1, runs=50), line, CORE, EN)
    assert "out of reach" not in reached
    assert "ended at core 40 without reaching the line" in reached


def test_a_precision_out_of_reach_comes_with_the_one_that_is_reached() -> None:
    """Source: the standard error over the mean is sqrt((1 / m + 1 / k) / n)."""
    line = stop_line(NegativeBinomial(1), Precision(0.25), most=30)
    trial = try_stop_line(line, 0.3, 1, runs=4000)
    assert trial.unfinished > words.OUT_OF_REACH
    assert trial.d == pytest.approx(math.sqrt((1 / 0.3 + 1) / trial.units), rel=0.05)
    said = f"{trial.units:.0f} trap-visits gave a standard error of {100 * trial.d:.0f} %"
    assert said in words.trial_sentence(trial, line, VISIT, EN)


@pytest.mark.parametrize("reason", sequential.NO_CHART)
def test_no_chart_gives_one_sentence(reason: str) -> None:
    k = {"no_k": math.nan, "k_inf": math.inf, "too_few_units": 1.0}[reason]
    chart = decision_chart(Hypotheses(0.5, 0.7), k, most=1)
    assert words.chart_sentences(chart, VISIT, EN) == [
        f"No decision chart: {section('sampling_no_chart')[reason]}."
    ]


def test_no_stop_line_gives_one_sentence() -> None:
    line = stop_line(NegativeBinomial(0.1), Precision(0.25), most=40)
    assert words.line_sentences(line, VISIT, EN) == [
        f"No stop line: {section('sampling_no_line')['beyond_most']}."
    ]


def test_rules_for_the_chart_name_the_unit() -> None:
    assert "A void core makes no row; it is not a nought." in words.how_to_use(CORE, EN)
