"""Patchiness, sample sizes and sequential charts, in sentences for the scout and the manager."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from maps.catalogue import Catalogue, rounded
from spatial.common_k import CommonK
from spatial.sample_size import Precision, SampleSize, StopLine, StopLineTrial
from spatial.sampling import ClassDispersion
from spatial.sequential import DecisionChart, Performance
from spatial.variance_laws import IwaoLaw, TaylorLaw

OUT_OF_REACH = 0.5
"""A stop line that a larger share of trials does not reach is said to be out of reach."""

POOLED_P = 0.05
"""At a p under this, one k for all samples is said to be doubtful."""


@dataclass(frozen=True, slots=True)
class Unit:
    """What is counted.

    Parameters
    ----------
    kind
        Adults in a trap-visit, or larvae in a core.
    amount
        What one unit is: the trap-nights of a visit, or how many cm a core is across.
    """

    kind: Literal["traps", "cores"]
    amount: float

    def key(self, name: str) -> str:
        """Return the key of a message about this kind of unit.

        Examples
        --------
        >>> Unit("cores", 10.8).key("size")
        'sampling_cores.size'
        """
        return f"sampling_{self.kind}.{name}"


def dispersion_sentences(found: ClassDispersion, unit: Unit, lang: Catalogue) -> list[str]:
    """Return how patchy a class is."""
    left_out = [lang.say(unit.key("left_out"), found.left_out)] if found.left_out else []
    if found.reason:
        return [" ".join([lang.say(f"sampling_scatter.{found.reason}"), *left_out])]
    first = lang.say(
        unit.key("scatter"),
        mean=lang.rate(found.mean),
        ratio=lang.decimal(found.variance_to_mean, 1),
        chance=_chance(found.p, lang),
    )
    return [
        " ".join([first, *left_out]),
        *_k_sentences(found.k, lang),
        taylor_sentence(found.taylor, lang),
        iwao_sentence(found.iwao, lang),
    ]


def _chance(p: float, lang: Catalogue) -> str:
    """Return how the scatter compares with chance; p is that of as much scatter or more."""
    if p > 0.975:
        return lang.say("sampling.chance_less", p=lang.p_value(1 - p))
    return lang.say("sampling.chance_alone", p=lang.p_value(p))


def _k_sentences(found: CommonK, lang: Catalogue) -> Iterator[str]:
    k = found.adjusted
    if k.reason:
        low = {"low": lang.figure(k.low, 2)} if k.reason == "k_inf" else {}
        yield lang.say(f"sampling_no_k.{k.reason}", **low)
        return
    interval = k_interval(k.low, k.high, lang)
    yield lang.say("sampling.k", k=lang.figure(k.k, 2), interval=interval)
    if found.differ_p < POOLED_P:
        yield lang.say("sampling.one_k", p=lang.p_value(found.differ_p))


def k_interval(low: float, high: float, lang: Catalogue) -> str:
    """Return the ends of an interval of k.

    Examples
    --------
    >>> from maps.language_file import english
    >>> k_interval(0.41, 1.3, english()), k_interval(0.8, math.inf, english())
    ('0.41 to 1.3', '0.8 to no end')
    """
    least = lang.figure(low, 2)
    if math.isinf(high):
        return lang.say("sampling.no_end", low=least)
    return lang.say("numbers.range", low=least, high=lang.figure(high, 2))


def taylor_sentence(law: TaylorLaw, lang: Catalogue) -> str:
    """Return Taylor's law with its errors, or why there is none.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.variance_laws import taylor
    >>> taylor_sentence(taylor([1, 1, 1], [2, 3, 4]), english())
    "No Taylor's law: all rounds have the same mean, so nothing shows how scatter follows it."
    """
    if law.reason:
        return lang.say("sampling.no_taylor", why=lang.say(f"sampling_no_law.{law.reason}"))
    said = lang.say(
        "sampling.taylor",
        law.samples,
        a=lang.decimal(law.a, 2),
        b=lang.decimal(law.b, 2),
        a_error=lang.decimal(law.log_a_se, 2),
        b_error=lang.decimal(law.b_se, 2),
    )
    return " ".join([said, *_doubts(law.cautions, lang)])


def iwao_sentence(law: IwaoLaw, lang: Catalogue) -> str:
    """Return Iwao's line with its errors, or why there is none."""
    if law.reason:
        return lang.say("sampling.no_iwao", why=lang.say(f"sampling_no_law.{law.reason}"))
    said = lang.say(
        "sampling.iwao",
        law.samples,
        alpha=lang.decimal(law.alpha, 2),
        beta=lang.decimal(law.beta, 2),
        alpha_error=lang.decimal(law.alpha_se, 2),
        beta_error=lang.decimal(law.beta_se, 2),
    )
    return " ".join([said, *_doubts(law.cautions, lang)])


def _doubts(cautions: tuple[str, ...], lang: Catalogue) -> list[str]:
    doubts = lang.listed([lang.say(f"sampling_doubts.{code}") for code in cautions])
    return [lang.say("sampling.take_care", doubts=doubts)] if cautions else []


