"""The second look: which marks stay when what the places explain is taken out."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from data.site import Site
from spatial.arrays import FloatArray, NameArray
from spatial.clusters import LocalClusters, clusters_by
from spatial.exposure import NIGHTS_PER_WEEK
from spatial.neighbours import Neighbours
from spatial.placement_effect import PlacementEffect, Places, placement_effect
from spatial.refuge import refuge_distance_m

NOT_TOLD = ("few_traps_of_it", "one_zone", "collinear", "no_room")
"""Why a use was left out although its traps did catch something."""


@dataclass(frozen=True, slots=True)
class SecondLook:
    """What placement explains, and what is busy or quiet beyond it; arrays of shape (n,).

    Parameters
    ----------
    effect
        The regression on the places.
    refuge_m
        Walk to the nearest refuge: infinite beyond the cut-off, NaN where it has no answer.
    expected_rate
        Adults per trap-week to be expected of this design at this place; NaN without a fit.
    p_patch, mark
        p and mark of catch over expectation.
    reason
        Why a trap has no second look: a code of `spatial.placement_effect` or of `NOT_TESTABLE`,
        or ``"use_not_told"`` for a trap whose use could not be taken out; else ``""``.
    """

    effect: PlacementEffect
    refuge_m: FloatArray
    expected_rate: FloatArray
    p_patch: FloatArray
    mark: NameArray
    reason: NameArray


def second_look(traps: gpd.GeoDataFrame, site: Site, graph: Neighbours, *, seed: int) -> SecondLook:
    """Mark the traps anew, with the catch expected at each place in the place of its trap-nights.

    Parameters
    ----------
    traps
        `adults`, `nights`, `effort`, `design`, `use`, `zone_id` and geometry of every trap.
    site
        Refuges, obstacles and settings.
    graph
        Neighbours of the same traps.
    seed
        Seed of the permutations.
    """
    rules = site.settings.marks
    refuge_m = refuge_distance_m(
        shapely.get_coordinates(traps.geometry.to_numpy()),
        list(site.refuges.geometry),
        list(site.obstacles.geometry),
        rules.cutoff_m,
    )
    use, zone, design = (
        traps[name].astype(object).to_numpy(dtype=object) for name in ("use", "zone_id", "design")
    )
    counts, nights = traps["adults"].to_numpy(dtype=float), traps["nights"].to_numpy(dtype=float)
    effort = traps["effort"].to_numpy(dtype=float)
    places = Places(refuge_m, use, zone, design)
    effect = placement_effect(counts, effort, places, cutoff_m=rules.cutoff_m)
    found = clusters_by(
        rules,
        counts,
        effect.expected,
        graph,
        design=design.astype(str),
        seed=seed,
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        expected_rate = NIGHTS_PER_WEEK * effect.expected / nights
    reason = _reasons(effect, found, use)
    mark = np.where(reason == "", found.mark, "not_testable").astype(object)
    return SecondLook(effect, refuge_m, expected_rate, found.p_patch, mark, reason)


def _reasons(effect: PlacementEffect, found: LocalClusters, use: NameArray) -> NameArray:
    """Return why a trap has no second look; one whose use was left out cannot have a whole one."""
    reason = np.where(effect.trap_reason != "", effect.trap_reason, found.reason)
    if effect.reason:
        reason[effect.trap_reason == ""] = effect.reason
    left_out = effect.left_out[effect.left_out["reason"].isin(NOT_TOLD)]
    untold = np.isin(use.astype(str), left_out.loc[left_out["term"] == "use", "level"])
    reason[(reason == "") & untold] = "use_not_told"
    return reason.astype(object)
