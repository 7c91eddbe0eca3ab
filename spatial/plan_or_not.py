"""The treatment plan of an analysis, or why there is none."""

from __future__ import annotations

import pandas as pd

from spatial.results import Analysis
from spatial.treatment_plan import TreatmentPlan, Wish, evidence_of, plan_treatment

NO_PLAN = ("no_limit", "only_undecided", "none_above", "never_treated", "no_ground")
"""Why there is no plan, the first that holds: no limit holds on the day; no zone is above its
limit and some are undecided, or none is; the use of every zone above is never treated; buffers and
obstacles cover all of their ground."""


def plan_or_not(
    analysis: Analysis, tactic: str, zones: tuple[str, ...] = ()
) -> tuple[TreatmentPlan | None, str]:
    """Return the plan for the zones above their limit, or for those named, or why there is none.

    Parameters
    ----------
    analysis
        What one weekly run found.
    tactic
        Name of the tactic.
    zones
        Zones named by the user; empty for those above.

    Returns
    -------
    TreatmentPlan or None, str
        The plan and ``""``, or None and one of `NO_PLAN`.

    Raises
    ------
    data.findings.SettingsError
        If a zone named is not one or may not be treated, or an input of the plan cannot be read.
    """
    settings = analysis.site.settings.treatment
    reason = "" if zones else _reason(analysis, settings.exclusion_uses)
    if reason:
        return None, reason
    season = analysis.season
    wish = Wish(tactic=tactic, zones=zones, week=season.week, cutoff=season.cutoff)
    evidence = evidence_of(pd.DataFrame(analysis.zones))
    plan = plan_treatment(analysis.site, evidence, wish, settings)
    return (None, "no_ground") if plan.areas.net_m2 == 0 else (plan, "")


def _reason(analysis: Analysis, never: tuple[str, ...]) -> str:
    """Return why no zone can be planned; blank where one can."""
    if not analysis.judged:
        return "no_limit"
    states = analysis.zones["state"]
    if not states.eq("above").any():
        return "only_undecided" if states.eq("undecided").any() else "none_above"
    above = analysis.zones.loc[states.eq("above"), "use"]
    return "never_treated" if above.isin(never).all() else ""
