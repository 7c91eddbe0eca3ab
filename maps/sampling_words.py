"""Patchiness, sample sizes and sequential charts, in sentences for the scout and the manager."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from maps.percent import percent_text
from maps.words import count_of, listed, p_text, rate_text, use_text
from spatial.common_k import CommonK
from spatial.sample_size import Precision, SampleSize, StopLine, StopLineTrial
from spatial.sampling import ClassDispersion
from spatial.sequential import DecisionChart, Performance
from spatial.variance_laws import IwaoLaw, TaylorLaw

NO_LAW = {
    "few_samples": "fewer than three rounds of a zone have counts that differ",
    "one_mean": "all rounds have the same mean, so nothing shows how scatter follows it",
    "no_variance": "in no round do the counts of a zone differ",
    "not_rising": "scatter does not rise with the mean, so the law does not hold here",
}
"""Why there is no law of Taylor or Iwao."""

LAW_CAUTIONS = {
    "few_means": "it rests on fewer than ten rounds",
    "narrow_means": "the highest mean is less than five times the lowest",
    "samples_left_out": "some rounds could not be used: they caught nothing, do not vary or are "
    "one count",
}
"""What weakens a law."""

NO_K = {
    "few_counts": "there are fewer than ten counts",
    "no_catch": "nothing was caught",
    "k_inf": "the counts vary no more than chance",
}
"""Why there is no k."""

NO_DISPERSION = {
    "no_catch": "Nothing was caught, so nothing can be said about patchiness.",
    "single_counts": "No zone has two counts in one round, so nothing can be said about "
    "patchiness.",
}
"""Why a class has no variance over mean."""

REMEDIES = {
    "no_catch": "One catch would change that.",
    "single_counts": "{remedy} would change that.",
}
"""The one thing that would let a class be told, by the same codes."""

NO_SIZE = {
    "no_mean": "the expected mean must be above zero",
    "no_law": "how scatter follows the mean is not known",
    "k_inf": "k is infinite: taking chance alone would ask for too few",
    "no_variance_there": "the law gives no scatter at this mean, so it does not hold there",
}
"""Why there is no sample size."""

NO_LINE = {
    "no_law": "how scatter follows the mean is not known",
    "k_inf": "k is infinite: a line made for chance alone would stop too early",
    "too_steep": "scatter rises so fast (b of 2 or more) that a higher count never brings the end "
    "nearer; take a fixed number instead",
    "negative_start": "Iwao's line starts at -1 or below, so it does not hold at low counts",
    "beyond_most": "the precision cannot be reached within the last unit; allow more, or ask for "
    "less precision",
}
"""Why there is no stop line."""

NO_CHART = {
    "no_k": "k is not known; two counts in one zone and one round would tell it, or give "
    "your own (--k)",
    "k_inf": "k is infinite: a chart made for chance alone would be too sure of itself; take the "
    "low end of k's interval",
    "too_few_units": 'even a count of nothing could not say "below" by the last unit; allow more, '
    "or set the two means farther apart",
}
"""Why there is no decision chart."""

DECISIONS = {
    "below": "below the limit: stop",
    "above": "above the limit: stop",
    "go_on": "go on",
    "undecided": "undecided: stop",
}
"""What the chart says."""

AT_END = {
    "undecided": "undecided",
    "nearer": "the side whose line is nearer",
}
"""What is said at the last unit when no line was reached."""

MEANINGS = {
    "se": "a standard error of {d} of the mean",
    "half_width": "a {level} interval of plus or minus {d} of the mean",
}
"""What a precision means."""

FORMS = {"taylor": "Green's line", "iwao": "Kuno's line", "nb": "Kuno's line with one k"}
"""Whose stop line it is."""

HOW_TO_USE = (
    "Settle the order before you start: spread over the zone, not along one edge.",
    "Use it for one zone in one round. Counts of another week or zone start again at nothing.",
    "A void {one} makes no row; it is not a nought.",
    "Do not take a good spot twice: {many} side by side or from one trap repeat each other.",
)
"""What keeps a sequential chart honest."""

OUT_OF_REACH = 0.5
"""A stop line that a larger share of trials does not reach is said to be out of reach."""

POOLED_P = 0.05
"""At a p under this, one k for all samples is said to be doubtful."""


@dataclass(frozen=True, slots=True)
class Unit:
    """What is counted.

    Parameters
    ----------
    one, many
        The unit, singular and plural.
    animals
        What is counted in it.
    size
        What one unit is: ``"7 trap-nights"``, ``"4.25 in across"``.
    remedy
        What would tell the scatter between units: the start of a sentence of `REMEDIES`.
    """

    one: str
    many: str
    animals: str
    size: str = ""
    remedy: str = ""


VISIT = Unit(
    "trap-visit", "trap-visits", "adults", "", "Two traps in one zone, checked in the same round,"
)
CORE = Unit("core", "cores", "larvae", "", "Two cores of one zone and day, a row each,")


def dispersion_sentences(found: ClassDispersion, unit: Unit) -> list[str]:
    """Return how patchy a class is."""
    name = use_text(found.use)
    left_out = (
        f" Left out: {count_of(found.left_out, unit.one, unit.many)} with unusual trap-nights."
        if found.left_out
        else ""
    )
    if found.reason:
        return [f"{name}: {NO_DISPERSION[found.reason]}{left_out}"]
    first = (
        f"{name}: {rate_text(found.mean)} {unit.animals} per {unit.one} on average; variance "
        f"{found.variance_to_mean:.1f} times the mean ({_chance_alone(found.p)}).{left_out}"
    )
    return [first, *_k_sentences(found.k), taylor_sentence(found.taylor), iwao_sentence(found.iwao)]


def _chance_alone(p: float) -> str:
    """Return how the scatter compares with chance; p is that of as much scatter or more."""
    if p > 0.975:
        return f"less than chance gives: {p_text(1 - p)} that it gives so little"
    return f"{p_text(p)} if only chance were at work"


def _k_sentences(found: CommonK) -> Iterator[str]:
    k = found.adjusted
    if k.reason == "k_inf":
        yield f"k is not known, since {NO_K['k_inf']}; only k below {k.low:.2g} is ruled out."
        return
    if k.reason:
        yield f"k is not known, since {NO_K[k.reason]}."
        return
    yield f"k = {k.k:.2g} (95 % interval {k_interval(k.low, k.high)}; smaller is patchier)."
    if found.differ_p < POOLED_P:
        yield (
            f"One k does not fit all rounds ({p_text(found.differ_p)}): take it as a middle value."
        )


def k_interval(low: float, high: float) -> str:
    """Return the ends of an interval of k.

    Examples
    --------
    >>> k_interval(0.41, 1.3), k_interval(0.8, math.inf)
    ('0.41 to 1.3', '0.8 to no end')
    """
    return f"{low:.2g} to {'no end' if math.isinf(high) else format(high, '.2g')}"


def taylor_sentence(law: TaylorLaw) -> str:
    """Return Taylor's law with its errors, or why there is none.

    Examples
    --------
    >>> from spatial.variance_laws import taylor
    >>> taylor_sentence(taylor([1, 1, 1], [2, 3, 4]))
    "No Taylor's law: all rounds have the same mean, so nothing shows how scatter follows it."
    """
    if law.reason:
        return f"No Taylor's law: {NO_LAW[law.reason]}."
    return (
        f"Taylor: variance = {law.a:.2f} x mean^{law.b:.2f} (standard error of ln a "
        f"{law.log_a_se:.2f}, of b {law.b_se:.2f}; {count_of(law.samples, 'round')} of zones)."
        f"{_doubts(law.cautions)}"
    )


def iwao_sentence(law: IwaoLaw) -> str:
    """Return Iwao's line with its errors, or why there is none."""
    if law.reason:
        return f"No Iwao's line: {NO_LAW[law.reason]}."
    return (
        f"Iwao: crowding = {law.alpha:.2f} + {law.beta:.2f} x mean (standard errors "
        f"{law.alpha_se:.2f} and {law.beta_se:.2f}; {count_of(law.samples, 'round')} of zones)."
        f"{_doubts(law.cautions)}"
    )


