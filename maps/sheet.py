"""The round sheet: one offline page that is printed, or tapped on a phone while walking."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

import jinja2
import pandas as pd

from data.catches import count_layout
from data.findings import SettingsError
from data.schemas import LARGEST_COUNT, VISITS
from data.site import Site
from data.visits import LONGEST_EXPOSURE_NIGHTS
from maps.offline import policy_tag, refuse_links
from maps.page import template_text
from maps.payload import Json, json_text
from maps.sheet_plan import key_svg, plan_svg
from maps.sheet_words import CAUTION, STATUS_TEXT, leg_texts, route_notes, route_sentence
from maps.weeks import week_days, week_number, week_span
from maps.words import use_text
from spatial.round_plan import RoundPlan

_POLICY_PLACE = "<!-- policy -->"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Counter:
    """One thing that is counted at a trap.

    Parameters
    ----------
    name
        Column of the visits, or species where the visits have one row per species.
    label
        What the scout reads.
    kind
        ``"column"``: a species column; ``"species"``: a species with rows of its own;
        ``"bycatch"``: a by-catch column.
    required
        Whether an `ok` visit must carry this count.
    """

    name: str
    label: str
    kind: str
    required: bool


def round_sheet(plan: RoundPlan, delimiter: str = ",") -> str:
    """Return the round sheet of a week.

    Parameters
    ----------
    plan
        The round to be walked.
    delimiter
        What separates the columns of the file that the sheet saves: that of the site's visits.

    Returns
    -------
    str
        One HTML document without any link; equal rounds give equal bytes.

    Raises
    ------
    SettingsError
        If the site names no species to count.
    """
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    html = environment.from_string(template_text("sheet.html")).render(_parts(plan, delimiter))
    refuse_links(html)
    return html.replace(_POLICY_PLACE, policy_tag(html), 1)


def export_name(week: str) -> str:
    """Return the file name of a round's counts.

    Examples
    --------
    >>> export_name("2026-W19")
    'visits-2026-W19.csv'
    """
    return f"visits-{week}.csv"


def counters(site: Site) -> list[Counter]:
    """Return what is counted at each trap, in the order of the site's settings.

    Raises
    ------
    SettingsError
        If visits have one row per species and no species is known.
    """
    settings = site.settings
    bycatch = [Counter(name, name, "bycatch", False) for name in settings.bycatch_columns]
    wide = settings.species_columns
    if wide:
        twice = len(set(wide.values())) < len(wide)
        species = [
            Counter(name, f"{species} ({name})" if twice else species, "column", True)
            for name, species in wide.items()
        ]
        return [*species, *bycatch]
    targets = settings.target_species or tuple(sorted(set(site.catches["species"])))
    if not targets:
        raise SettingsError(
            "site.toml: no species to count; name them in target_species, for no visit names one"
        )
    others = sorted(set(site.bycatch["taxon"]) - {*settings.bycatch_columns, *targets})
    named = [Counter(name, name, "species", name in targets) for name in (*targets, *others)]
    return [*named, *bycatch]


def visit_columns(site: Site) -> list[tuple[str, str]]:
    """Return name in the file and our name of every column of the site's visits, in order."""
    if site.visit_headers:
        return [(written, ours) for ours, written in site.visit_headers.items()]
    layout = count_layout(site.settings)
    names = {ours: written for written, ours in site.settings.aliases.get("visits", {}).items()}
    plain = [column.name for column in VISITS.columns]
    kept = [name for name in plain if layout.long or name not in ("species", "adults")]
    place = kept.index("adults") + 1 if layout.long else kept.index("status") + 1
    ours = [*kept[:place], *layout.wide, *layout.bycatch, *kept[place:]]
    return [(names.get(name, name), name) for name in ours]


def _parts(plan: RoundPlan, delimiter: str) -> Json:
    site = plan.site
    rows = _stop_rows(plan)
    counted = counters(site)
    data = json_text({**_payload(plan, rows, counted), "delimiter": delimiter})
    return {
        "site": site.settings.name,
        "week": plan.week,
        "number": week_number(plan.week),
        "span": week_span(plan.week),
        "route": route_sentence(plan),
        "notes": route_notes(plan),
        "caution": CAUTION,
        "stops": rows,
        "counters": counted,
        "statuses": list(STATUS_TEXT.items()),
        "columns": {ours for _, ours in visit_columns(site)},
        "plan": _safe(plan_svg(plan)),
        "key": _safe(key_svg(plan)),
        "css": _safe(template_text("sheet.css")),
        "data": _safe(f'<script type="application/json" id="data">{data}</script>'),
        "script": _safe(f"<script>{template_text('sheet.js')}</script>"),
        "policy": _safe(_POLICY_PLACE),
    }


def _safe(text: str) -> Any:
    """Mark text that is ours, and escaped where it holds the site's, as not to be escaped again."""
    return jinja2.filters.do_mark_safe(text)


def _payload(plan: RoundPlan, rows: list[Json], counted: list[Counter]) -> Json:
    settings = plan.site.settings
    monday, sunday = week_days(plan.week)
    written = settings.reading("visits")
    return {
        "site": settings.name,
        "week": plan.week,
        "monday": str(monday),
        "sunday": str(sunday),
        "day": str(plan.usual_day),
        "file": export_name(plan.week),
        "columns": visit_columns(plan.site),
        "counters": [asdict(each) for each in counted],
        "statuses": list(STATUS_TEXT.items()),
        "decimal": written.decimal,
        "marked": written.encoding is not None,
        "most": LARGEST_COUNT,
        "nights": LONGEST_EXPOSURE_NIGHTS,
        "stops": [{key: row[key] for key in _SENT} for row in rows],
    }


_SENT = ("id", "where", "leg", "set", "recorded", "installed", "removed")


def _stop_rows(plan: RoundPlan) -> list[Json]:
    zones = plan.site.zones.set_index("zone_id")
    lives = plan.site.traps.set_index("location_id")[["installed", "removed"]]
    stops = pd.DataFrame(plan.stops.drop(columns="geometry")).join(lives, on="location_id")
    records = stops.to_dict("records")
    return [
        _stop_row(record, leg, zones) for record, leg in zip(records, leg_texts(plan), strict=True)
    ]


def _stop_row(record: Mapping[Hashable, Any], leg: str, zones: pd.DataFrame) -> Json:
    zone = record["zone_id"]
    where = "outside every zone"
    if not pd.isna(zone):
        where = f"{zone}, {use_text(str(zones.loc[zone, 'use']))}"
    return {
        "id": str(record["trap_id"]),
        "where": f"{record['design']}, {where}",
        "design": str(record["design"]),
        "zone": "" if pd.isna(zone) else str(zone),
        "leg": leg,
        "set": _iso(record["set_on"]),
        "set_text": _short(record["set_on"]),
        "recorded": _iso(record["recorded_on"]),
        "installed": _iso(record["installed"]),
        "removed": _iso(record["removed"]),
    }


def _iso(day: Any) -> str:
    return "" if pd.isna(day) else str(day.date())


def _short(day: Any) -> str:
    return "" if pd.isna(day) else f"{day.day} {_MONTHS[day.month - 1]}"
