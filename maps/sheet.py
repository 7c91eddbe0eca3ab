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
from maps.catalogue import Catalogue
from maps.offline import policy_tag, refuse_links
from maps.page import template_text
from maps.payload import Json, json_text
from maps.script_words import script_words
from maps.sheet_plan import key_svg, plan_svg
from maps.sheet_words import leg_texts, route_notes, route_sentence, status_texts
from maps.weeks import week_days, week_number
from spatial.round_plan import RoundPlan

_POLICY_PLACE = "<!-- policy -->"

_SAID = ("sheet_trap", "sheet_void", "sheet_doubt", "sheet_open", "sheet_kept")
"""Sections of the language file that the script says."""


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


def round_sheet(plan: RoundPlan, delimiter: str, lang: Catalogue) -> str:
    """Return the round sheet of a week.

    Parameters
    ----------
    plan
        The round to be walked.
    delimiter
        What separates the columns of the file that the sheet saves: that of the site's visits.
    lang
        Language of what is read; the file that the sheet saves is the same in every language.

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
    parts = _parts(plan, delimiter, lang)
    html = environment.from_string(template_text("sheet.html")).render(parts)
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


def _parts(plan: RoundPlan, delimiter: str, lang: Catalogue) -> Json:
    site = plan.site
    rows = _stop_rows(plan, lang)
    counted = counters(site)
    payload = _payload(plan, rows, counted)
    texts = {"statuses": status_texts(lang), "words": script_words(lang, *_SAID)}
    data = json_text({**payload, **texts, "delimiter": delimiter})
    return {
        "lang": lang,
        "say": lang.say,
        "site": site.settings.name,
        "week": plan.week,
        # A number of the year, not a count.
        "number": str(week_number(plan.week)),
        "span": lang.span(*week_days(plan.week)),
        "route": route_sentence(plan, lang),
        "notes": route_notes(plan, lang),
        "stops": rows,
        "counters": counted,
        "statuses": texts["statuses"],
        "columns": {ours for _, ours in visit_columns(site)},
        "file": payload["file"],
        "plan": _safe(plan_svg(plan, lang)),
        "key": _safe(key_svg(plan, lang)),
        "css": _safe(template_text("sheet.css")),
        "data": _safe(f'<script type="application/json" id="data">{data}</script>'),
        "script": _safe(f"<script>{template_text('say.js')}{template_text('sheet.js')}</script>"),
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
        "decimal": written.decimal,
        "marked": written.encoding is not None,
        "most": LARGEST_COUNT,
        "nights": LONGEST_EXPOSURE_NIGHTS,
        "stops": [{key: row[key] for key in _SENT} for row in rows],
    }


_SENT = ("id", "where", "leg", "set", "recorded", "installed", "removed")


def _stop_rows(plan: RoundPlan, lang: Catalogue) -> list[Json]:
    zones = plan.site.zones.set_index("zone_id")
    lives = plan.site.traps.set_index("location_id")[["installed", "removed"]]
    stops = pd.DataFrame(plan.stops.drop(columns="geometry")).join(lives, on="location_id")
    records = stops.to_dict("records")
    legs = leg_texts(plan, lang)
    return [
        {**_stop_row(record), "where": _where(record, zones, lang), "leg": leg}
        | {"set_text": _short(record["set_on"], lang)}
        for record, leg in zip(records, legs, strict=True)
    ]


def _where(record: Mapping[Hashable, Any], zones: pd.DataFrame, lang: Catalogue) -> str:
    zone, design = record["zone_id"], str(record["design"])
    if pd.isna(zone):
        return lang.say("sheet_leg.where_outside", design=design)
    use = lang.use(str(zones.loc[zone, "use"]))
    return lang.say("sheet_leg.where", design=design, zone=str(zone), use=use)


def _stop_row(record: Mapping[Hashable, Any]) -> Json:
    zone = record["zone_id"]
    return {
        "id": str(record["trap_id"]),
        "design": str(record["design"]),
        "zone": "" if pd.isna(zone) else str(zone),
        "set": _iso(record["set_on"]),
        "recorded": _iso(record["recorded_on"]),
        "installed": _iso(record["installed"]),
        "removed": _iso(record["removed"]),
    }


def _iso(day: Any) -> str:
    return "" if pd.isna(day) else str(day.date())


def _short(day: Any, lang: Catalogue) -> str:
    return "" if pd.isna(day) else lang.short_day(day.date())
