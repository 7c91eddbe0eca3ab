"""Every column and key of the files that a run writes, described once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table or one key of a file.

    Parameters
    ----------
    name
        As written in the file; keys inside keys are joined by a dot.
    unit
        Unit or kind of the value: ``"m"``, ``"text"``, ``"count"``, ``"code"``.
    meaning
        One sentence for the person who opens the file.
    decimals
        Places after the point of a number; None for anything else.
    is_id
        Whether the value names a thing, so that a spreadsheet must leave it alone.
    """

    name: str
    unit: str
    meaning: str
    decimals: int | None = None
    is_id: bool = False


_RATE = "adults per trap-week"

_STAMP = (
    Column("week", "ISO week", "The chosen week."),
    Column("cutoff", "date", "Last day whose visits count."),
)

_ZONE_EFFORT = (
    Column("traps", "count", "Trap locations in use at the cut-off.", 0),
    Column("counted_traps", "count", "Trap locations with exposure, season to date.", 0),
    Column("traps_per_ha", "1/ha", "Those traps per hectare of the zone.", 3),
    Column("nearest_trap_m", "m", "Distance from the zone to the nearest trap.", 1),
    Column("nights", "trap-nights", "Exposure of all `ok` visits, season to date.", 1),
    Column("adults", "count", "Target adults of all `ok` visits, season to date.", 0),
)

_ZONE_RATE = (
    Column(
        "rate",
        _RATE,
        "Season-to-date catch rate at the scale of the reference design; blank without exposure.",
        3,
    ),
    Column("rate_low", _RATE, "Lower end of the rate's 95 % interval.", 3),
    Column("rate_high", _RATE, "Upper end of the rate's 95 % interval.", 3),
    Column(
        "comparable",
        "true/false",
        "False when only designs without a ratio to the reference design caught there.",
    ),
)

_ZONE_DECISION = (
    Column("state", "code", "`above`, `below`, `undecided`, `no_traps` or `no_limit`."),
    Column("reasons", "codes", "Why, the one that made the state first; parted by blanks."),
    Column("judged_by", "code", "`adults` or `larvae`; blank where nothing could be judged."),
    Column("p_above", "chance", "The model's chance that the zone is over its limit.", 2),
    Column("adults_p_above", "chance", "The same for adults, where larvae judge, too.", 2),
    Column("limit_source", "text", "Source of the limit that made the state."),
    Column("limit_dated", "text", "Its date."),
    Column("adult_limit", _RATE, "Your limit for adults on that day; blank without one.", 3),
    Column("larval_limit_m2", "larvae per m2", "Your limit for larvae on that day.", 2),
    Column("larvae_m2", "larvae per m2", "Density in the cores that count.", 2),
    Column("larvae_m2_low", "larvae per m2", "Lower end of its 95 % interval.", 2),
    Column("larvae_m2_high", "larvae per m2", "Upper end of its 95 % interval.", 2),
    Column("cores", "count", "Cores that count.", 0),
    Column("more_nights", "trap-nights", "More trap-nights, as likely as not to decide.", 0),
    Column("more_traps", "count", "New traps among them.", 0),
    Column("more_cores", "count", "Cores that would decide.", 0),
    Column("cheapest", "code", "`traps` or `cores`; blank if neither, or minutes are not known."),
    Column("model_rate", _RATE, "Rate by the zone model; blank if no zone has an adult limit.", 3),
    Column("model_low_80", _RATE, "Lower end of its 80 % interval.", 3),
    Column("model_high_80", _RATE, "Upper end of its 80 % interval.", 3),
    Column("model_low_95", _RATE, "Lower end of its 95 % interval.", 3),
    Column("model_high_95", _RATE, "Upper end of its 95 % interval.", 3),
    Column("share_over", "share", "Places like its traps' that are over the limit.", 2),
    Column("next_step", "text", "What to do next."),
)

ZONES = (
    *_STAMP,
    Column("zone_id", "id", "The zone.", is_id=True),
    Column("use", "text", "What the zone is used as."),
    Column("name", "text", "Name of the zone."),
    Column("area_ha", "ha", "Area of the zone.", 4),
    Column("area_acres", "acres", "The same area in acres.", 4),
    *_ZONE_EFFORT,
    *_ZONE_RATE,
    Column("gap", "code", "Why traps are too few to support a statement; blank if they are not."),
    Column("mark", "code", "Most telling cluster mark of the zone's traps; blank without traps."),
    Column("busy_traps", "count", "Traps marked `busy_patch` or `lone_busy`.", 0),
    Column("quiet_traps", "count", "Traps marked `quiet_patch` or `lone_quiet`.", 0),
    *_ZONE_DECISION,
)
"""Columns of `zones.csv`, one row per zone."""