def _doubts(cautions: tuple[str, ...]) -> str:
    return f" Take care: {listed([LAW_CAUTIONS[code] for code in cautions])}." if cautions else ""


def precision_text(precision: Precision) -> str:
    """Return what a precision means.

    Examples
    --------
    >>> precision_text(Precision(0.25)), precision_text(Precision(0.25, "half_width"))
    ('a standard error of 25 % of the mean', 'a 95 % interval of plus or minus 25 % of the mean')
    """
    shares = {"d": percent_text(precision.d), "level": percent_text(precision.level)}
    return MEANINGS[precision.meaning].format(**shares)


def size_sentence(size: SampleSize, unit: Unit) -> str:
    """Return how many units a precision takes.

    Examples
    --------
    >>> from spatial.sample_size import units_needed
    >>> from spatial.variance_laws import NegativeBinomial
    >>> size_sentence(units_needed(2, NegativeBinomial(0.8), Precision(0.25)), VISIT)
    'At 2.0 adults per trap-visit, a standard error of 25 % of the mean takes 28 trap-visits.'
    """
    wanted = precision_text(size.precision)
    if size.reason:
        return f"How many {unit.many} {wanted} takes cannot be said: {NO_SIZE[size.reason]}."
    return (
        f"At {rate_text(size.mean)} {unit.animals} per {unit.one}, {wanted} takes "
        f"{count_of(size.whole, unit.one, unit.many)}."
    )


