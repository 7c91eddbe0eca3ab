"""The settings of a site: `site.toml`, checked and typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from data.committee_settings import CommitteeSettings
from data.parts_settings import PartsSettings
from data.treatment_settings import TreatmentSettings

Units = Literal["us", "metric"]

Decimal = Literal[".", ","]

Observed = Literal["midnight", "evening", "morning"]

Stage = Literal["adults", "larvae"]

M2_PER_FT2 = 0.3048**2
"""International foot: 0.3048 m exactly."""


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


DEFAULT_REACH_M = 10.0
"""Reach of a design that site.toml gives none for (common practice, no source)."""


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
    reach_m
        A trap speaks for places this near to it on foot. Nothing is published for turf; catches
        of adults on sod depended on each other over 5.4 m (Gireesh, Rijal & Joseph 2021).
    """

    name: str
    reference: bool = False
    ratio: float | None = None
    ratio_source: str = ""
    reach_m: float = DEFAULT_REACH_M


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
        Fewer traps than this are `not testable` (common practice, no source).
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
    clear_m
        A suggested trap keeps this distance from those zones, from obstacles and from the outline
        of its zone, which is drawn no better than that.
    play_line_kinds, play_line_m
        Kinds of obstacles that are lines of play or of mowers, and the distance kept from them.
    precision
        Standard error, as a share of the rate, that a zone is to be known to; .5 is what four traps
        give where beetles crowd as usual.
    timing_traps, timing_reach_m
        Traps at refuge edges within this distance that tell when adults walk: four per course or
        site in Florida and Georgia (Huang & Buss 2007; Gireesh & Joseph 2020).
    patch_traps, patch_fold
        The patch that the network is to find: its traps, and its catch over the rest's.
    shared_m
        Two traps nearer than this share beetles and count as one.
    """

    min_traps_per_zone: int = 2
    max_interval_ratio: float = 9.0
    near_m: float = 10.0
    min_spacing_m: float = 10.0
    refuge_reach_m: float = 60.0
    suggestions: int = 8
    no_trap_uses: tuple[str, ...] = ("green", "tee", "bunker")
    clear_m: float = 1.0
    play_line_kinds: tuple[str, ...] = ("play line", "mower line")
    play_line_m: float = 5.0
    precision: float = 0.5
    timing_traps: int = 4
    timing_reach_m: float = 400.0
    patch_traps: int = 4
    patch_fold: float = 3.0
    shared_m: float = 5.0


@dataclass(frozen=True, slots=True)
class RoundSettings:
    """How the round of a week is walked.

    The two numbers are working assumptions (common practice, no source) and are shown as such.

    Parameters
    ----------
    start_point
        Longitude and latitude (WGS 84) where the walk starts and ends, e.g. ``[-39.01, 40.02]``;
        None: at the trap nearest to the middle of all traps.
    walking_kmh
        Walking speed between traps, km/h.
    minutes_per_trap
        Minutes at a trap: emptying, telling apart, counting, setting it again.
    """

    start_point: tuple[float, float] | None = None
    walking_kmh: float = 4.0
    minutes_per_trap: float = 3.0


@dataclass(frozen=True, slots=True)
class WeatherSettings:
    """How the weather station is read.

    Parameters
    ----------
    observed
        When a day's temperatures are written down: ``"midnight"``, ``"evening"`` or ``"morning"``.
        The high that is read in the morning was reached the day before, and is moved there.
    """

    observed: Observed = "midnight"


@dataclass(frozen=True, slots=True)
class PhenologySettings:
    """Which degree-day model holds for the site, and how its season runs.

    Parameters
    ----------
    model
        Key of a model that ships, or name of a model file in the site's folder; blank: none is
        chosen, and all that ship stand side by side.
    second_generation_from
        Month-day from which adults are those of a second generation, with dates of their own;
        None: one generation.
    wet_mm
        Nights of days with at least this much rain are marked as wet (common practice, no source).
    """

    model: str = ""
    second_generation_from: str | None = None
    wet_mm: float = 1.0


@dataclass(frozen=True, slots=True)
class AerialSettings:
    """A picture of the ground from above, shown under the zones of the weekly map.

    Parameters
    ----------
    file
        A GeoTIFF, or a JPEG or PNG with a world file beside it, in the site's folder.
    crs
        CRS of the picture where its file names none; blank: that of the site.
    """

    file: str = ""
    crs: str = ""


@dataclass(frozen=True, slots=True)
class ReadSettings:
    """How the files are written; any of these may also stand in ``[read.TABLE]`` for one table.

    Parameters
    ----------
    date_format
        How dates are typed, e.g. ``"DD/MM/YYYY"`` or ``"M/D/YY"`` (YY is 20YY). Dates written
        YYYY-MM-DD and dates of a workbook are always read.
    decimal
        Decimal mark of numbers, a point or a comma.
    encoding
        Character encoding of text files; None: UTF-8, UTF-16 by its byte-order mark, otherwise
        Windows-1252 with a warning.
    delimiter
        What separates the columns of a text file; None: the only one of comma, semicolon and tab
        that the first line holds.
    crs
        EPSG code of eastings and northings, of `wkt`, and of shapes whose file names none; None:
        the site's for eastings and northings, WGS 84 for `wkt`.
    units
        Unit of eastings and northings or of the tape, ``"m"``, ``"ft"`` (0.3048 m) or
        ``"us_survey_ft"`` (1200/3937 m); None: the unit of the CRS, and metres for the tape.
    time_zone
        Where the days are counted, e.g. ``"America/Chicago"``; needed for times in UTC.
    design
        Trap design of the traps for which their file names none; of a GPX file, of all, for what
        a receiver writes as the type of a waypoint is seldom a design.
    allow_large
        Read files up to 1 GB and 3,000,000 rows in place of 50 MB and 100,000 rows.
    """

    date_format: str = "YYYY-MM-DD"
    decimal: Decimal = "."
    encoding: str | None = None
    delimiter: str | None = None
    crs: str | None = None
    units: str | None = None
    time_zone: str | None = None
    design: str | None = None
    allow_large: bool = False


@dataclass(frozen=True, slots=True)
class LocalGridSettings:
    """Where the tape-measured positions `x_m`, `y_m` start and point.

    Parameters
    ----------
    origin
        Longitude and latitude of the peg at 0, 0, on WGS 84.
    bearing_deg
        Direction of the baseline (y) clockwise from true north; x runs to its right.
    """

    origin: tuple[float, float]
    bearing_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class LimitSettings:
    """The most that a zone may carry, by the user's own judgement; one of the three numbers.

    Parameters
    ----------
    source
        Where the number comes from; shown wherever it is used.
    dated
        When it was set or last reviewed: a year, month or day, e.g. ``"2026-03-01"``.
    zone, use
        The zone, or the use of zones, that it holds for; neither: every zone. A limit of the zone
        goes before one of its use, and that before one of every zone.
    first_day, last_day
        First and last day as month-day, e.g. ``"05-15"``; may cross New Year; neither: the whole
        year. Of two limits for the same zones the one with days goes first on those days.
    adults_per_trap_week
        Adults per trap-week at the reference design.
    larvae_per_m2, larvae_per_ft2
        Larvae per square metre or square foot.

    Examples
    --------
    >>> LimitSettings("own records", "2026", larvae_per_ft2=10).stage
    'larvae'
    """

    source: str
    dated: str
    zone: str | None = None
    use: str | None = None
    first_day: str | None = None
    last_day: str | None = None
    adults_per_trap_week: float | None = None
    larvae_per_m2: float | None = None
    larvae_per_ft2: float | None = None

    @property
    def stage(self) -> Stage:
        """What is counted."""
        return "larvae" if self.adults_per_trap_week is None else "adults"

    @property
    def amount(self) -> float:
        """Adults per trap-week, or larvae per m2."""
        if self.larvae_per_ft2 is not None:
            return self.larvae_per_ft2 / M2_PER_FT2
        given = self.larvae_per_m2 if self.stage == "larvae" else self.adults_per_trap_week
        return float("nan") if given is None else given


@dataclass(frozen=True, slots=True)
class DecisionSettings:
    """From which chance of being over its limit a zone is called above it, and below it.

    Parameters
    ----------
    above, below
        A zone is above its limit from the first chance on, below it up to the second, and
        undecided in between (common practice, no source).
    treatment_cost_per_ha, loss_per_ha, efficacy
        In place of `above`: what treating costs, what is lost where the limit is passed and
        nothing is done (in the same money), and the share of that loss that treating prevents.
        Treating pays from the chance treatment_cost_per_ha / (loss_per_ha * efficacy) on.
    larvae_from
        From this month-day on larvae are due, and cores go before traps; None: never.
    min_cores
        Fewer cores than this decide nothing (common practice, no source).
    cores_days
        Cores cut longer ago than this decide nothing (common practice, no source).
    minutes_per_core
        Minutes to cut and search one core; None: not known.

    Examples
    --------
    >>> DecisionSettings(treatment_cost_per_ha=300, loss_per_ha=2000, efficacy=0.5).break_even
    0.3
    >>> DecisionSettings().break_even is None
    True
    """

    above: float = 0.8
    below: float = 0.2
    treatment_cost_per_ha: float | None = None
    loss_per_ha: float | None = None
    efficacy: float | None = None
    larvae_from: str | None = None
    min_cores: int = 10
    cores_days: int = 28
    minutes_per_core: float | None = None

    @property
    def break_even(self) -> float | None:
        """The chance from which treating pays; None without all three numbers."""
        cost, loss, efficacy = self.treatment_cost_per_ha, self.loss_per_ha, self.efficacy
        if cost is None or loss is None or efficacy is None:
            return None
        return cost / (loss * efficacy)


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
    language
        A translated copy of `maps/languages/en.toml`, in the site's folder; None: English.
    target_species
        Names whose adults are counted; every other count is by-catch.
    species_columns
        For wide visits: column of the file -> species.
    bycatch_columns
        Columns of the visits that hold by-catch counts.
    bycatch_species
        For visits with one row per species: names whose animals are by-catch. A name that is
        neither here nor a target is told of, and never makes a zero.
    other_columns
        Columns of the visits that hold numbers but no counts, e.g. a round number; they are kept
        by you and not read, and named here no warning is given.
    aliases
        Table -> {column of the file: our column}.
    files
        Table -> file name, where the name is not the table's own; ``all`` names one GeoPackage or
        workbook that holds every table without a file of its own, as layers or sheets.
    class_breaks
        Catch rates (adults per trap-week) between the shades of the map; fixed for all weeks.
    """

    name: str
    crs: str | None = None
    units: Units = "us"
    language: str | None = None
    season: SeasonWindow = SeasonWindow()
    target_species: tuple[str, ...] = ()
    species_columns: Mapping[str, str] = field(default_factory=dict)
    bycatch_columns: tuple[str, ...] = ()
    bycatch_species: tuple[str, ...] = ()
    other_columns: tuple[str, ...] = ()
    aliases: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)
    designs: tuple[DesignSettings, ...] = ()
    class_breaks: tuple[float, ...] = (0.5, 1.0, 2.0, 4.0, 8.0)
    marks: MarkSettings = MarkSettings()
    network: NetworkSettings = NetworkSettings()
    round: RoundSettings = RoundSettings()
    weather: WeatherSettings = WeatherSettings()
    phenology: PhenologySettings = PhenologySettings()
    read: ReadSettings = ReadSettings()
    read_tables: Mapping[str, ReadSettings] = field(default_factory=dict)
    local_grid: LocalGridSettings | None = None
    limits: tuple[LimitSettings, ...] = ()
    decision: DecisionSettings = DecisionSettings()
    treatment: TreatmentSettings = field(default_factory=TreatmentSettings)
    parts: PartsSettings = field(default_factory=PartsSettings)
    committee: CommitteeSettings = field(default_factory=CommitteeSettings)
    aerial: AerialSettings = AerialSettings()

    def reach_m(self, design: str) -> float:
        """Return the reach of a trap design."""
        return next((d.reach_m for d in self.designs if d.name == design), DEFAULT_REACH_M)

    def reading(self, table: str) -> ReadSettings:
        """Return how the file of one table is written.

        Examples
        --------
        >>> SiteSettings("K", read_tables={"visits": ReadSettings(decimal=",")}).reading("visits")
        ReadSettings(date_format='YYYY-MM-DD', decimal=',', encoding=None, delimiter=None, \
crs=None, units=None, time_zone=None, design=None, allow_large=False)
        """
        return self.read_tables.get(table, self.read)