_TRAP_PLACE = (
    Column("location_id", "id", "The trap location; a trap that moved has several.", is_id=True),
    Column("trap_id", "id", "The trap.", is_id=True),
    Column("design", "text", "Trap design, as in the traps table."),
    Column("zone_id", "id", "Zone that the trap speaks for; blank outside all zones.", is_id=True),
    Column("placement", "code", "`inside`, `edge`, `near` or `outside` the zone."),
    Column("zone_distance_m", "m", "Distance to that zone; 0 inside.", 1),
    Column("in_use", "true/false", "Whether the trap is still in use at the cut-off."),
    Column("longitude", "degrees", "WGS 84, east positive.", 7),
    Column("latitude", "degrees", "WGS 84, north positive.", 7),
    Column("easting_m", "m", "In the site's projected CRS, which `summary.json` names.", 2),
    Column("northing_m", "m", "In the site's projected CRS.", 2),
)

_TRAP_CATCH = (
    Column("visits_ok", "count", "Visits that carry a count, season to date.", 0),
    Column("visits_void", "count", "Visits that do not, season to date.", 0),
    Column("nights", "trap-nights", "Exposure of the `ok` visits, season to date.", 1),
    Column("adults", "count", "Target adults of the `ok` visits, season to date.", 0),
    Column("effort", "trap-nights", "Nights weighted by their week's catch; marks rest on it.", 1),
    Column("rate", _RATE, "Season-to-date catch rate of this design; blank without exposure.", 3),
    Column("rate_low", _RATE, "Lower end of the rate's 95 % interval.", 3),
    Column("rate_high", _RATE, "Upper end of the rate's 95 % interval.", 3),
    Column("week_status", "code", "Status of this week's visit."),
    Column("week_adults", "count", "Target adults of this week; blank unless `ok`.", 0),
    Column("week_nights", "trap-nights", "Exposure of this week's visit.", 1),
    Column("week_rate", _RATE, "Catch rate of this week; blank unless `ok`.", 3),
)

_TRAP_TESTS = (
    Column("activity", "z", "Season-to-date activity, empirical-Bayes standardised by design.", 3),
    Column("gi_star", "z", "Local Gi*; positive where the neighbourhood catches more.", 3),
    Column("local_moran", "none", "Local Moran; negative where a trap differs from its kin.", 3),
    Column("p", "p", "Two-sided permutation p of this neighbourhood; no mark rests on it.", 6),
    Column("p_patch", "p", "p of a patch, adjusted for looking at every trap.", 6),
    Column("p_lone", "p", "p of a lone trap, adjusted for looking at every trap.", 6),
    Column("neighbours", "count", "Traps in the neighbourhood, itself not counted.", 0),
    Column("mark", "code", "Cluster mark; `none` is tested and nothing found."),
    Column("reason", "code", "Why the trap is `not_testable`; blank if it is not."),
)

_TRAP_SECOND_LOOK = (
    Column("refuge_m", "m", "Walk to the nearest refuge; blank if none is within the cut-off.", 1),
    Column("expected_rate", _RATE, "Catch rate to be expected of this design at such a place.", 3),
    Column("place_p", "p", "As `p_patch`, for the catch against what its place explains.", 6),
    Column("place_mark", "code", "Mark of the catch against what its place explains."),
    Column("place_reason", "code", "Why there is no second look at the trap; blank if there is."),
)

TRAPS = (*_STAMP, *_TRAP_PLACE, *_TRAP_CATCH, *_TRAP_TESTS, *_TRAP_SECOND_LOOK)
"""Columns of `traps.csv`, one row per trap location."""

