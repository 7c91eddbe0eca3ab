"""A treatment plan: the ground, what it takes, what is missing, and the blanket it is held against.

A plan is what the user's own choices come to. It says nothing of whether to treat.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from data.site import Site
from data.treatment_settings import TacticSettings, TreatmentSettings
from spatial.dose import Dose, dose_of, missing_inputs
from spatial.rotation import Repeat, repeats
from spatial.treatment import PlanAreas, chosen_zones, plan_areas


@dataclass(frozen=True, slots=True)
class TreatmentPlan:
    """Everything that a work order holds.

    Parameters
    ----------
    site
        The site.
    week, cutoff
        Week and last day of the evidence.
    tactic_name
        ``"adult"``, ``"larva"``, ``"biological"`` or ``"cultural"``.
    tactic
        The user's figures; all blank where `site.toml` has none.
    settings
        The user's other inputs.
    areas
        The ground.
    dose
        What it takes.
    zone_doses
        The same for each zone, in order.
    blanket_dose
        What all zones of the same uses would take.
    missing
        What the user has not given, of `spatial.dose.MISSING`.
    repeats
        Zones where IRAC groups may not be rotating; none for a cultural tactic.
    named
        Whether the user named the zones.
    left_out
        State -> zones of that state that are not in the plan; empty where the user named them.
    """

    site: Site
    week: str
    cutoff: date
    tactic_name: str
    tactic: TacticSettings
    settings: TreatmentSettings
    areas: PlanAreas
    dose: Dose
    zone_doses: tuple[Dose, ...]
    blanket_dose: Dose
    missing: tuple[str, ...]
    repeats: tuple[Repeat, ...]
    named: bool
    left_out: Mapping[str, int] = field(default_factory=dict)

    @property
    def whole_m2(self) -> float:
        """Net area of all zones of the uses of the plan."""
        return math.fsum(each.whole_m2 for each in self.areas.blankets)


@dataclass(frozen=True, slots=True)
class Wish:
    """What the user asks for.

    Parameters
    ----------
    tactic
        Name of the tactic.
    zones
        Zones named; empty for all whose evidence is above the limit.
    week, cutoff
        Week and last day of the evidence.
    """

    tactic: str
    zones: tuple[str, ...]
    week: str
    cutoff: date


def plan_treatment(
    site: Site, evidence: pd.DataFrame, wish: Wish, settings: TreatmentSettings
) -> TreatmentPlan:
    """Return the plan that the user's choices come to.

    Parameters
    ----------
    site
        The site.
    evidence
        From `evidence_of`.
    wish
        What is asked for.
    settings
        The user's inputs.

    Raises
    ------
    SettingsError
        If no zone is left to plan, or an input cannot be read.
    """
    chosen = chosen_zones(evidence, wish.zones, settings.exclusion_uses)
    areas = plan_areas(site, evidence, chosen, settings)
    given = settings.tactics.get(wish.tactic)
    tactic = given or TacticSettings()
    # Summed once, so that the whole and its parts agree to the last digit.
    whole_m2 = math.fsum(each.whole_m2 for each in areas.blankets)
    return TreatmentPlan(
        site=site,
        week=wish.week,
        cutoff=wish.cutoff,
        tactic_name=wish.tactic,
        tactic=tactic,
        settings=settings,
        areas=areas,
        dose=dose_of(areas.net_m2, tactic, wish.tactic),
        zone_doses=tuple(
            dose_of(float(area), tactic, wish.tactic) for area in areas.zones["net_m2"]
        ),
        blanket_dose=dose_of(whole_m2, tactic, wish.tactic),
        missing=missing_inputs(
            given, open_water=bool(areas.open_water), customer=settings.customer
        ),
        repeats=_repeats(site, chosen, wish, tactic),
        named=bool(wish.zones),
        left_out={} if wish.zones else _left_out(evidence, chosen),
    )


def evidence_of(zones: pd.DataFrame) -> pd.DataFrame:
    """Return the evidence of every zone as the plan takes it.

    Parameters
    ----------
    zones
        `spatial.results.Analysis.zones`; `state`, `judged_by` and `p_above` may be missing:
        then no zone is above, and those to plan must be named.

    Examples
    --------
    >>> zones = pd.DataFrame({"zone_id": ["A"], "use": ["tee"], "rate": [2.0],
    ...                       "counted_traps": [3]})
    >>> evidence_of(zones).iloc[0].to_dict()
    {'zone_id': 'A', 'use': 'tee', 'rate': 2.0, 'counted_traps': 3, 'state': '', 'judged_by': '',
    'p_above': nan}
    """
    known = pd.DataFrame(zones[["zone_id", "use", "rate", "counted_traps"]])
    return known.assign(
        state=zones["state"].to_numpy() if "state" in zones else "",
        judged_by=zones["judged_by"].to_numpy() if "judged_by" in zones else "",
        p_above=zones["p_above"].to_numpy(dtype=float) if "p_above" in zones else math.nan,
    )


def _left_out(evidence: pd.DataFrame, chosen: Sequence[str]) -> dict[str, int]:
    states = evidence.loc[~evidence["zone_id"].isin(chosen), "state"]
    return {str(state): int(count) for state, count in states.value_counts().sort_index().items()}


def _repeats(
    site: Site, chosen: Sequence[str], wish: Wish, tactic: TacticSettings
) -> tuple[Repeat, ...]:
    if wish.tactic == "cultural":
        return ()
    return repeats(site.treatments, chosen, tactic.irac_group, wish.cutoff)
