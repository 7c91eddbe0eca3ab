"""How the figures were made and from what, in the words of the trade, for whoever wants to check.

In the language that is asked for: the map page and others say it in English.
"""

from __future__ import annotations

import math

from data.version import VERSION
from maps.catalogue import Catalogue
from spatial.results import Analysis, Chance, DesignRatio
from spatial.windows import SIZE_STEPS


def method_notes(analysis: Analysis, lang: Catalogue, *, dots: bool = True) -> list[str]:
    """Return how the figures were made, in sentences for a reader who wants to check them.

    Parameters
    ----------
    analysis
        What one weekly run found.
    lang
        Language.
    dots
        Whether the dots of the page are scaled by catch.
    """
    scale = lang.say("method.scale", reference=analysis.reference_design)
    return [
        lang.say("method.rate"),
        " ".join([scale, *([lang.say("method.dots")] if dots else [])]),
        *(ratio_sentence(ratio, lang) for ratio in analysis.ratios),
        _intervals(analysis.dispersion_k, lang),
        _marks(analysis, lang),
        lang.say(
            "method.chance",
            analysis.permutations,
            share=lang.decimal(100 * analysis.site.settings.marks.alpha, 0),
        ),
        lang.say("method.second_look"),
        *_chance_note(analysis.chance, lang),
        lang.say("method.ground"),
        lang.say("method.density"),
    ]


def _intervals(k: float, lang: Catalogue) -> str:
    if not math.isfinite(k):
        return lang.say("method.intervals")
    return lang.say("method.intervals_spread", k=lang.decimal(k, 2))


def _marks(analysis: Analysis, lang: Catalogue) -> str:
    marks = analysis.site.settings.marks
    smaller, larger = (max(1, marks.neighbours + step) for step in SIZE_STEPS)
    distance = lang.figure(marks.cutoff_m)
    return lang.say("method.marks", smaller=smaller, larger=larger, distance=distance)


def _chance_note(chance: Chance | None, lang: Catalogue) -> list[str]:
    if chance is None:
        return []
    return [lang.say("method.patch", chance.traps, found=chance.found, maps=chance.maps)]


def sources_text(analysis: Analysis, lang: Catalogue) -> str:
    """Return from which data, settings, language file and version the figures come."""
    hashes = {**analysis.site.hashes, **({lang.file: lang.digest} if lang.file else {})}
    return lang.say(
        "method.sources",
        day=lang.day(analysis.season.cutoff),
        season=analysis.season.label,
        locations=lang.say("method.locations", len(analysis.traps)),
        nights=lang.say("method.nights", round(float(analysis.traps["nights"].sum()))),
        permutations=analysis.permutations,
        seed=str(analysis.seed),
        version=VERSION,
        inputs=", ".join(f"{name} {digest[:8]}" for name, digest in sorted(hashes.items())),
    )


def ratio_sentence(ratio: DesignRatio, lang: Catalogue) -> str:
    """Return how one trap design compares with the reference design.

    Examples
    --------
    >>> from maps.language_file import english
    >>> ratio_sentence(DesignRatio("linear", "cup", 2.4, 1.6, 3.6, 24, "estimated"), english())
    'A linear trap catches 2.4 times what a cup trap does per night (95 % interval 1.6 to 3.6), \
estimated from zones and weeks in which both designs were checked (24 zone-weeks).'
    """
    pair = {"design": ratio.design, "reference": ratio.reference}
    if ratio.source == "not_estimable":
        return lang.say("ratio.not_estimable", **pair, why=lang.say(f"ratio.{ratio.reason}"))
    pair["ratio"] = lang.decimal(ratio.ratio, 1)
    if ratio.source == "user":
        return lang.say("ratio.user", **pair, source=ratio.reason or lang.say("ratio.no_source"))
    if math.isnan(ratio.low) or math.isnan(ratio.high):
        return lang.say("ratio.no_interval", ratio.zone_weeks, **pair)
    ends = {"low": lang.rate(ratio.low), "high": lang.rate(ratio.high)}
    return lang.say("ratio.estimated", ratio.zone_weeks, **pair, **ends)