CLUSTERS = (
    *_STAMP,
    Column("location_id", "id", "The place of the trap; a moved trap has several.", is_id=True),
    Column("trap_id", "id", "The trap.", is_id=True),
    Column("zone_id", "id", "Its zone; blank outside every zone.", is_id=True),
    Column("design", "text", "Its design."),
    Column("easting_m", "m", "In the site's projected CRS.", 2),
    Column("northing_m", "m", "In the site's projected CRS.", 2),
    Column("nights", "trap-nights", "Exposure of the `ok` visits, season to date.", 1),
    Column("adults", "count", "Target adults of the `ok` visits, season to date.", 0),
    Column("rate", _RATE, "Season-to-date catch rate of this design; blank without exposure.", 3),
    *_TRAP_TESTS,
    Column("component", "count", "Connected part of the network, from 1; 0 is out of reach.", 0),
    *_TRAP_SECOND_LOOK,
    Column("place_z", "z", "Catch against what its place explains, in standard deviations.", 3),
    Column("week_gi_star", "z", "Gi* of the chosen week alone: when, not where.", 3),
    Column("week_p_patch", "p", "As `p_patch`, of the chosen week alone.", 6),
    Column("week_mark", "code", "Mark of the chosen week alone."),
)
"""Columns of `clusters.csv`, one row per trap location."""

EFFICACY = (
    *_STAMP,
    Column("zone_id", "id", "The treated zone.", is_id=True),
    Column("applied_on", "date", "Day of the treatment."),
    Column("tactic", "code", "As in the treatment log."),
    Column("irac_group", "text", "As in the treatment log."),
    Column("first", "date", "First night looked at."),
    Column("last", "date", "Last night looked at."),
    Column("before", _RATE, "Catch rate of the zone before, at the reference design's scale.", 3),
    Column("after", _RATE, "The same afterwards.", 3),
    Column("before_adults", "count", "Beetles behind the rate before.", 0),
    Column("after_adults", "count", "Beetles behind the rate after.", 0),
    Column("untreated_before", _RATE, "Catch rate of the untreated zones before.", 3),
    Column("untreated_after", _RATE, "The same afterwards.", 3),
    Column("untreated", "ids", "Untreated zones compared with, parted by spaces."),
    Column("reference", "code", "`same_use`, or `other_use` where those caught too little."),
    Column("efficacy", "share", "Share of the expected catch prevented (Henderson-Tilton).", 4),
    Column("low", "share", "Lower end of its 95 % interval; below 0 where catch rose.", 4),
    Column("high", "share", "Upper end of its 95 % interval.", 4),
    Column("reason", "code", "Why the effect cannot be told; blank if it can."),
    Column("cold_before", "nights", "Nights before colder than `cold_c`; blank: no weather.", 0),
    Column("cold_after", "nights", "The same of the nights after.", 0),
)
"""Columns of `efficacy.csv`, one row per treated zone and day."""

SAMPLING = (
    *_STAMP,
    Column("use", "text", "Use of the zones."),
    Column("design", "text", "Trap design; blank for soil cores."),
    Column("core_cm", "cm", "Diameter of the cores; blank for traps.", 3),
    Column("counts", "count", "Trap-visits or cores, season to date.", 0),
    Column("left_out", "count", "Visits left out for unusual trap-nights.", 0),
    Column("nights", "trap-nights", "Trap-nights of one visit; blank for cores.", 1),
    Column("samples", "count", "Zones times rounds.", 0),
    Column("mean", "count", "Mean per trap-visit or core.", 4),
    Column("variance_to_mean", "none", "Variance over mean within samples.", 4),
    Column("variance_to_mean_p", "p", "p of no more scatter than chance.", 6),
    Column("dispersion_reason", "code", "Why there is no variance over mean."),
    Column("k", "none", "One k by maximum likelihood, corrected for bias; blank if infinite.", 4),
    Column("k_se", "none", "Its standard error.", 4),
    Column("k_low", "none", "Lower end of its 95 % interval.", 4),
    Column("k_high", "none", "Upper end of its 95 % interval; blank without an end.", 4),
    Column("k_reason", "code", "Why there is no k."),
    Column("k_plain", "none", "The same k not corrected.", 4),
    Column("k_given", "none", "The user's k (--k), used because the counts do not tell one.", 4),
    Column("k_differ_p", "p", "p of one k for all samples.", 6),
    Column("taylor_a", "none", "Taylor: variance = a mean^b.", 4),
    Column("taylor_log_a_se", "none", "Standard error of ln a.", 4),
    Column("taylor_b", "none", "Taylor's b.", 4),
    Column("taylor_b_se", "none", "Its standard error.", 4),
    Column("taylor_reason", "code", "Why there is no such law."),
    Column("iwao_alpha", "none", "Iwao: crowding = alpha + beta mean.", 4),
    Column("iwao_alpha_se", "none", "Its standard error.", 4),
    Column("iwao_beta", "none", "Iwao's beta.", 4),
    Column("iwao_beta_se", "none", "Its standard error.", 4),
    Column("iwao_reason", "code", "Why there is no such line."),
    Column("precision", "share", "Precision asked for, as a share of the mean.", 3),
    Column("units_se", "count", "Units for a standard error of that share.", 0),
    Column("units_half_width", "count", "Units for a 95 % interval of plus or minus it.", 0),
    Column("size_reason", "code", "Why there are no such numbers."),
    Column("stop_line_reason", "code", "Why there is no stop line."),
    Column("charts", "count", "Decision charts made.", 0),
    Column("no_limit", "code", "Why there is no chart; blank if a limit holds."),
)
"""Columns of `sampling.csv`, one row per use and trap design, or use and diameter of core."""

