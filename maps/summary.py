"""The run in figures: `summary.json`."""

from __future__ import annotations

import dataclasses
import json
import math
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date

import pandas as pd

from data.findings import Finding
from data.site import STATUSES
from data.version import VERSION
from maps.columns import SUMMARY
from maps.decision_words import next_steps
from maps.exports import is_missing, rounded
from maps.language_file import english
from maps.rounds import round_statuses
from spatial.decision import STATES
from spatial.results import GAP_REASONS, MARKS, Analysis, DesignRatio

FORMAT = "snoutline summary 1"

_DECIMALS = {each.name: each.decimals for each in SUMMARY}


def summary_json(analysis: Analysis) -> str:
    """Return `summary.json`: keys `maps.columns.SUMMARY`, null for what is not known."""
    return json.dumps(summary(analysis), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def summary(analysis: Analysis) -> dict[str, object]:
    """Return the run in figures, as plain values that JSON can hold."""
    return {
        "format": FORMAT,
        "site": {
            "name": analysis.site.settings.name,
            "crs": str(analysis.zones.crs),
        },
        "season": plain(analysis.season),
        "traps": _traps(analysis),
        "visits": {"by_status": counts(analysis.visit_counts, STATUSES)},
        "week_traps": {"by_status": _week_status(analysis)},
        "global_test": _global_test(analysis),
        "marks": _marks(analysis.traps),
        "zones": _zones(analysis.zones),
        "decisions": _decisions(analysis),
        "gaps": _gaps(analysis.zones),
        "suggested_traps": len(analysis.suggestions),
        "designs": {
            "reference": analysis.reference_design,
            "ratios": [_ratio(each) for each in analysis.ratios],
        },
        "dispersion": _dispersion(analysis.dispersion_k),
        "settings": plain(analysis.site.settings),
        "seed": analysis.seed,
        "permutations": analysis.permutations,
        "findings": {
            **_findings(analysis.site.findings),
            "rows_set_aside": analysis.site.account.count,
        },
        "inputs": dict(sorted(analysis.site.hashes.items())),
        "versions": dict(sorted({**analysis.versions, "snoutline": VERSION}.items())),
    }


def counts(found: Mapping[str, int], states: Iterable[str]) -> dict[str, int]:
    """Return how often each state was found, the states that were not found included.

    Examples
    --------
    >>> counts({"flooded": 2}, ("ok", "flooded"))
    {'ok': 0, 'flooded': 2}
    """
    return {each: int(found.get(each, 0)) for each in states}


def plain(value: object) -> object:
    """Return a value made of dicts, lists, texts and numbers only; NaN becomes None.

    Examples
    --------
    >>> plain((date(2026, 5, 10), float("nan"), {"a": (1, 2)}))
    ['2026-05-10', None, {'a': [1, 2]}]
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _count(column: pd.Series[str]) -> dict[str, int]:
    """Count the values of a column in the order of the alphabet."""
    return dict(sorted(Counter(str(each) for each in column).items()))


def _traps(analysis: Analysis) -> dict[str, object]:
    traps = analysis.traps
    return {
        "locations": len(traps),
        "in_use": int(traps["in_use"].sum()),
        "by_design": _count(traps["design"]),
        "by_placement": _count(traps["placement"]),
        "nights": rounded(traps["nights"].sum(), _DECIMALS["traps.nights"]),
        "adults": int(traps["adults"].sum()),
    }


def _week_status(analysis: Analysis) -> dict[str, int]:
    statuses = pd.Series(round_statuses(analysis, analysis.season.week), dtype=object)
    return counts(_count(statuses), STATUSES)


def _global_test(analysis: Analysis) -> dict[str, object]:
    test = analysis.global_test
    figures = {
        key: rounded(getattr(test, key), _DECIMALS[f"global_test.{key}"])
        for key in ("i", "expected", "z", "p")
    }
    return {**figures, "traps": test.traps, "reason": test.reason}


def _marks(traps: pd.DataFrame) -> dict[str, object]:
    untested = traps.loc[traps["mark"] == "not_testable", "reason"]
    return {"by_state": counts(_count(traps["mark"]), MARKS), "not_testable": _count(untested)}


def _zones(zones: pd.DataFrame) -> dict[str, object]:
    gaps = _count(zones["gap"].replace("", "enough"))
    marks = _count(zones["mark"].replace("", "none"))
    return {
        "count": len(zones),
        "by_gap": counts(gaps, (*GAP_REASONS, "enough")),
        "by_mark": counts(marks, MARKS),
        "by_state": counts(_count(zones["state"]), STATES),
        "not_comparable": int((~zones["comparable"].astype(bool)).sum()),
    }


def _decisions(analysis: Analysis) -> list[dict[str, object]]:
    """List what is said of every zone, where some zone has a limit."""
    return [
        {
            "zone_id": each.zone_id,
            "state": each.state,
            "judged_by": each.judged_by,
            "p_above": rounded(each.p_above, 2),
            "next_step": " ".join(next_steps(each, english())),
        }
        for each in (analysis.decisions if analysis.judged else ())
    ]


def _gaps(zones: pd.DataFrame) -> list[dict[str, object]]:
    """List the zones with too few traps, in the order of the zones."""
    with_gap = zones[zones["gap"] != ""]
    return [
        {
            "zone_id": str(row["zone_id"]),
            "gap": str(row["gap"]),
            "traps": int(row["traps"]),
            "nights": rounded(row["nights"], 1),
            "nearest_trap_m": rounded(row["nearest_trap_m"], 1),
        }
        for _, row in with_gap.iterrows()
    ]


def _ratio(ratio: DesignRatio) -> dict[str, object]:
    figures = {key: rounded(getattr(ratio, key), 6) for key in ("ratio", "low", "high")}
    return {
        "design": ratio.design,
        "reference": ratio.reference,
        **figures,
        "zone_weeks": ratio.zone_weeks,
        "source": ratio.source,
        "reason": ratio.reason,
    }


def _dispersion(k: float) -> dict[str, object]:
    state = "not_overdispersed" if math.isinf(k) else "estimated"
    return {
        "k": rounded(k, _DECIMALS["dispersion.k"]),
        "state": "not_estimable" if is_missing(k) else state,
    }


def _findings(findings: Iterable[Finding]) -> dict[str, object]:
    by_severity = Counter(each.severity for each in findings)
    by_code = Counter(each.code for each in findings)
    return {
        "errors": by_severity["error"],
        "warnings": by_severity["warning"],
        "by_code": dict(sorted(by_code.items())),
    }
