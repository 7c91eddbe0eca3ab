"""The settings of a site: `site.toml`, checked and typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Units = Literal["us", "metric"]


@dataclass(frozen=True, slots=True)
class SeasonWindow:
    """The part of a year that one season covers; may cross New Year.

    Parameters
    ----------
    start, end
        First and last day as month-day, e.g. ``"02-15"``; visits outside belong to no season.

    Examples
    --------
    >>> SeasonWindow()
    SeasonWindow(start='02-01', end='09-30')
    """

    start: str = "02-01"
    end: str = "09-30"


@dataclass(frozen=True, slots=True)
class DesignSettings:
    """One trap design.

    Parameters
    ----------
    name
        The word used in the `design` column, e.g. ``"cup"``.
    reference
        Whether rates of other designs are brought to this one's scale.
    ratio
        The user's own catch ratio to the reference design, or None to estimate it.
    ratio_source
        Where the user's ratio comes from; shown wherever it is used.
    """

    name: str
    reference: bool = False
    ratio: float | None = None
    ratio_source: str = ""


@dataclass(frozen=True, slots=True)
class MarkSettings:
    """How cluster marks are made.

    Parameters
    ----------
    neighbours
        Nearest traps that form a trap's neighbourhood (the trap itself is added).
    cutoff_m
        Traps farther than this on foot are never neighbours.
    alpha
        Share of maps without any clustering that may carry a mark.
    permutations
        Random re-assignments of the catches to the places.
    min_traps
        Fewer traps than this are `not testable`: with so few, no arrangement is rare enough.
    few_traps
        Fewer traps than this carry a banner.
    """

    neighbours: int = 5
    cutoff_m: float = 400.0
    alpha: float = 0.05
    permutations: int = 9999
    min_traps: int = 14
    few_traps: int = 30


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """When a zone has too few traps, and where a new one may go.

    All defaults are working assumptions (common practice, no source) and are shown as such.

    Parameters
    ----------
    min_traps_per_zone
        Traps a zone needs before its rate is more than one trap's word.
    max_interval_ratio
        Upper over lower end of the zone's 95 % interval above which it is called too wide; 9 is a
        rate known to about threefold either way.
    near_m
        A trap outside every zone is given to a zone within this distance.
    min_spacing_m
        A suggested trap keeps this distance from every trap and every other suggestion.
    refuge_reach_m
        A zone's edge faces a refuge when the refuge lies within this distance.
    suggestions
        Most places to suggest.
    no_trap_uses
        Uses of zones on which no trap may be put.
    """

    min_traps_per_zone: int = 2
    max_interval_ratio: float = 9.0
    near_m: float = 10.0
    min_spacing_m: float = 10.0
    refuge_reach_m: float = 60.0
    suggestions: int = 8
    no_trap_uses: tuple[str, ...] = ("green", "tee", "bunker")


@dataclass(frozen=True, slots=True)
class SiteSettings:
    """All settings of one site, after `site.toml` has been checked.

    Parameters
    ----------
    name
        Name of the site, shown as given.
    crs
        Projected CRS in metres, e.g. ``"EPSG:32623"``; None chooses the UTM zone of the zones.
    units
        Units of areas in the output.
    target_species
        Names whose adults are counted; every other count is by-catch.
    species_columns
        For wide visits: column of the file -> species.
    bycatch_columns
        Columns of the visits that hold by-catch counts.
    aliases
        Table -> {column of the file: our column}.
    files
        Table -> file name, where the name is not the table's own.
    class_breaks
        Catch rates (adults per trap-week) between the shades of the map; fixed for all weeks.
    """

    name: str
    crs: str | None = None
    units: Units = "us"
    season: SeasonWindow = SeasonWindow()
    target_species: tuple[str, ...] = ()
    species_columns: Mapping[str, str] = field(default_factory=dict)
    bycatch_columns: tuple[str, ...] = ()
    aliases: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)
    designs: tuple[DesignSettings, ...] = ()
    class_breaks: tuple[float, ...] = (0.5, 1.0, 2.0, 4.0, 8.0)
    marks: MarkSettings = MarkSettings()
    network: NetworkSettings = NetworkSettings()