SUGGESTIONS = (
    Column("rank", "count", "1 is the place to fill first.", 0),
    Column("zone_id", "id", "Zone that the trap would speak for."),
    Column("reason", "code", "Why: a code of `gap`, `undecided` or `open_edge`."),
    Column("place", "code", "`refuge_edge`, `rough` or `zone_interior`."),
    Column("design", "text", "Trap design."),
    Column("bearing_deg", "degrees", "Of a linear trap along the refuge edge, true north.", 0),
    Column("uphill_deg", "degrees", "Along its pipe from the collector, at the lower end.", 0),
    Column("refuge_id", "id", "The refuge that the place faces; null if none."),
    Column("refuge_distance_m", "m", "Distance to that refuge; null if none.", 1),
    Column("nearest_trap_m", "m", "Distance to the nearest trap.", 1),
    Column("settles_ha", "ha", "Of the zone, expected to be settled by it.", 3),
    Column("edge_m", "m", "Refuge-facing edge that it is the first to watch.", 0),
    Column("worth_ha", "ha", "All that it adds: what is settled, and a strip along that edge.", 3),
)
"""Properties of each point of `suggested-traps.geojson`; the same facts are in the GPX file."""

SUGGESTED = (
    *SUGGESTIONS,
    Column("added_min", "min", "What it adds to the round; blank where no round is known.", 1),
    Column("longitude", "degrees", "WGS 84.", 7),
    Column("latitude", "degrees", "WGS 84.", 7),
    Column("sentence", "text", "The same in words."),
)
"""Columns of `suggested-traps.csv`."""

_NETWORK_PRECISION = (
    Column("rate", _RATE, "Expected rate of the zone.", 3),
    Column("k", "number", "k of its traps by which precision is reckoned.", 3),
    Column("k_from", "code", "Where k comes from: `zone`, `use`, `site`, `between`, `assumed`."),
    Column("d", "share", "Standard error over rate at season's end, by that k.", 2),
    Column("low_80", _RATE, "Lower end of the 80 % interval then.", 3),
    Column("high_80", _RATE, "Upper end of it.", 3),
    Column("low_95", _RATE, "Lower end of the 95 % interval then.", 3),
    Column("high_95", _RATE, "Upper end of it.", 3),
    Column("more_traps", "count", "Traps to add now for that precision; blank if too late.", 0),
    Column("more_weeks", "weeks", "Weeks beyond the season for it; blank if none would do.", 0),
    Column("season_traps", "count", "Traps that a whole season would take for it.", 0),
    Column("taylor_d", "share", "Standard error over rate by Taylor's law instead.", 2),
    Column("taylor_season_traps", "count", "Traps for a whole season by Taylor's law.", 0),
)

_NETWORK_VERDICTS = tuple(
    column
    for purpose, what in (
        ("timing", "when adults walk"),
        ("evidence", "what the zone catches"),
        ("patches", "whether a patch would be seen"),
    )
    for column in (
        Column(purpose, "code", f"`enough`, `thin` or `none` to tell {what}."),
        Column(f"{purpose}_missing", "count", "Traps missing; blank if no number would do.", 0),
        Column(f"{purpose}_reasons", "codes", "Why; parted by blanks."),
    )
)

