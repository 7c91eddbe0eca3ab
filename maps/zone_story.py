"""What the panel tells of a zone besides its catch: limits, cores and treatments, as sentences."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from maps.decision_words import limit_text
from maps.packing import packed_texts
from maps.weeks import day_text
from maps.words import count_of
from spatial.results import Analysis
from spatial.zone_curve import zone_curves

Json = dict[str, Any]

NO_LIMIT = "No limit is set for this zone."
NO_CORES = "No cores on record."
NO_TREATMENTS = "No treatment on record."
TACTICS = {
    "adult": "against adults",
    "larva": "against larvae",
    "biological": "biological",
    "cultural": "cultural",
}


def story_payload(analysis: Analysis, weeks: tuple[str, ...]) -> Json:
    """Return what the page's script needs to tell a zone's story.

    Parameters
    ----------
    analysis
        What one weekly run found.
    weeks
        The weeks that the page shows.

    Returns
    -------
    dict
        `limits` packed by zone; `cores` and `treatments` by row of the zone, where there are any;
        `curve`: by row of the zone ``[place of week, rate, low, high]`` one after the other.
    """
    rows = {str(zone): row for row, zone in enumerate(analysis.zones["zone_id"])}
    return {
        "limits": packed_texts(_limits(analysis)),
        "cores": _told(analysis.site.cores, rows, core_sentence),
        "treatments": _told(analysis.site.treatments, rows, treatment_sentence),
        "curve": _curves(analysis, weeks, rows),
        "words": {"cores": NO_CORES, "treatments": NO_TREATMENTS},
    }


def _limits(analysis: Analysis) -> list[str]:
    if not analysis.decisions:
        return [NO_LIMIT] * len(analysis.zones)
    both = ((each.limits.adults, each.limits.larvae) for each in analysis.decisions)
    return ["; ".join(limit_text(one) for one in pair if one) or NO_LIMIT for pair in both]


def _told(table: pd.DataFrame, rows: Mapping[str, int], tell: Any) -> dict[str, list[str]]:
    told: dict[str, list[str]] = {}
    for row in table.to_dict("records"):
        place = rows.get(str(row["zone_id"]))
        if place is not None:
            told.setdefault(str(place), []).append(tell(row))
    return told


def core_sentence(row: Mapping[Hashable, Any]) -> str:
    """Return what one sample of cores found, in words.

    Examples
    --------
    >>> core_sentence({"sampled_on": pd.Timestamp(2026, 5, 28), "cores": 10, "larvae": 1,
    ...     "pupae": 0, "position": "middle"})
    '28 May 2026: 1 larva, 0 pupae in 10 cores (middle)'
    """
    found = count_of(int(row["larvae"]), "larva", "larvae")
    pupae = row.get("pupae")
    found += "" if pupae is None or pd.isna(pupae) else f", {count_of(int(pupae), 'pupa', 'pupae')}"
    place = _text(row, "position")
    where = f" ({place})" if place else ""
    return f"{day_text(row['sampled_on'])}: {found} in {count_of(int(row['cores']), 'core')}{where}"


def treatment_sentence(row: Mapping[Hashable, Any]) -> str:
    """Return one treatment of the record, in words.

    Examples
    --------
    >>> treatment_sentence({"applied_on": pd.Timestamp(2026, 5, 21), "tactic": "adult",
    ...     "irac_group": "3A", "area": "whole zone", "note": ""})
    '21 May 2026: against adults, IRAC group 3A, whole zone'
    """
    tactic, group = _text(row, "tactic"), _text(row, "irac_group")
    parts = [
        TACTICS.get(tactic, tactic),
        f"IRAC group {group}" if group else "",
        *(_text(row, name) for name in ("product", "rate", "amount", "area", "note")),
    ]
    return f"{day_text(row['applied_on'])}: {', '.join(part for part in parts if part)}"


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