def precision_text(precision: Precision, lang: Catalogue) -> str:
    """Return what a precision means.

    Examples
    --------
    >>> from maps.language_file import english
    >>> precision_text(Precision(0.25), english())
    'a standard error of 25 % of the mean'
    >>> precision_text(Precision(0.25, "half_width"), english())
    'a 95 % interval of plus or minus 25 % of the mean'
    """
    return lang.say(
        f"sampling_precision.{precision.meaning}",
        share=lang.percent(precision.d),
        level=lang.percent(precision.level),
    )


def size_sentence(size: SampleSize, unit: Unit, lang: Catalogue) -> str:
    """Return how many units a precision takes.

    Examples
    --------
    >>> from maps.language_file import english
    >>> from spatial.sample_size import units_needed
    >>> from spatial.variance_laws import NegativeBinomial
    >>> size = units_needed(2, NegativeBinomial(0.8), Precision(0.25))
    >>> size_sentence(size, Unit("traps", 7), english())
    'At 2.0 adults per trap-visit, a standard error of 25 % of the mean takes 28 trap-visits.'
    """
    wanted = precision_text(size.precision, lang)
    if size.reason:
        why = lang.say(f"sampling_no_size.{size.reason}")
        return lang.say(unit.key("no_size"), precision=wanted, why=why)
    return lang.say(unit.key("size"), size.whole, mean=lang.rate(size.mean), precision=wanted)


def line_sentences(line: StopLine, unit: Unit, lang: Catalogue) -> list[str]:
    """Return what a stop line is for and how it is used."""
    if line.reason:
        return [lang.say("sampling.no_line", why=lang.say(f"sampling_no_line.{line.reason}"))]
    return [
        lang.say(
            unit.key("stop"),
            precision=precision_text(line.precision, lang),
            form=lang.say(f"sampling_form.{line.form}"),
        ),
        lang.say(unit.key("not_before"), first=int(line.units[0]), last=line.most),
    ]


def trial_sentence(trial: StopLineTrial, line: StopLine, unit: Unit, lang: Catalogue) -> str:
    """Return what a stop line gave on simulated counts."""
    reached = Precision(trial.d, line.precision.meaning, line.precision.level)
    said = {
        "mean": lang.rate(trial.mean),
        "reached": precision_text(reached, lang),
        "unfinished": lang.percent(trial.unfinished),
    }
    units = rounded(trial.units, 0)
    if trial.unfinished > OUT_OF_REACH:
        gave = "gave" if units == line.most else "gave_on_average"
        out_of_reach = lang.say(
            unit.key("out_of_reach"),
            line.most,
            precision=precision_text(line.precision, lang),
            rounds=lang.say("sampling.rounds", trial.runs),
            **said,
        )
        return " ".join([out_of_reach, lang.say(unit.key(gave), units, **said)])
    return lang.say(
        unit.key("tried_line"),
        units,
        times=lang.say("sampling.times", trial.runs),
        bias=lang.percent(trial.bias, signed=True),
        last=line.most,
        **said,
    )


def chart_sentences(chart: DecisionChart, unit: Unit, lang: Catalogue) -> list[str]:
    """Return what a decision chart tells apart, and how it ends."""
    if chart.reason:
        return [lang.say("sampling.no_chart", why=lang.say(f"sampling_no_chart.{chart.reason}"))]
    means = chart.means
    no_limit = math.isnan(means.limit)
    limit = [] if no_limit else [lang.say(unit.key("limit"), limit=lang.rate(means.limit))]
    tells = lang.say(
        "sampling.tells",
        low=lang.rate(means.low_mean),
        high=lang.rate(means.high_mean),
        above=lang.percent(means.alpha),
        below=lang.percent(means.beta),
        k=lang.figure(chart.k, 2),
    )
    return [" ".join([*limit, tells]), end_sentence(chart, unit, lang)]


def end_sentence(chart: DecisionChart, unit: Unit, lang: Catalogue) -> str:
    """Return what is said at the last unit when no line was reached."""
    return lang.say(unit.key(chart.at_end), last=chart.most, middle=chart.middle)


def performance_sentences(
    found: Performance, chart: DecisionChart, unit: Unit, lang: Catalogue
) -> list[str]:
    """Return what a chart really does, beside what it was made to do."""
    at_low = int(np.argmin(abs(found.mean - chart.means.low_mean)))
    at_high = int(np.argmin(abs(found.mean - chart.means.high_mean)))
    longest = int(np.argmax(found.units))
    said = lang.say(
        unit.key("tried_chart" if found.k == chart.k else "tried_patchier"),
        times=lang.say("sampling.times", found.runs),
        k=lang.figure(found.k, 2),
        low=lang.rate(float(found.mean[at_low])),
        high=lang.rate(float(found.mean[at_high])),
        above=lang.percent(found.above[at_low]),
        below=lang.percent(found.below[at_high]),
        undecided_low=lang.percent(found.undecided[at_low]),
        undecided_high=lang.percent(found.undecided[at_high]),
    )
    units, mean = rounded(found.units[longest], 0), float(found.mean[longest])
    return [said, lang.say(unit.key("longest"), units, mean=lang.rate(mean))]


def how_to_use(unit: Unit, lang: Catalogue) -> list[str]:
    """Return the rules that keep a sequential chart honest."""
    general = ("sampling_chart.order", "sampling_chart.one_round")
    return [lang.say(key) for key in (*general, unit.key("void"), unit.key("twice"))]