NETWORK = (
    *_STAMP,
    Column("zone_id", "id", "The zone.", is_id=True),
    Column("use", "text", "What the zone is used as."),
    Column("area_ha", "ha", "Area of the zone.", 4),
    Column("traps", "count", "Traps in use.", 0),
    Column("traps_per_ha", "1/ha", "Traps in use per hectare.", 2),
    Column("nights_per_ha", "trap-nights/ha", "Trap-nights, season to date, per hectare.", 1),
    Column("share_lost", "share", "Visits that did not count; blank without a visit.", 3),
    Column("share_in_reach", "share", "Of its ground, within reach of a trap.", 3),
    Column("edge_m", "m", "Its edge that faces a refuge.", 0),
    Column("edge_in_reach_m", "m", "Of that edge, within reach of a trap.", 0),
    Column("longest_open_m", "m", "Longest stretch of that edge without a trap in reach.", 0),
    Column("nearest_trap_m", "m", "Walk to the nearest trap; blank beyond the cut-off.", 1),
    Column("close_pairs", "count", "Pairs of traps so close that they share beetles.", 0),
    *_NETWORK_PRECISION,
    *_NETWORK_VERDICTS,
)
"""Columns of `network.csv`, one row per zone."""

SEASON = (
    *_STAMP,
    Column("date", "date", "Night, by the day on which it begins."),
    Column("rate", _RATE, "Catch rate of that night, at the reference design's scale.", 3),
    Column("share", "share", "Caught by the end of it, of all up to the cut-off.", 4),
    Column("cold", "true/false", "Colder than `cold_c` on average; blank without weather."),
    Column("wet", "true/false", "With at least `wet_mm` of rain; blank where rain is not known."),
)
"""Columns of `season.csv`, one row a night."""

SEASON_WEEKS = (
    Column("design", "text", "Trap design; rates of different designs are not to be compared."),
    Column("species", "text", "Target species."),
    Column("week", "ISO week", "Week."),
    Column("adults", "adults", "Of the species in traps of that design.", 0),
    Column("nights", "trap-nights", "Of countable visits of that design.", 0),
    Column("rate", _RATE, "Catch rate in that design.", 3),
    Column("rate_low", _RATE, "Lower end of its 95 % interval.", 3),
    Column("rate_high", _RATE, "Upper end.", 3),
)
"""Columns of `season-weeks.csv`, one row per design, species and week."""

CALENDAR = (
    *_STAMP,
    Column("window", "code", "What is due; see `spatial.season_calendar`."),
    Column("first_day", "date", "First day."),
    Column("last_day", "date", "Last day."),
    Column("basis", "code", "`observed`, `own_fit`, `past_seasons`, `so_far` or `model`."),
    Column("seasons", "count", "Past seasons, or courses of the weather, behind it.", 0),
)
"""Columns of `calendar.csv`, one row per window."""

DEGREE_DAYS = (
    Column("model", "text", "Key of the model: its file in `data/models`, or yours."),
    Column("unit", "C or F", "Unit of its degree-days."),
    Column("date", "date", "Day."),
    Column("degree_days", "degree-days", "Of that day; blank where not known.", 3),
    Column("total", "degree-days", "Since the model's start; blank from a long gap on.", 2),
    Column("filled", "true/false", "Whether a temperature of the day was filled."),
)
"""Columns of `degree-days.csv`, one row per model and day."""

PROVENANCE = (
    Column("provenance.site", "text", "Name of the site."),
    Column("provenance.week", "ISO week", "The chosen week."),
    Column("provenance.cutoff", "date", "Last day whose visits count."),
    Column("provenance.traps", "count", "Trap locations in use at the cut-off.", 0),
    Column("provenance.nights", "trap-nights", "Exposure, season to date.", 1),
    Column("provenance.seed", "number", "Seed of the permutations.", 0),
    Column("provenance.permutations", "count", "Permutations of each test.", 0),
    Column("provenance.snoutline", "text", "Version of snoutline."),
)
"""What `suggested-traps.geojson` says about itself, beside its points."""

_SUMMARY_DATA = (
    Column("format", "text", "Name and version of this file's layout."),
    Column("site.name", "text", "Name of the site."),
    Column("site.crs", "text", "Projected CRS of every distance and area."),
    Column("season.label", "text", "The season's year or years."),
    Column("season.start", "date", "First day of the season's window."),
    Column("season.end", "date", "Last day of the season's window."),
    Column("season.week", "ISO week", "The chosen week."),
    Column("season.cutoff", "date", "Last day whose visits count."),
    Column("season.weeks", "list", "ISO weeks with a visit, up to the chosen one."),
    Column("traps.locations", "count", "Trap locations used in the season to date.", 0),
    Column("traps.in_use", "count", "Those still in use at the cut-off.", 0),
    Column("traps.by_design", "counts", "Locations of each design."),
    Column("traps.by_placement", "counts", "Locations by their place relative to a zone."),
    Column("traps.nights", "trap-nights", "Exposure, season to date.", 1),
    Column("traps.adults", "count", "Target adults, season to date.", 0),
    Column("visits.by_status", "counts", "Visits of the season to date by status."),
    Column("week_traps.by_status", "counts", "Traps in use by the status of this week's visit."),
)

