"""Which ground a treatment covers: the zones chosen, net of what may not be treated, counted once.

Nothing here says that a zone should be treated. The areas are those of the polygons as drawn, on
the plane of the site's projected CRS.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from data.findings import SettingsError
from data.site import Site
from data.suggestions import did_you_mean
from data.treatment_settings import TreatmentSettings
from spatial.units import read_quantity

LEFT_OUT = ("obstacle", "buffer", "exclusion", "overlap", "sliver")
"""Why ground of a chosen zone is not treated; ground with several reasons counts under the first:
an obstacle of the files, a buffer of the user's, a zone of a use never treated, a zone higher in
the order, a leftover too small to treat."""

SLIVER_M2 = 1.0
"""A leftover piece smaller than this is no ground to treat (common practice, no source)."""

WATER = frozenset(
    ("water", "pond", "lake", "stream", "river", "creek", "ditch", "canal", "wetland", "reservoir")
)
"""Words that the buffer named ``water`` stands for. A dry bed counts as water here: it is where the
next rain runs."""

STATE_ORDER = ("above", "undecided", "below", "no_traps", "no_limit")
"""States of a zone's evidence, in the order in which chosen zones are listed."""

_QUARTER_SEGMENTS = 32
"""Sides of a quarter circle. Buffers are drawn round the circle, not in it, so that no part of one
is narrower than the user asked for; they are 0.03 % wider at most."""

_WORD = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True, slots=True)
class Blanket:
    """All zones of one use, against those chosen.

    Parameters
    ----------
    use
        The use.
    zones, chosen
        Number of zones that could be treated, and of those chosen.
    whole_m2, treated_m2
        Their net areas.
    open_m2
        Net area of the zones not chosen of which the evidence does not say that they are below
        the limit: treatment may yet be called for there.
    untreated
        Ids of the zones with traps left untreated on purpose.
    unknown
        Ids of the zones not chosen because nothing is known of them: they have no traps.
    unknown_m2
        Their net area.
    """

    use: str
    zones: int
    chosen: int
    whole_m2: float
    treated_m2: float
    open_m2: float
    untreated: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    unknown_m2: float = 0.0

    @property
    def saved_m2(self) -> float:
        """What is not treated, compared with treating every zone of the use."""
        return self.whole_m2 - self.treated_m2

    @property
    def surely_saved_m2(self) -> float:
        """The same if all zones without evidence for `below` had to be treated after all."""
        return self.saved_m2 - self.open_m2


CHECK_REASONS = ("not_chosen", "last_chosen", "none")
"""Where an untreated check zone can be had, see `CheckZone`."""


@dataclass(frozen=True, slots=True)
class CheckZone:
    """A zone proposed to stay untreated, so that the effect can be told afterwards.

    Parameters
    ----------
    use
        Use of the treated zones that it would be compared with.
    zone_id
        The zone, ``""`` if there is none.
    reason
        ``"not_chosen"``: it is not in the plan, and its traps catch most nearly what those of the
        treated zones do. ``"last_chosen"``: all trapped zones of the use are in the plan; leaving
        this one out costs least. ``"none"``: no other zone of the use has counted traps.
    state
        State of the zone's own evidence.
    """

    use: str
    zone_id: str
    reason: str
    state: str = ""


@dataclass(frozen=True, slots=True)
class PlanAreas:
    """The ground of a plan.

    Parameters
    ----------
    zones
        Chosen zones in order: `order` (from 1), `zone_id`, `use`, `name`, `state`, `p_above`,
        `rate`, `gross_m2`, one column ``<reason>_m2`` for each of `LEFT_OUT`, `net_m2`; geometry is
        what is treated, in the site's CRS, and may be empty.
    left_out
        `zone_id`, `reason` (of `LEFT_OUT`), geometry: what is not treated of the chosen zones.
    blankets
        One per use of the chosen zones, by name.
    check_zones
        One per use of the chosen zones, by name.
    open_water
        Kinds of obstacles that are water, when no buffer is set for water.
    """

    zones: gpd.GeoDataFrame
    left_out: gpd.GeoDataFrame
    blankets: tuple[Blanket, ...]
    check_zones: tuple[CheckZone, ...]
    open_water: tuple[str, ...]

    @property
    def untreated(self) -> gpd.GeoDataFrame:
        """What of `left_out` stays untreated: ground in two zones is treated with the first."""
        return self.left_out[self.left_out["reason"] != "overlap"]

    @property
    def net_m2(self) -> float:
        """Area to treat."""
        return float(self.zones["net_m2"].sum())