def line_sentences(line: StopLine, unit: Unit) -> list[str]:
    """Return what a stop line is for and how it is used."""
    if line.reason:
        return [f"No stop line: {NO_LINE[line.reason]}."]
    return [
        f"Stop when the running total of {unit.animals} reaches the number beside the {unit.one}: "
        f"the mean then has {precision_text(line.precision)} ({FORMS[line.form]}).",
        f"Not before {unit.one} {int(line.units[0])}. If {unit.one} {line.most} comes first, stop "
        "there and write that the precision was not reached.",
    ]


def trial_sentence(trial: StopLineTrial, line: StopLine, unit: Unit) -> str:
    """Return what a stop line gave on simulated counts."""
    reached = precision_text(Precision(trial.d, line.precision.meaning, line.precision.level))
    at = f"{rate_text(trial.mean)} {unit.animals} per {unit.one}"
    tried = f"{percent_text(trial.unfinished)} of {trial.runs:,} simulated rounds"
    if trial.unfinished > OUT_OF_REACH:
        average = "" if round(trial.units) == line.most else " on average"
        return (
            f"At {at}, {precision_text(line.precision)} is out of reach with {line.most} "
            f"{unit.many}: {tried} ended there without reaching the line. "
            f"{trial.units:.0f} {unit.many}{average} gave {reached}."
        )
    return (
        f"Tried out {trial.runs:,} times at {at}: {trial.units:.0f} {unit.many} on average gave "
        f"{reached}; the estimate was off by {percent_text(trial.bias, signed=True)} on average, "
        f"and {percent_text(trial.unfinished)} ended at {unit.one} {line.most} without reaching "
        "the line."
    )


def chart_sentences(chart: DecisionChart, unit: Unit) -> list[str]:
    """Return what a decision chart tells apart, and how it ends."""
    if chart.reason:
        return [f"No decision chart: {NO_CHART[chart.reason]}."]
    means = chart.means
    each = f"{unit.animals} per {unit.one}"
    limit = "" if math.isnan(means.limit) else f"The limit is {rate_text(means.limit)} {each}. "
    return [
        f"{limit}The chart tells {rate_text(means.low_mean)} or fewer "
        f"from {rate_text(means.high_mean)} or more. It is made to call the first "
        f'"above" {percent_text(means.alpha)} of the time and the second "below" '
        f"{percent_text(means.beta)}, at a patchiness of k = {chart.k:.2g}.",
        end_sentence(chart, unit),
    ]


def end_sentence(chart: DecisionChart, unit: Unit) -> str:
    """Return what is said at the last unit when no line was reached."""
    end = f"After {unit.one} {chart.most} with no line reached, stop: {AT_END[chart.at_end]}"
    if chart.at_end == "undecided":
        return f"{end}. That is no all-clear."
    return f"{end}: above from a total of {chart.middle}, else below."


def performance_sentences(found: Performance, chart: DecisionChart, unit: Unit) -> list[str]:
    """Return what a chart really does, beside what it was made to do."""
    at_low = int(np.argmin(abs(found.mean - chart.means.low_mean)))
    at_high = int(np.argmin(abs(found.mean - chart.means.high_mean)))
    longest = int(np.argmax(found.units))
    patchier = "" if found.k == chart.k else f" where k is really {found.k:.2g}"
    said = (
        f"Tried out {found.runs:,} times{patchier}: at {rate_text(float(found.mean[at_low]))} per "
        f'{unit.one} it says "above" {percent_text(found.above[at_low])} of the time, at '
        f'{rate_text(float(found.mean[at_high]))} it says "below" '
        f"{percent_text(found.below[at_high])}; undecided {percent_text(found.undecided[at_low])} "
        f"and {percent_text(found.undecided[at_high])}."
    )
    return [
        said,
        f"It takes {found.units[longest]:.0f} {unit.many} on average at "
        f"{rate_text(float(found.mean[longest]))}, where it takes longest.",
    ]


def how_to_use(unit: Unit) -> list[str]:
    """Return the rules that keep a sequential chart honest."""
    return [text.format(one=unit.one, many=unit.many) for text in HOW_TO_USE]