_SUMMARY_TESTS = (
    Column("global_test.i", "none", "Global Moran's I; null if not testable.", 6),
    Column("global_test.expected", "none", "Its mean when nothing is clustered.", 6),
    Column("global_test.z", "z", "Its standardised value.", 6),
    Column("global_test.p", "p", "Its two-sided permutation p.", 6),
    Column("global_test.traps", "count", "Traps that took part.", 0),
    Column("global_test.reason", "code", "Why there is no test; otherwise empty."),
    Column("marks.by_state", "counts", "Trap locations by cluster mark."),
    Column("marks.not_testable", "counts", "Trap locations that are not testable, by reason."),
    Column("zones.count", "count", "Zones of the site.", 0),
    Column("zones.by_gap", "counts", "Zones by reason of their gap; `enough` has none."),
    Column("zones.by_mark", "counts", "Zones by their cluster mark; `none` has none."),
    Column("zones.by_state", "counts", "Zones by their state against their limit."),
    Column("zones.not_comparable", "count", "Zones whose rate is not comparable.", 0),
    Column("decisions", "list", "Zones: `zone_id`, `state`, `judged_by`, `p_above`, `next_step`."),
    Column("gaps", "list", "Zones with too few traps: `zone_id`, `gap`, `traps`, ..."),
    Column("suggested_traps", "count", "Places in the suggested-traps files.", 0),
    Column("designs.reference", "text", "Design to whose scale zone rates refer."),
    Column("designs.ratios", "list", "Catch of each other design relative to it, with interval."),
    Column("dispersion.k", "none", "Negative binomial k; null if it has no finite value.", 6),
    Column("dispersion.state", "code", "`estimated`, `not_overdispersed` or `not_estimable`."),
)

_SUMMARY_RUN = (
    Column("settings", "object", "Every setting of `site.toml`, defaults included."),
    Column("seed", "number", "Seed of the permutations.", 0),
    Column("permutations", "count", "Permutations of each test.", 0),
    Column("findings.errors", "count", "Errors in the site's files.", 0),
    Column("findings.warnings", "count", "Warnings about the site's files.", 0),
    Column("findings.rows_set_aside", "count", "Rows that count nowhere; see set-aside.csv.", 0),
    Column("findings.by_code", "counts", "Errors and warnings by code."),
    Column("inputs", "object", "SHA-256 of every file that was read."),
    Column("versions", "object", "Version of snoutline and of each library."),
)

SUMMARY = (*_SUMMARY_DATA, *_SUMMARY_TESTS, *_SUMMARY_RUN)
"""Keys of `summary.json`."""

FILES: tuple[tuple[str, tuple[Column, ...]], ...] = (
    ("zones.csv", ZONES),
    ("traps.csv", TRAPS),
    ("clusters.csv", CLUSTERS),
    ("efficacy.csv", EFFICACY),
    ("sampling.csv", SAMPLING),
    ("network.csv", NETWORK),
    ("season.csv", SEASON),
    ("season-weeks.csv", SEASON_WEEKS),
    ("calendar.csv", CALENDAR),
    ("degree-days.csv", DEGREE_DAYS),
    ("suggested-traps.csv", SUGGESTED),
    ("suggested-traps.geojson", (*SUGGESTIONS, *PROVENANCE)),
    ("summary.json", SUMMARY),
)
"""Every described file with its columns or keys, in the order of the documentation."""


def columns_markdown() -> str:
    """Return the description of every file as Markdown tables, for `README.md`.

    Examples
    --------
    >>> for line in columns_markdown().splitlines()[2:5]:
    ...     print(line)
    | column | unit | meaning |
    |---|---|---|
    | `week` | ISO week | The chosen week. |
    """
    return "\n\n".join(f"### `{name}`\n\n{_table(columns)}" for name, columns in FILES) + "\n"


def _table(columns: Sequence[Column]) -> str:
    rows = [f"| `{each.name}` | {each.unit} | {each.meaning} |" for each in columns]
    return "\n".join(["| column | unit | meaning |", "|---|---|---|", *rows])