def in_order_of_evidence(evidence: pd.DataFrame) -> list[str]:
    """Return zone ids, the strongest evidence first; the order of the rows changes nothing.

    Parameters
    ----------
    evidence
        `zone_id`, `state` (of `STATE_ORDER`, or ``""``), `p_above` and `rate` (NaN unknown).

    Examples
    --------
    By state, then P(rate > limit), then catch rate, then name:

    >>> evidence = pd.DataFrame({"zone_id": ["A", "B", "C", "D"], "rate": [1.0, 2.0, 9.0, 2.0],
    ...                          "state": ["above", "above", "undecided", "above"],
    ...                          "p_above": [0.95, 0.83, 0.7, 0.83]})
    >>> in_order_of_evidence(evidence)
    ['A', 'B', 'D', 'C']
    """
    ranks = {state: place for place, state in enumerate(STATE_ORDER)}
    keys = pd.DataFrame(
        {
            "zone_id": evidence["zone_id"].astype(str),
            "state": evidence["state"].map(ranks).fillna(len(STATE_ORDER)),
            "p_above": -evidence["p_above"].astype(float),
            "rate": -evidence["rate"].astype(float),
        }
    )
    ordered = keys.sort_values(["state", "p_above", "rate", "zone_id"], na_position="last")
    return ordered["zone_id"].tolist()


def chosen_zones(
    evidence: pd.DataFrame, names: Sequence[str], never: Sequence[str] = ()
) -> list[str]:
    """Return the zones of a plan in order of evidence: those named, else those `above`.

    Parameters
    ----------
    evidence
        See `in_order_of_evidence`, with `use`.
    names
        Zones named by the user; empty for all `above`.
    never
        Uses of zones that are never treated.

    Raises
    ------
    SettingsError
        If a name is not a zone or its use is never treated, or if no zone is left.
    """
    known = dict(zip(evidence["zone_id"], evidence["use"], strict=True))
    for name in names:
        if name not in known:
            raise SettingsError(
                f"there is no zone {name!r}; {did_you_mean(name, list(known), _some(known))}"
            )
        if known[name] in never:
            raise SettingsError(
                f"zone {name} is a {known[name]}, which [treatment] exclusion_uses never treats"
            )
    wanted = evidence["zone_id"].isin(names) if names else evidence["state"] == "above"
    found = evidence[wanted & ~evidence["use"].isin(never)]
    if found.empty:
        judged = evidence["state"].isin(("above", "undecided", "below")).any()
        why = "no zone is above its limit" if judged else "no limit holds for any zone on this day"
        raise SettingsError(
            f"{why}, so there is nothing to plan; name zones with --zones to plan them all the same"
        )
    return in_order_of_evidence(found)


def _some(names: Iterable[str]) -> str:
    first = sorted(names)[:5]
    return f"zones are called {', '.join(first)} and so on"


def plan_areas(
    site: Site, evidence: pd.DataFrame, chosen: Sequence[str], settings: TreatmentSettings
) -> PlanAreas:
    """Return the ground that a treatment of the chosen zones covers.

    Parameters
    ----------
    site
        Zones, obstacles and refuges in a projected CRS in metres.
    evidence
        `zone_id`, `use`, `state`, `p_above`, `rate`, `counted_traps` of every zone.
    chosen
        Zones to treat; ground in two of them belongs to the first.
    settings
        The user's buffers and uses never treated.

    Raises
    ------
    SettingsError
        If a buffer cannot be read.
    """
    ground = _Ground(site, settings)
    zones = _sorted(site.zones, "zone_id")
    facts = evidence.set_index("zone_id")
    whole_rows = _whole(ground, zones, chosen)
    chosen_rows = whole_rows[: len(chosen)]
    return PlanAreas(
        zones=_zone_table(site, facts, chosen_rows),
        left_out=_left_out_table(site, chosen_rows),
        blankets=_blankets(facts, chosen_rows, whole_rows),
        check_zones=_check_zones(facts, chosen, _touched(zones, chosen_rows)),
        open_water=ground.open_water,
    )


