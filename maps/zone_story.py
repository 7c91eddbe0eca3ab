"""What the panel tells of a zone besides its catch: limits, cores and treatments, as sentences."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from data.treatment_settings import TACTICS
from maps.catalogue import Catalogue
from maps.decision_words import limit_text
from maps.packing import packed_texts
from spatial.results import Analysis
from spatial.zone_curve import zone_curves

Json = dict[str, Any]


def story_payload(analysis: Analysis, weeks: tuple[str, ...], lang: Catalogue) -> Json:
    """Return what the page's script needs to tell a zone's story.

    Parameters
    ----------
    analysis
        What one weekly run found.
    weeks
        The weeks that the page shows.
    lang
        Language.

    Returns
    -------
    dict
        `limits` packed by zone; `cores` and `treatments` by row of the zone, where there are any;
        `curve`: by row of the zone ``[place of week, rate, low, high]`` one after the other.
    """
    rows = {str(zone): row for row, zone in enumerate(analysis.zones["zone_id"])}
    return {
        "limits": packed_texts(_limits(analysis, lang)),
        "cores": _told(analysis.site.cores, rows, core_sentence, lang),
        "treatments": _told(analysis.site.treatments, rows, treatment_sentence, lang),
        "curve": _curves(analysis, weeks, rows),
    }


def _limits(analysis: Analysis, lang: Catalogue) -> list[str]:
    none = lang.say("limit.none")
    if not analysis.decisions:
        return [none] * len(analysis.zones)
    both = ((each.limits.adults, each.limits.larvae) for each in analysis.decisions)
    return ["; ".join(limit_text(one, lang) for one in pair if one) or none for pair in both]


def _told(
    table: pd.DataFrame, rows: Mapping[str, int], tell: Any, lang: Catalogue
) -> dict[str, list[str]]:
    told: dict[str, list[str]] = {}
    for row in table.to_dict("records"):
        place = rows.get(str(row["zone_id"]))
        if place is not None:
            told.setdefault(str(place), []).append(tell(row, lang))
    return told


def core_sentence(row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    """Return what one sample of cores found, in words.

    Examples
    --------
    >>> from maps.language_file import english
    >>> core_sentence({"sampled_on": pd.Timestamp(2026, 5, 28), "cores": 10, "larvae": 1,
    ...     "pupae": 0, "position": "middle"}, english())
    '28 May 2026: 1 larva, 0 pupae in 10 cores (middle)'
    """
    pupae, position = row.get("pupae"), _text(row, "position")
    found = lang.say("larvae.larvae", int(row["larvae"]))
    if pupae is not None and not pd.isna(pupae):
        item = lang.say("larvae.pupae", int(pupae))
        found = lang.say("list.between", items=found, item=item)
    told = {"day": lang.day(row["sampled_on"]), "found": found}
    cores = lang.say("larvae.cores", int(row["cores"]))
    if position:
        return lang.say("story.cores_at", **told, cores=cores, position=position)
    return lang.say("story.cores", **told, cores=cores)


def treatment_sentence(row: Mapping[Hashable, Any], lang: Catalogue) -> str:
    """Return one treatment of the record, in words.

    Examples
    --------
    >>> from maps.language_file import english
    >>> treatment_sentence({"applied_on": pd.Timestamp(2026, 5, 21), "tactic": "adult",
    ...     "irac_group": "3A", "area": "whole zone", "note": ""}, english())
    '21 May 2026: against adults, IRAC group 3A, whole zone'
    """
    tactic, group = _text(row, "tactic"), _text(row, "irac_group")
    parts = [
        lang.say(f"tactics.{tactic}") if tactic in TACTICS else tactic,
        lang.say("story.irac", group=group) if group else "",
        *(_text(row, name) for name in ("product", "rate", "amount", "area", "note")),
    ]
    what, *others = [part for part in parts if part] or [""]
    for other in others:
        what = lang.say("list.between", items=what, item=other)
    return lang.say("story.treatment", day=lang.day(row["applied_on"]), what=what)


def _text(row: Mapping[Hashable, Any], name: str) -> str:
    value = row.get(name)
    return "" if value is None or pd.isna(value) else str(value)


def _curves(
    analysis: Analysis, weeks: tuple[str, ...], rows: Mapping[str, int]
) -> dict[str, list[float]]:
    places = {week: place for place, week in enumerate(weeks)}
    curves: dict[str, list[float]] = {}
    table = zone_curves(analysis)
    columns = ("week", "zone_id", "rate", "rate_low", "rate_high")
    for week, zone, *figures in zip(*(table[name] for name in columns), strict=True):
        if week in places:
            shown = [_short(float(figure)) for figure in figures]
            curves.setdefault(str(rows[str(zone)]), []).extend([places[week], *shown])
    return curves


def _short(rate: float) -> float:
    """Return a rate with three digits, whole where it is."""
    rounded = float(f"{rate:.3g}")
    return int(rounded) if rounded == int(rounded) else rounded
