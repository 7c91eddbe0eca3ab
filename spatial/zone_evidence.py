"""The step that judges every zone: the zone model, the cores and the user's limits together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd

from data.limits import ZoneLimits, limits_of
from data.site import Site
from spatial.arrays import FloatArray
from spatial.decision import (
    AdultEvidence,
    Decision,
    Rule,
    cutoffs_of,
    decide,
    decision_table,
    larvae_due,
)
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.larvae import larval_k, working_k, zone_cores
from spatial.more_evidence import log_sd_of
from spatial.placement_effect import Places
from spatial.ratios import NORMAL_95
from spatial.results import DesignRatio, Season
from spatial.zone_model import ZoneModel, zone_model

MODEL_COLUMNS = (
    "model_rate",
    "model_low_80",
    "model_high_80",
    "model_low_95",
    "model_high_95",
    "share_over",
)
"""What the zone model adds to the table of zones; NaN where it was not asked."""


@dataclass(frozen=True, slots=True)
class ZoneEvidence:
    """Every zone against its limits.

    Parameters
    ----------
    rule
        How they were judged.
    decisions
        One per zone, in the order of the site's zones.
    table
        `spatial.decision.decision_table` and `MODEL_COLUMNS`.
    """

    rule: Rule
    decisions: tuple[Decision, ...]
    table: pd.DataFrame


def zone_evidence(
    site: Site,
    season: Season,
    traps: gpd.GeoDataFrame,
    comparable: FloatArray,
    ratios: Sequence[DesignRatio],
) -> ZoneEvidence:
    """Judge every zone of a site on the last day that counts.

    The zone model takes most of the time of a run, so it is fitted only where some zone has a limit
    for adults on that day.

    Parameters
    ----------
    site
        Zones, cores and settings.
    season
        For the day, and the first one on which larvae are due.
    traps
        `adults`, `nights`, `in_use`, `use`, `zone_id`, `design` and `refuge_m` of every trap.
    comparable
        Their trap-nights of the reference design, shape (number of traps,).
    ratios
        Between designs, for how well they are known.
    """
    settings, day = site.settings, season.cutoff
    due = larvae_due(settings.decision.larvae_from, season.start)
    limits = [
        limits_of(settings.limits, str(zone), str(use), day)
        for zone, use in zip(site.zones["zone_id"], site.zones["use"], strict=True)
    ]
    rule = Rule(
        day=day,
        cutoffs=cutoffs_of(settings.decision),
        due_from=due,
        min_cores=settings.decision.min_cores,
        larval_k=working_k(site.cores),
        minutes_per_trap=settings.round.minutes_per_trap,
        minutes_per_core=settings.decision.minutes_per_core,
        weeks_left=max(0, (season.end - day).days // 7),
        larval_k_assumed=math.isnan(larval_k(site.cores)),
    )
    model = _model(site, traps, comparable, ratios) if any(each.adults for each in limits) else None
    amounts = _adult_limits(limits)
    adults = _adult_evidence(site, traps, comparable, model, amounts)
    cores = zone_cores(site.cores, day, due, settings.decision.cores_days)
    never = site.zones["use"].isin(settings.treatment.exclusion_uses)
    decisions = tuple(
        _never_treated(each) if barred else each
        for each, barred in zip(decide(adults, limits, cores, rule), never, strict=True)
    )
    table = decision_table(decisions).assign(**_model_columns(model, amounts))
    return ZoneEvidence(rule, decisions, table)


def _never_treated(decision: Decision) -> Decision:
    if decision.state != "above":
        return decision
    return replace(decision, reasons=(*decision.reasons, "never_treated"))


def log_ratio_errors(ratios: Sequence[DesignRatio]) -> dict[str, float]:
    """Return twice the standard error of every log ratio that was estimated.

    Twice, since the same catches speak of the ratio and of the zones; see
    `spatial.zone_model.zone_model`. A ratio that the user gave is taken as known.

    Examples
    --------
    >>> found = log_ratio_errors([DesignRatio("linear", "cup", 2.0, 1.0, 4.0, 9, "estimated")])
    >>> round(found["linear"], 2)
    0.71
    """
    return {
        each.design: math.log(each.high / each.low) / NORMAL_95
        for each in ratios
        if each.source == "estimated" and each.low > 0
    }


def _model(
    site: Site, traps: gpd.GeoDataFrame, comparable: FloatArray, ratios: Sequence[DesignRatio]
) -> ZoneModel:
    use, zone, design = (
        traps[name].astype(object).to_numpy(dtype=object) for name in ("use", "zone_id", "design")
    )
    return zone_model(
        traps["adults"].to_numpy(dtype=float),
        comparable,
        Places(traps["refuge_m"].to_numpy(dtype=float), use, zone, design),
        zones=site.zones["zone_id"].to_numpy(dtype=object),
        cutoff_m=site.settings.marks.cutoff_m,
        log_ratio_se=log_ratio_errors(ratios),
    )


def _adult_limits(limits: Sequence[ZoneLimits]) -> FloatArray:
    return np.array([each.adults.amount if each.adults else np.nan for each in limits])


def _adult_evidence(
    site: Site,
    traps: gpd.GeoDataFrame,
    comparable: FloatArray,
    model: ZoneModel | None,
    limits: FloatArray,
) -> AdultEvidence:
    zones = pd.Index(site.zones["zone_id"])
    # A trap that is gone and never gave a count says as little as none.
    there = traps["in_use"].to_numpy(dtype=bool) | (traps["nights"].to_numpy(dtype=float) > 0)
    inside = pd.DataFrame({"all": there, "counted": comparable > 0, "nights": comparable})
    sums = inside.groupby(traps["zone_id"].to_numpy(dtype=object)).sum().reindex(zones).fillna(0)
    unknown = np.full(len(zones), np.nan)
    return AdultEvidence(
        zone_ids=zones.to_numpy(dtype=object),
        p_above=unknown if model is None else model.p_above(limits),
        has_traps=sums["all"].to_numpy() > 0,
        traps=sums["counted"].to_numpy(dtype=np.int64),
        trap_weeks=sums["nights"].to_numpy(dtype=float) / NIGHTS_PER_WEEK,
        log_sd=unknown if model is None else _log_sds(model),
        k=math.nan if model is None else model.k.median,
    )


def _log_sds(model: ZoneModel) -> FloatArray:
    ends = zip(model.table["rate_low_80"], model.table["rate_high_80"], strict=True)
    return np.array([log_sd_of(low, high) if low > 0 else np.nan for low, high in ends])


def _model_columns(model: ZoneModel | None, limits: FloatArray) -> dict[str, FloatArray]:
    if model is None:
        return dict.fromkeys(MODEL_COLUMNS, np.full(len(limits), np.nan))
    names = ("rate", "rate_low_80", "rate_high_80", "rate_low_95", "rate_high_95")
    figures = [model.table[name].to_numpy(dtype=float) for name in names]
    over = model.share_over(limits)["stretch_over"].to_numpy(dtype=float)
    return dict(zip(MODEL_COLUMNS, [*figures, over], strict=True))