def buffers_m(settings: TreatmentSettings) -> dict[str, float]:
    """Return the user's buffers in metres, by the word that names them.

    Examples
    --------
    >>> buffers_m(TreatmentSettings(buffers={"water": "25 ft"}))
    {'water': 7.62}

    Raises
    ------
    SettingsError
        If one cannot be read.
    """
    return {
        word: read_quantity(text, f"site.toml, treatment.buffers.{word}", ["length"]).base
        for word, text in settings.buffers.items()
    }


def buffer_width_m(kind: str, widths_m: Mapping[str, float]) -> float | None:
    """Return the width kept round an obstacle or refuge; None if no buffer names its kind.

    Examples
    --------
    >>> widths_m = {"water": 7.62, "flower": 1.0}
    >>> [buffer_width_m(kind, widths_m) for kind in ("Ponds", "dry creek", "flower bed", "hedge")]
    [7.62, 7.62, 1.0, None]

    The widest wins:

    >>> buffer_width_m("flower pond", widths_m)
    7.62
    """
    words = _words(kind)
    fits = [
        width
        for word, width in widths_m.items()
        if _words(word) <= words or (word == "water" and words & WATER)
    ]
    return max(fits, default=None)


def is_water(kind: str) -> bool:
    """Return whether a kind of obstacle is water, dry beds among it.

    Examples
    --------
    >>> is_water("Lakes"), is_water("bunker")
    (True, False)
    """
    return bool(_words(kind) & WATER)


def _words(kind: str) -> set[str]:
    found = _WORD.findall(kind.lower())
    return {word.removesuffix("s") for word in found}


@dataclass(frozen=True, slots=True)
class _Cut:
    """One zone, split into what is treated and what is left out."""

    zone_id: str
    use: str
    name: str
    gross_m2: float
    net: BaseGeometry
    net_m2: float
    left_out: Mapping[str, BaseGeometry]
    left_out_m2: Mapping[str, float]


