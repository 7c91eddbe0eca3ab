"""The round sheet as text: what it holds, what it escapes, and the columns of its file."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import shapely
from languages import EN
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site

from data.findings import SettingsError
from data.reading import read_site
from data.settings import RoundSettings
from data.site import Site
from maps.sheet import counters, round_sheet, visit_columns
from maps.sheet_plan import plan_svg
from maps.sheet_words import leg_texts, route_notes, route_sentence
from scripts import cli
from spatial.round_plan import RoundPlan, plan_round

HOSTILE_NAME = '</script><script>alert(1)</script> & "Green" {{ 7*7 }}'


def planned(folder: Path, **parts: Any) -> RoundPlan:
    return plan_round(read_site(make_site(folder, **parts)))


def data_of(html: str) -> dict[str, Any]:
    """Return what the page hands to its script."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    loaded: dict[str, Any] = json.loads(found[1])
    return loaded


def table_text(rows: list[list[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()


def test_equal_rounds_give_equal_pages(tmp_path: Path) -> None:
    assert round_sheet(planned(tmp_path / "a"), ",", EN) == round_sheet(
        planned(tmp_path / "b"), ",", EN
    )


def test_the_page_fetches_nothing_and_runs_only_its_own_scripts(tmp_path: Path) -> None:
    html = round_sheet(planned(tmp_path / "site"), ",", EN)
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', html)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'; ")
    assert policy[1].count("'sha256-") == html.count("<script>") == 1
    assert re.search(r"\s(src|href|on\w+)\s*=", html.partition("<script")[0]) is None
    assert "://" not in html


def test_text_of_the_site_is_escaped_wherever_it_stands(tmp_path: Path) -> None:
    settings = SETTINGS.replace('name = "Kestwick Green"', f"name = {json.dumps(HOSTILE_NAME)}")
    html = round_sheet(planned(tmp_path / "site", settings=settings), ",", EN)
    assert html.count("<script") == 2
    assert data_of(html)["site"] == HOSTILE_NAME
    assert "{{ 7*7 }}" in html
    assert "&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt; &amp; &#34;Green&#34;" in html


def test_paper_and_phone_list_the_traps_in_the_same_walking_order(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site")
    html = round_sheet(plan, ",", EN)
    printed = re.findall(r'<th scope="row" class="id">([^<]+)<', html)
    tapped = [stop["id"] for stop in data_of(html)["stops"]]
    assert printed == tapped == plan.stops["trap_id"].tolist()
    assert html.count('<td class="box"><i></i></td>') == 16 * 6


def test_the_length_the_minutes_and_the_cautions_are_on_the_sheet(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site")
    html = round_sheet(plan, ",", EN)
    assert html.count(route_sentence(plan, EN)) == 2
    assert "No digging on this round" in html
    assert "Animal-safe fluid only" in html
    assert "marked for mower crews" in html


def test_the_columns_of_the_file_are_those_of_the_sites_visits(tmp_path: Path) -> None:
    """Names, order and columns that nobody reads are kept."""
    rows = csv_tables()["visits.csv"]
    rows = [["", *row[1:], row[0]] for row in rows]
    for number, row in enumerate(rows):
        row[0] = "Observer" if number == 0 else ""
    rows[0][-1] = "Trap no."
    settings = SETTINGS + '[columns.visits]\n"Trap no." = "trap_id"\n'
    plan = planned(tmp_path / "site", settings=settings, files={"visits.csv": table_text(rows)})
    assert [header for header, _ in visit_columns(plan.site)] == rows[0]
    assert data_of(round_sheet(plan, ",", EN))["columns"][-1] == ["Trap no.", "trap_id"]


@pytest.mark.parametrize("long", [False, True], ids=["wide", "long"])
def test_a_site_without_headers_gets_the_columns_its_settings_tell(
    tmp_path: Path, long: bool
) -> None:
    """A site that was not read from files, as other programs may build one."""
    settings = LONG_SETTINGS if long else SETTINGS
    files = {"visits.csv": long_visits()} if long else {}
    site = replace(
        read_site(make_site(tmp_path / "site", settings=settings, files=files)), visit_headers={}
    )
    counts = ["species", "adults"] if long else ["parvulus", "venatus"]
    names = ["trap_id", "set_on", "checked_on", "status", *counts, "carabids", "minutes", "note"]
    assert [header for header, _ in visit_columns(site) if header in names] == names


def test_fields_for_minutes_and_note_are_shown_only_if_the_visits_have_them(
    tmp_path: Path,
) -> None:
    """The long visits have neither column, so nothing could be kept of them."""
    wide = round_sheet(planned(tmp_path / "wide"), ",", EN)
    files = {"visits.csv": long_visits()}
    long = round_sheet(planned(tmp_path / "long", settings=LONG_SETTINGS, files=files), ",", EN)
    assert ('id="minutes"' in wide, 'id="note"' in wide) == (True, True)
    assert ('id="minutes"' in long, 'id="note"' in long) == (False, False)


def test_every_species_column_must_be_counted_and_by_catch_may_be_left(tmp_path: Path) -> None:
    site = planned(tmp_path / "site").site
    found = [(each.name, each.label, each.kind, each.required) for each in counters(site)]
    assert found == [
        ("parvulus", "Sphenophorus parvulus", "column", True),
        ("venatus", "Sphenophorus venatus", "column", True),
        ("carabids", "carabids", "bycatch", False),
    ]


def test_two_columns_of_one_species_are_told_apart(tmp_path: Path) -> None:
    settings = SETTINGS.replace('venatus = "Sphenophorus venatus"', 'venatus = "S. parvulus"')
    settings = settings.replace('parvulus = "Sphenophorus parvulus"', 'parvulus = "S. parvulus"')
    settings = re.sub(r"target_species = .*", 'target_species = ["S. parvulus"]', settings)
    site = planned(tmp_path / "site", settings=settings).site
    labels = [each.label for each in counters(site)][:2]
    assert labels == ["S. parvulus (parvulus)", "S. parvulus (venatus)"]


def test_rows_per_species_count_the_targets_and_what_else_was_ever_named(tmp_path: Path) -> None:
    settings = LONG_SETTINGS.replace(', "Sphenophorus venatus"', "")
    files = {"visits.csv": long_visits()}
    site = planned(tmp_path / "site", settings=settings, files=files).site
    found = [(each.name, each.required) for each in counters(site)]
    assert found == [
        ("Sphenophorus parvulus", True),
        ("Sphenophorus venatus", False),
        ("carabids", False),
    ]


def test_a_site_without_any_species_is_refused(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site")
    nothing = replace(plan.site.settings, target_species=(), species_columns={})
    site: Site = replace(plan.site, settings=nothing, catches=plan.site.catches.iloc[:0])
    with pytest.raises(SettingsError, match="no species to count; name them in target_species"):
        counters(site)


def test_the_paper_has_a_column_for_minutes_and_for_notes_only_if_the_visits_have(
    tmp_path: Path,
) -> None:
    wide = round_sheet(planned(tmp_path / "wide"), ",", EN)
    files = {"visits.csv": long_visits()}
    long = round_sheet(planned(tmp_path / "long", settings=LONG_SETTINGS, files=files), ",", EN)
    for words in ("<span>minutes</span>", '<th scope="col">Note</th>'):
        assert (words in wide, words in long) == (True, False)
    for html in (wide, long):
        head = re.search(r"<thead>(.*?)</thead>", html, re.DOTALL)
        rows = re.findall(r"<tr><td class=.n.>.*?</tr>", html, re.DOTALL)
        assert head is not None
        assert {len(re.findall(r"<t[dh]", row)) for row in rows} == {head[1].count("<th scope")}


def test_each_leg_says_how_far_and_which_way(tmp_path: Path) -> None:
    """T01 to T03 stand in a row, 0.0003 degrees of longitude apart: 25.6 m at 40 degrees north."""
    plan = planned(tmp_path / "site", settings='units = "metric"\n' + SETTINGS)
    legs = dict(zip(plan.stops["trap_id"], leg_texts(plan, EN), strict=True))
    assert legs[plan.start_trap] == "start"
    assert "26 m E of T01" in legs.values() or "26 m W of T03" in legs.values()


def test_notes_tell_of_unreachable_traps_and_of_a_week_that_was_walked(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site")
    assert route_notes(plan, EN) == []
    lost = plan.stops.assign(reachable=plan.stops["trap_id"] != "T05")
    assert route_notes(replace(plan, stops=lost), EN) == [
        "No path round the obstacles leads to T05: at the end, without a length."
    ]
    assert leg_texts(replace(plan, stops=lost), EN).count("no path on the map") == 1
    walked = plan_round(plan.site, "2026-W19")
    assert route_notes(walked, EN) == [
        "16 traps of 16 already have a visit in this week; a second one would be set aside."
    ]
    assert route_notes(replace(plan, blocked_start=True, start_trap="T05"), EN) == [
        "No path leads from the start point in site.toml; the round starts at the nearest trap, "
        "T05."
    ]


def test_traps_whose_row_is_set_aside_are_named_on_the_sheet(tmp_path: Path) -> None:
    """T05 has no design, T07 no id of its own any more, one row of T16 is left."""
    cells = {
        ("traps.csv", 6, "design"): "",
        ("traps.csv", 8, "longitude"): "far",
        ("traps.csv", 18, "design"): "",
    }
    plan = planned(tmp_path / "site", cells=cells)
    note = (
        "Not on this sheet: T05, T07, T16, of which a row in the traps is set aside with a mistake."
    )
    assert note in route_notes(plan, EN)
    html = round_sheet(plan, ",", EN)
    assert html.count(note) == 2
    assert "T05" not in plan.stops["trap_id"].tolist()


@pytest.mark.parametrize(
    ("units", "text"), [("us", "1.2 miles on foot"), ("metric", "2.0 km on foot")]
)
def test_the_route_is_told_in_the_units_of_the_site(tmp_path: Path, units: str, text: str) -> None:
    plan = planned(tmp_path / "site", settings=f'units = "{units}"\n' + SETTINGS)
    plan = replace(plan, length_m=2000.0, minutes=75.0)
    assert text in route_sentence(plan, EN)
    assert "about 1 h 15 min" in route_sentence(plan, EN)
    speed = "at 2.5 mph" if units == "us" else "at 4 km/h"
    assert speed in route_sentence(plan, EN)
    assert plan.site.settings.round == RoundSettings()


def test_the_plan_shows_every_trap_the_obstacles_a_scale_and_north(tmp_path: Path) -> None:
    svg = plan_svg(planned(tmp_path / "site"), EN)
    assert svg.count('class="stop"') == 16
    assert [int(n) for n in re.findall(r">(\d+)</text></g>", svg)] == list(range(1, 17))
    assert svg.count('class="p-zone"') == 6
    assert " ft</text>" in svg
    assert 'class="p-north"' in svg
    spots = re.findall(r'<text x="([\d.]+)" y="([\d.]+)">\d+<', svg)
    assert len(set(spots)) == 16


@pytest.mark.parametrize("span_m", [20.0, 300.0, 5000.0])
def test_no_trap_and_no_number_is_under_the_north_arrow_or_the_scale(
    tmp_path: Path, span_m: float
) -> None:
    """Traps stand in all corners of the plan, which its two signs once shared with them."""
    plan = planned(tmp_path / "site")
    x, y = plan.start_m
    corners = [(x + east * span_m, y + north * span_m) for north in (0, 1) for east in (0, 1)]
    places = [corners[n % 4] for n in range(len(plan.stops))]
    stops = plan.stops.set_geometry(shapely.points(places), crs=plan.stops.crs)
    svg = plan_svg(replace(plan, stops=stops), EN)
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert box is not None
    foot = float(box[2]) - 6.0
    signs = re.search(r'<g class="p-key">(.*)</g>', svg)
    assert signs is not None
    north = re.search(r'class="p-north" d="M([\d.]+) ([\d.]+)l', signs[1])
    scale = re.search(r'class="p-scale" d="M2 ([\d.]+)V', signs[1])
    assert north is not None
    assert scale is not None
    assert min(float(north[2]), float(scale[1])) >= foot
    dots = re.findall(r'<circle cx="[\d.]+" cy="([\d.]+)" r=".9"/>', svg)
    numbers = re.findall(r'<text x="([\d.]+)" y="([\d.]+)">\d+</text>', svg)
    assert len(dots) == len(numbers) == 16
    assert max(float(cy) for cy in dots) + 0.9 <= foot
    assert max(float(y) for _, y in numbers) <= foot


def test_errors_stop_the_sheet_unless_it_may_go_on_without_those_rows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site", cells={("traps.csv", 6, "design"): ""})
    out = tmp_path / "out"
    assert cli.run(["sheet", str(site), "--out", str(out)]) == 3
    assert "nothing was written" in capsys.readouterr().err
    assert not out.exists()
    assert cli.run(["sheet", str(site), "--out", str(out), "--keep-going"]) == 0
    said = capsys.readouterr()
    assert "Not on this sheet: T05" in said.out
    assert "Of 157 rows in the files, 152 are used and 5 are set aside with a mistake" in said.out
    assert "row set aside: traps.csv row 6, column design" in said.err
    assert sorted(path.name for path in out.iterdir()) == ["round-sheet.html", "set-aside.csv"]
    assert (out / "set-aside.csv").read_text(encoding="utf-8").count("\n") == 1 + 5


def test_the_command_writes_the_sheet_and_reads_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(tmp_path / "site")
    before = {path.name: path.read_bytes() for path in site.iterdir()}
    out = tmp_path / "out"
    assert cli.run(["sheet", str(site), "--week", "2026-W20", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "Round of week 2026-W20: 16 traps, " in said
    assert said.splitlines()[-1] == str(out / "round-sheet.html")
    assert [path.name for path in out.iterdir()] == ["round-sheet.html"]
    assert {path.name: path.read_bytes() for path in site.iterdir()} == before


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--week", "2026-19"], "week '2026-19' is not an ISO 8601 week"),
        (["--week", "2020-W10"], "no trap is in use in week 2020-W10"),
        (["--out", "."], "is the site's own folder"),
    ],
)
def test_a_wrong_option_ends_with_code_2_and_writes_nothing(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    message: str,
) -> None:
    site = make_site(tmp_path / "site")
    monkeypatch.chdir(site)
    assert cli.run(["sheet", str(site), *arguments]) == 2
    assert message in capsys.readouterr().err
    assert not list(tmp_path.rglob("round-sheet.html"))