class _Ground:
    """What may not be treated, moved near the origin, where coordinates keep nanometres."""

    def __init__(self, site: Site, settings: TreatmentSettings) -> None:
        west, south = site.zones.total_bounds[:2]
        self.origin = (math.floor(west), math.floor(south))
        widths = buffers_m(settings)
        barriers = [*zip(site.obstacles["kind"], self._near(site.obstacles), strict=True)]
        named = [*barriers, *zip(site.refuges["kind"], self._near(site.refuges), strict=True)]
        zones = _sorted(site.zones, "zone_id")
        never = zones["use"].isin(settings.exclusion_uses)
        self.parts: dict[str, BaseGeometry] = {
            "obstacle": _union([shape for _, shape in barriers]),
            "buffer": _union([_buffered(shape, kind, widths) for kind, shape in named]),
            "exclusion": _union(self._near(zones[never])),
        }
        self.never = frozenset(zones["zone_id"][never])
        water = sorted({str(kind) for kind, _ in barriers if is_water(str(kind))})
        self.open_water = tuple(k for k in water if buffer_width_m(k, widths) is None)

    def _near(self, table: gpd.GeoDataFrame) -> list[BaseGeometry]:
        shapes = table.geometry.to_numpy()
        near = shapely.transform(shapes, lambda xy: xy - np.asarray(self.origin, dtype=float))
        return list(near)

    def back(self, shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
        """Return shapes where they were before they were moved near the origin."""
        moved = shapely.transform(
            np.asarray(shapes, dtype=object), lambda xy: xy + np.asarray(self.origin, dtype=float)
        )
        return list(moved)

    def cut(self, zones: gpd.GeoDataFrame, name: str, before: Sequence[str]) -> _Cut:
        """Return a zone without what may not be treated and without the zones before it."""
        row = zones.loc[name]
        shape = self._near(zones.loc[[name]])[0]
        earlier = _union(self._near(zones.loc[list(before)]))
        rest, left_out = shape, {}
        for reason, part in {**self.parts, "overlap": earlier}.items():
            left_out[reason] = _polygons(shapely.intersection(rest, part))
            rest = _polygons(shapely.difference(rest, part))
        pieces = shapely.get_parts(rest)
        small = shapely.area(pieces) < SLIVER_M2
        left_out["sliver"] = shapely.MultiPolygon(list(pieces[small]))
        net = _as_one(list(pieces[~small]))
        moved = dict(zip(left_out, self.back(list(left_out.values())), strict=True))
        return _Cut(
            zone_id=name,
            use=str(row["use"]),
            name=str(row["name"]),
            gross_m2=float(shapely.area(shape)),
            net=self.back([net])[0],
            net_m2=float(net.area),
            left_out=moved,
            left_out_m2={reason: float(part.area) for reason, part in left_out.items()},
        )


def _whole(ground: _Ground, zones: gpd.GeoDataFrame, chosen: Sequence[str]) -> list[_Cut]:
    """Return every zone that could be treated of the uses chosen, the chosen ones first."""
    uses = set(zones.loc[list(chosen)]["use"])
    others = [
        name
        for name in zones.index[zones["use"].isin(uses)]
        if name not in chosen and name not in ground.never
    ]
    order = [*chosen, *others]
    return [ground.cut(zones, name, order[:n]) for n, name in enumerate(order)]


def _sorted(zones: gpd.GeoDataFrame, column: str) -> gpd.GeoDataFrame:
    return zones.set_index(column, drop=False).sort_index()


def _buffered(shape: BaseGeometry, kind: object, widths_m: Mapping[str, float]) -> BaseGeometry:
    width = buffer_width_m(str(kind), widths_m)
    if width is None:
        return shapely.MultiPolygon()
    outside = width / math.cos(math.pi / (4 * _QUARTER_SEGMENTS))
    return shapely.buffer(shape, outside, quad_segs=_QUARTER_SEGMENTS) if width else shape


def _union(shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """Return polygons merged; lines have no ground of their own."""
    return _polygons(shapely.union_all([_polygons(shape) for shape in shapes]))


def _polygons(shape: BaseGeometry) -> BaseGeometry:
    """Return the polygons of a shape; edges and corners that shapes share are dropped."""
    return _as_one([part for part in _leaves(shape) if part.geom_type == "Polygon"])


def _leaves(shape: BaseGeometry) -> list[BaseGeometry]:
    parts = list(shapely.get_parts(shape))
    nested = [part for part in parts if hasattr(part, "geoms")]
    flat = [part for part in parts if not hasattr(part, "geoms") and not part.is_empty]
    return [*flat, *(leaf for part in nested for leaf in _leaves(part))]


def _as_one(polygons: Sequence[BaseGeometry]) -> BaseGeometry:
    sound = [each for each in polygons if isinstance(each, shapely.Polygon)]
    return sound[0] if len(sound) == 1 else shapely.MultiPolygon(sound)


def _zone_table(site: Site, facts: pd.DataFrame, rows: Sequence[_Cut]) -> gpd.GeoDataFrame:
    names = [row.zone_id for row in rows]
    judged_by = facts["judged_by"] if "judged_by" in facts else pd.Series("", index=facts.index)
    areas = {f"{reason}_m2": [row.left_out_m2[reason] for row in rows] for reason in LEFT_OUT}
    table = pd.DataFrame(
        {
            "order": range(1, len(rows) + 1),
            "zone_id": names,
            "use": [row.use for row in rows],
            "name": [row.name for row in rows],
            **{key: facts.loc[names, key].to_numpy() for key in ("state", "p_above", "rate")},
            "judged_by": judged_by.loc[names].to_numpy(),
            "gross_m2": [row.gross_m2 for row in rows],
            **areas,
            "net_m2": [row.net_m2 for row in rows],
        }
    )
    return gpd.GeoDataFrame(table, geometry=[row.net for row in rows], crs=site.zones.crs)


def _left_out_table(site: Site, rows: Sequence[_Cut]) -> gpd.GeoDataFrame:
    parts = [
        (row.zone_id, reason, shape)
        for row in rows
        for reason, shape in row.left_out.items()
        if not shape.is_empty
    ]
    table = pd.DataFrame(
        [(zone_id, reason) for zone_id, reason, _ in parts], columns=["zone_id", "reason"]
    )
    return gpd.GeoDataFrame(table, geometry=[part[2] for part in parts], crs=site.zones.crs)


def _blankets(
    facts: pd.DataFrame, chosen: Sequence[_Cut], whole: Sequence[_Cut]
) -> tuple[Blanket, ...]:
    treated = {row.zone_id for row in chosen}
    return tuple(
        _blanket(use, [row for row in whole if row.use == use], treated, facts)
        for use in sorted({row.use for row in chosen})
    )


def _blanket(use: str, rows: Sequence[_Cut], treated: set[str], facts: pd.DataFrame) -> Blanket:
    left = sorted(row.zone_id for row in rows if row.zone_id not in treated)
    area = {row.zone_id: row.net_m2 for row in rows}
    unknown = [name for name in left if facts.loc[name, "state"] == "no_traps"]
    return Blanket(
        use=use,
        zones=len(rows),
        chosen=len(rows) - len(left),
        whole_m2=math.fsum(area.values()),
        treated_m2=math.fsum(area[name] for name in area if name in treated),
        open_m2=math.fsum(area[name] for name in left if facts.loc[name, "state"] != "below"),
        untreated=tuple(name for name in left if name not in unknown),
        unknown=tuple(unknown),
        unknown_m2=math.fsum(area[name] for name in unknown),
    )


def _touched(zones: gpd.GeoDataFrame, chosen: Sequence[_Cut]) -> set[str]:
    """Return the zones that lie partly on treated ground."""
    treated = shapely.union_all([row.net for row in chosen])
    shared_m2 = shapely.area(shapely.intersection(zones.geometry.to_numpy(), treated))
    return set(zones.index[shared_m2 >= SLIVER_M2])


def _check_zones(
    facts: pd.DataFrame, chosen: Sequence[str], touched: set[str]
) -> tuple[CheckZone, ...]:
    return tuple(
        _check_zone(str(use), facts[facts["use"] == use], chosen, touched)
        for use in sorted(set(facts.loc[list(chosen), "use"]))
    )


def _check_zone(
    use: str, zones: pd.DataFrame, chosen: Sequence[str], touched: set[str]
) -> CheckZone:
    """Propose the untreated zone whose traps catch most nearly what those of the plan catch.

    One that is above its limit is proposed only where there is no other.
    """
    counted = zones[(zones["counted_traps"] > 0) & zones["rate"].notna()]
    treated = [name for name in chosen if name in counted.index]
    others = counted[~counted.index.isin({*chosen, *touched}) & (counted["rate"] > 0)]
    level = counted.loc[treated, "rate"].mean() if treated else counted["rate"].max()
    if len(others):
        apart = np.abs(np.log(others["rate"].to_numpy(dtype=float) / max(level, 1e-9)))
        ranked = others.assign(above=others["state"] == "above", apart=apart, name=others.index)
        best = ranked.sort_values(["above", "apart", "name"]).iloc[0]
        return CheckZone(use, str(best["name"]), "not_chosen", str(best["state"]))
    if len(treated) > 1:
        return CheckZone(use, treated[-1], "last_chosen", str(counted.loc[treated[-1], "state"]))
    return CheckZone(use, "", "none")
