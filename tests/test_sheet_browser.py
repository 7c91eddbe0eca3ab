"""The round sheet in a real browser the size of a phone: every tap, and the file read back."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from phones import NO_STORAGE, SMALL_ROUND, Phones, opened_phones, saved, small_plan
from playwright.sync_api import Browser, Page
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site

from data.dialects import visits_delimiter
from data.reading import read_site
from data.site import Site
from maps.palette import contrast
from spatial.round_plan import plan_round

pytestmark = pytest.mark.browser

MONDAY_ROUND = "2026-06-01T09:00:00"
"""A Monday in week 23, the week after the demo's last visit."""

SAVED_BYCATCH = ("carabids", "spiders")


@pytest.fixture
def phones(browser: Browser, tmp_path: Path) -> Iterator[Phones]:
    with opened_phones(browser, tmp_path) as used:
        yield used


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def with_rows(site: Path, copy: Path, text: str) -> Site:
    """Read a copy of a site whose visits end with the saved rows."""
    shutil.copytree(site, copy)
    visits = copy / "visits.csv"
    header, _, rows = text.removeprefix("\ufeff").partition("\n")
    old = visits.read_text(encoding="utf-8")
    assert header == old.splitlines()[0]
    visits.write_text(old + rows, encoding="utf-8")
    return read_site(copy)


def open_demo(root: Path, folder: Path) -> Path:
    """Copy the demo with its two retired traps back in use, so that all 72 are walked."""
    shutil.copytree(root / "data" / "demo" / "site", folder)
    traps = folder / "traps.csv"
    lines = traps.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        cells = line.split(",")
        if cells[0] in ("T08", "T62"):
            lines[number] = ",".join([*cells[:5], "", *cells[6:]])
    traps.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with (folder / "visits.csv").open("a", encoding="utf-8") as visits:
        for trap in ("T08", "T62"):
            visits.write(f"{trap},2026-05-18,2026-05-25,ok,0,0,0,,,,\n")
    return folder


@dataclass
class Tapped:
    """What the scout meant to record at one trap."""

    trap: str
    status: str = "ok"
    counts: tuple[int, ...] = (0, 0, 0, 0, 0)
    minutes: str = ""
    note: str = ""


def meant(trap: str, number: int) -> Tapped:
    """Return what is found at the trap of that place in the order: every kind of visit."""
    kinds = {
        1: Tapped(trap, counts=(number % 4 + 1, 0, 0, 0, 0)),
        2: Tapped(trap, counts=(1, 2, 0, 3, number % 3), minutes="2"),
        4: Tapped(trap, status=("flooded", "disturbed", "missing", "covered")[number // 8 % 4]),
        5: Tapped(trap, counts=(37, 0, 0, 0, 0), note='many, "first" wave; 100 % = full'),
        7: Tapped(trap, status="not_checked", note="gate locked"),
    }
    return kinds.get(number % 8, Tapped(trap))


def tap_in(page: Page, one: Tapped) -> None:
    """Record one trap as a scout does, then go on to the next."""
    assert page.locator("#trap-id").inner_text() == one.trap
    if one.status != "ok":
        page.tap(f'[data-status="{one.status}"]')
    else:
        for place, count in enumerate(one.counts):
            row = page.locator(f'[data-counter="{place}"]')
            if count > 9:
                row.locator("input").fill(str(count))
            else:
                for _ in range(count):
                    row.locator(".more").tap()
        page.tap("#zero")
    for _ in range(int(one.minutes or 0)):
        page.tap("#minutes-row .more")
    if one.note:
        page.fill("#note", one.note)
    page.tap("#next")


def test_a_round_of_72_traps_survives_a_reload_and_reads_back_as_it_was_tapped(
    phones: Phones, root: Path, tmp_path: Path
) -> None:
    site = open_demo(root, tmp_path / "demo")
    before = read_site(site)
    plan = plan_round(before)
    assert (plan.week, len(plan.stops)) == ("2026-W23", 72)
    page = phones.open(plan, MONDAY_ROUND)
    round_ = [meant(str(trap), number) for number, trap in enumerate(plan.stops["trap_id"])]
    for one in round_[:36]:
        tap_in(page, one)
    page.reload()
    assert page.locator("#progress").inner_text() == "36 of 72"
    for one in round_[36:]:
        tap_in(page, one)
    assert page.locator("#progress").inner_text() == "72 of 72"
    after = with_rows(site, tmp_path / "back", saved(page))
    assert after.findings == before.findings
    assert_equal_to_taps(after, before, round_)


def assert_equal_to_taps(after: Site, before: Site, round_: list[Tapped]) -> None:
    """Compare the new visits with what was tapped: status, dates, counts, minutes, notes."""
    new = after.visits[after.visits["checked_on"].astype(str) == "2026-06-01"]
    new = new.set_index("trap_id")
    assert len(after.visits) - len(before.visits) == len(new) == len(round_) == 72
    last = plan_round(before).stops.set_index("trap_id")["set_on"]
    assert new["set_on"].to_dict() == last.to_dict()
    found = {
        trap: Tapped(
            str(trap),
            str(visit["status"]),
            counts_of(after, str(visit["visit_id"])),
            "" if visit["minutes"] != visit["minutes"] else f"{visit['minutes']:g}",
            str(visit["note"]),
        )
        for trap, visit in new.iterrows()
    }
    void = (-1, -1, -1, -1, -1)
    for one in round_:
        one.counts = one.counts if one.status == "ok" else void
    assert found == {one.trap: one for one in round_}


def counts_of(site: Site, visit: str) -> tuple[int, ...]:
    """Return the counts of a visit, target species first; -1 where none was kept."""
    adults = site.catches[site.catches["visit_id"] == visit].set_index("species")["adults"]
    others = site.bycatch[site.bycatch["visit_id"] == visit].set_index("taxon")["count"]
    return (
        *(int(adults.get(name, -1)) for name in site.settings.target_species),
        *(int(others.get(name, -1)) for name in SAVED_BYCATCH),
    )


def test_an_untouched_trap_has_no_row_and_less_than_blank_stays_blank(
    phones: Phones, tmp_path: Path
) -> None:
    plan = small_plan(tmp_path / "site")
    page = phones.open(plan)
    page.tap('[data-counter="0"] .less')
    page.tap("#next")
    page.tap("#zero")
    rows = rows_of(saved(page))
    assert [row["trap_id"] for row in rows] == [plan.stops["trap_id"].iloc[1]]
    assert page.locator("#sum").inner_text() == (
        "1 of 16 traps are in the file. 15 untouched: no row, for blank is not zero."
    )


def test_an_unfinished_trap_stays_out_of_the_file_and_is_told(
    phones: Phones, tmp_path: Path
) -> None:
    """A count of one species says nothing about the other."""
    plan = small_plan(tmp_path / "site")
    first = str(plan.stops["trap_id"].iloc[0])
    page = phones.open(plan)
    page.tap('[data-counter="0"] .more')
    page.tap('[data-go="file"]')
    assert page.locator("#save").is_disabled()
    told = page.locator("#open button")
    assert told.inner_text() == f"{first}: no count: Sphenophorus venatus"
    told.tap()
    assert page.locator("#zero").inner_text() == "0 for the rest"
    page.tap("#zero")
    assert [row["parvulus"] + row["venatus"] for row in rows_of(saved(page))] == ["10"]


@pytest.mark.parametrize("text", ["-3", "2.5", "5001", "many"])
def test_what_is_no_count_is_shown_and_kept_out(phones: Phones, tmp_path: Path, text: str) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    page.fill("#count-0", text)
    assert page.locator("#count-0").get_attribute("aria-invalid") == "true"
    assert page.locator("#progress").inner_text() == "0 of 16"
    page.fill("#count-0", "5000")
    assert page.locator("#progress").inner_text() == "1 of 16"


def test_a_void_trap_keeps_its_counts_out_of_the_file(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap('[data-counter="0"] .more')
    page.tap("#zero")
    page.tap('[data-status="flooded"]')
    assert "what was tapped stays out of the file" in page.locator("#void").inner_text()
    (row,) = rows_of(saved(page))
    assert (row["status"], row["parvulus"], row["venatus"]) == ("flooded", "", "")


def test_dates_that_cannot_be_are_asked_for(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    page.fill("#checked-on", "2026-05-04")
    assert "must be checked after the day it was set" in page.locator("#doubt").inner_text()
    assert page.locator("#progress").inner_text() == "0 of 16"
    page.fill("#checked-on", "2026-05-12")
    page.fill("#set-on", "2026-04-20")
    assert "22 nights; more than 14 are set aside" in page.locator("#doubt").inner_text()
    page.fill("#set-on", "2026-05-05")
    assert page.locator("#doubt").is_hidden()
    (row,) = rows_of(saved(page))
    assert (row["set_on"], row["checked_on"]) == ("2026-05-05", "2026-05-12")


def test_a_round_may_take_two_days_and_may_be_typed_in_later(
    phones: Phones, tmp_path: Path
) -> None:
    """Each trap keeps the day it was tapped; after the week, the day last chosen goes on."""
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    page.clock.set_fixed_time("2026-05-12T09:00:00")
    page.tap("#next")
    page.tap("#zero")
    page.clock.set_fixed_time("2026-05-20T09:00:00")
    page.tap("#next")
    assert page.locator("#checked-on").input_value() == "2026-05-11"
    page.fill("#checked-on", "2026-05-13")
    page.tap("#zero")
    page.tap("#next")
    page.tap("#zero")
    days = [row["checked_on"] for row in rows_of(saved(page))]
    assert days == ["2026-05-11", "2026-05-12", "2026-05-13", "2026-05-13"]


def test_a_trap_is_cleared_and_brought_back(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    page.tap("#wipe")
    assert page.locator("#progress").inner_text() == "0 of 16"
    page.tap("#wipe")
    assert page.locator("#progress").inner_text() == "1 of 16"


def test_all_entries_go_only_after_a_second_tap(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    page.tap('[data-go="file"]')
    page.tap("#erase")
    page.tap("#erase-no")
    assert page.locator("#progress").inner_text() == "1 of 16"
    page.tap("#erase")
    page.tap("#erase-yes")
    page.reload()
    assert page.locator("#progress").inner_text() == "0 of 16"


def test_by_catch_that_is_not_counted_is_blank_not_zero(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap('[data-go="file"]')
    page.uncheck("#bycatch")
    page.tap('[data-go="trap"]')
    assert page.locator('[data-counter="2"]').is_hidden()
    page.tap("#zero")
    (row,) = rows_of(saved(page))
    assert (row["parvulus"], row["carabids"]) == ("0", "")


def test_a_browser_that_keeps_nothing_says_so_and_still_counts(
    phones: Phones, tmp_path: Path
) -> None:
    page = phones.open(small_plan(tmp_path / "site"), script=NO_STORAGE)
    assert "does not keep entries" in page.locator("#loud").inner_text()
    page.tap("#zero")
    assert len(rows_of(saved(page))) == 1


def test_entries_that_cannot_be_read_are_set_aside_not_lost(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    key = "snoutline round Kestwick Green 2026-W20"
    page.evaluate("([key]) => localStorage.setItem(key, '{broken')", [key])
    page.reload()
    assert "could not be read" in page.locator("#loud").inner_text()
    kept = page.evaluate("([key]) => localStorage.getItem(key + ' unreadable')", [key])
    assert kept == "{broken"


def test_the_same_round_in_two_tabs_loses_nothing(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    other = page.context.new_page()
    other.clock.install(time=SMALL_ROUND)
    phones.watch(other, page.url)
    other.goto(page.url)
    page.tap("#zero")
    other.wait_for_function("document.getElementById('progress').textContent === '1 of 16'")
    other.tap("#next")
    other.tap("#zero")
    page.wait_for_function("document.getElementById('progress').textContent === '2 of 16'")


def test_a_week_that_was_walked_is_told_at_each_trap(phones: Phones, tmp_path: Path) -> None:
    plan = plan_round(read_site(make_site(tmp_path / "site")), "2026-W19")
    page = phones.open(plan, "2026-05-04T09:00:00")
    assert "already hold a check of this trap on 2026-05-04" in page.locator("#doubt").inner_text()
    page.tap('[data-go="list"]')
    assert page.locator("#stops em").all_inner_texts() == ["recorded"] * 16


def test_rows_per_species_are_read_back(phones: Phones, tmp_path: Path) -> None:
    """One row for each species, also for zero; by-catch once a visit."""
    site = make_site(tmp_path / "site", settings=LONG_SETTINGS, files={"visits.csv": long_visits()})
    before = read_site(site)
    plan = plan_round(before)
    page = phones.open(plan)
    page.tap('[data-counter="1"] .more')
    page.tap('[data-counter="2"] .more')
    page.tap("#zero")
    page.tap("#next")
    page.tap('[data-status="missing"]')
    text = saved(page)
    first, second = (str(trap) for trap in plan.stops["trap_id"][:2])
    assert text.splitlines()[1:] == [
        f"{first},2026-05-04,2026-05-11,ok,Sphenophorus parvulus,0,1",
        f"{first},2026-05-04,2026-05-11,ok,Sphenophorus venatus,1,",
        f"{second},2026-05-04,2026-05-11,missing,,,",
    ]
    after = with_rows(site, tmp_path / "back", text)
    assert after.findings == before.findings
    new = after.visits[after.visits["checked_on"].astype(str) == "2026-05-11"]
    assert new.set_index("trap_id")["adults"].dropna().to_dict() == {first: 1.0}
    assert after.bycatch["count"].sum() == before.bycatch["count"].sum() + 1


HOSTILE = (
    "<img src=x onerror=alert(1)>",
    'T "quoted", with comma',
    "${7*7} {{7*7}} </script>",
    "__proto__",
    "\u0391\u03b2\u03b3 \u0645\u0631\u062d\u0628\u0627",
)


def hostile_site(folder: Path) -> Path:
    """Write a site whose ids, names and columns try to break out of the page."""
    tables = csv_tables()
    names = {f"T{n:02d}": text for n, text in enumerate(HOSTILE, start=1)}
    for name in ("traps.csv", "visits.csv"):
        for row in tables[name]:
            row[0] = names.get(row[0], row[0])
    column = "<b onclick=alert(2)>parvulus</b>"
    tables["visits.csv"][0][4] = column
    settings = SETTINGS.replace("parvulus =", f'"{column}" =')
    settings = settings.replace("Kestwick Green", "<script>alert(3)</script> & Sons")
    texts = {name: csv_lines(tables[name]) for name in ("traps.csv", "visits.csv")}
    zone = {("zones.geojson", 1, "use"): "<u>green</u>"}
    return make_site(folder, settings=settings, files=texts, cells=zone)


def csv_lines(rows: list[list[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue()


def test_hostile_text_is_shown_as_it_is_and_read_back(phones: Phones, tmp_path: Path) -> None:
    site = hostile_site(tmp_path / "site")
    before = read_site(site)
    plan = plan_round(before)
    page = phones.open(plan)
    assert page.locator(".name").first.inner_text() == "<script>alert(3)</script> & Sons"
    shown = []
    for number, trap in enumerate(plan.stops["trap_id"]):
        shown.append(page.locator("#trap-id").inner_text())
        assert shown[-1] == trap
        page.fill("#note", f'=1+1, "{trap}"' if number % 2 else f"<i>{trap}</i>")
        page.tap("#zero")
        page.tap("#next")
    assert set(HOSTILE) < set(shown)
    page.tap('[data-go="list"]')
    assert page.get_by_text("cup, Z1, <u>green</u>").count() == 3
    assert page.locator("main img, main script, main b[onclick], .paper img").count() == 0
    after = with_rows(site, tmp_path / "back", saved(page))
    assert after.findings == before.findings
    new = after.visits[after.visits["checked_on"].astype(str) == "2026-05-11"]
    notes = new.set_index("trap_id")["note"].to_dict()
    for number, trap in enumerate(plan.stops["trap_id"]):
        assert notes[trap] == (f'=1+1, "{trap}"' if number % 2 else f"<i>{trap}</i>")


FORMULAS = ("=T03", "-2", "@home", "+1")


def test_no_cell_of_the_file_is_a_formula_and_all_read_back_as_they_were(
    phones: Phones, tmp_path: Path
) -> None:
    """Ids, species and notes that a spreadsheet would calculate; once `'-2` came back for `-2`."""
    tables = csv_tables()
    names = {f"T{n:02d}": text for n, text in enumerate(FORMULAS, start=1)}
    for name in ("traps.csv", "visits.csv"):
        for row in tables[name]:
            row[0] = names.get(row[0], row[0])
    tables["visits.csv"][0][4] = "=parvulus"
    settings = SETTINGS.replace("parvulus =", '"=parvulus" =')
    files = {name: csv_lines(tables[name]) for name in ("traps.csv", "visits.csv")}
    site = make_site(tmp_path / "site", settings=settings, files=files)
    before = read_site(site)
    plan = plan_round(before)
    page = phones.open(plan)
    for number, _ in enumerate(plan.stops["trap_id"]):
        page.fill("#note", FORMULAS[number % 4] + " \u00b0C")
        page.tap("#zero")
        page.tap("#next")
    text = saved(page)
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert [cell for cell in cells if cell[:1] in set("=+-@\t")] == []
    after = alone(site, tmp_path / "back", text, "visits.csv")
    assert [each for each in after.findings if each.severity == "error"] == []
    new = after.visits.set_index("trap_id")
    assert set(new.index) == set(plan.stops["trap_id"]) > set(FORMULAS)
    for number, trap in enumerate(plan.stops["trap_id"]):
        assert new.loc[trap, "note"] == FORMULAS[number % 4] + " \u00b0C"


GERMAN = (
    SETTINGS.replace("parvulus =", '"K\u00e4fer" =')
    + """
[files]
visits = "Faenge.csv"
[read.visits]
decimal = ","
"""
)


def german_site(folder: Path, more: str) -> Path:
    """Write a site whose visits are separated by semicolons and not in UTF-8."""
    rows = csv_tables()["visits.csv"]
    rows[0][4] = "K\u00e4fer"
    for row in rows:
        row[7] = row[7].replace(".", ",")
    content = "\n".join(";".join(row) for row in rows).encode("windows-1252") + b"\n"
    files = {"visits.csv": None, "Faenge.csv": content}
    return make_site(folder, settings=GERMAN + more, files=files)


def alone(site: Path, copy: Path, text: str, name: str) -> Site:
    """Read a copy of a site whose visits are the saved file alone."""
    shutil.copytree(site, copy)
    (copy / name).write_bytes(text.encode("utf-8"))
    return read_site(copy)


@pytest.mark.parametrize("more", ["", 'encoding = "windows-1252"\n'], ids=["guessed", "declared"])
def test_the_file_has_the_delimiter_of_the_visits_and_says_its_encoding(
    phones: Phones, tmp_path: Path, more: str
) -> None:
    site = german_site(tmp_path / "site", more)
    before = read_site(site)
    plan = plan_round(before)
    page = phones.open(plan, delimiter=visits_delimiter(site, before))
    page.fill("#minutes", "1.3")
    for way, shown in (("more", "2,3"), ("less", "1,3"), ("more", "2,3")):
        page.tap(f"#minutes-row .{way}")
        assert page.input_value("#minutes") == shown
    page.tap('[data-counter="0"] .more')
    page.tap("#zero")
    text = saved(page)
    header, row = text.splitlines()
    first = str(plan.stops["trap_id"].iloc[0])
    assert (
        header == "\ufefftrap_id;set_on;checked_on;status;K\u00e4fer;venatus;carabids;minutes;note"
    )
    assert row == f"{first};2026-05-04;2026-05-11;ok;1;0;0;2,3;"
    after = alone(site, tmp_path / "back", text, "Faenge.csv")
    assert [each for each in after.findings if each.code != "IN-038"] == []
    assert after.visits["adults"].tolist() == [1.0]
    assert after.visits["minutes"].tolist() == [2.3]


def test_plain_letters_need_no_byte_order_mark(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    page.tap("#zero")
    assert saved(page).startswith("trap_id,")


def test_a_trap_that_leaves_its_place_in_the_week_is_doubted_before_the_check_is(
    phones: Phones, tmp_path: Path
) -> None:
    """Each doubt that is shown is a row that the check sets aside, and the other way round."""
    leaves = {("traps.csv", row, "removed"): "2026-05-12" for row in range(2, 17)}
    site = make_site(tmp_path / "site", cells=leaves)
    plan = plan_round(read_site(site))
    page = phones.open(plan)
    told = []
    for number, trap in enumerate(plan.stops["trap_id"]):
        page.fill("#checked-on", "2026-05-12" if number % 2 else "2026-05-13")
        page.tap("#zero")
        if page.locator("#doubt").is_visible():
            assert "left this place on 2026-05-12" in page.locator("#doubt").inner_text()
            told.append(trap)
        page.tap("#next")
    after = with_rows(site, tmp_path / "back", saved(page))
    found = [each for each in after.findings if each.severity == "error"]
    assert {each.code for each in found} == {"IN-033"}
    rows = (tmp_path / "back/visits.csv").read_text().splitlines()
    assert [rows[each.row - 1].split(",")[0] for each in found if each.row] == told
    assert len(told) >= 7


def test_a_set_date_before_the_trap_stood_there_is_doubted(phones: Phones, tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", cells={("traps.csv", 2, "installed"): "2026-05-06"})
    text = (site / "visits.csv").read_text().splitlines()
    kept = [line for line in text if not line.startswith("T01,")]
    (site / "visits.csv").write_text("\n".join(kept) + "\n")
    plan = plan_round(read_site(site))
    page = phones.open(plan)
    page.tap('[data-go="list"]')
    page.locator("#stops button").nth(plan.stops["trap_id"].tolist().index("T01")).tap()
    assert page.locator("#set-on").input_value() == "2026-05-06"
    assert page.locator("#doubt").is_hidden()
    page.fill("#set-on", "2026-05-05")
    assert "stands here since 2026-05-06" in page.locator("#doubt").inner_text()


@pytest.mark.parametrize("units", ["us", "metric"])
def test_scale_and_north_stay_in_sight_below_the_plan(
    phones: Phones, tmp_path: Path, units: str
) -> None:
    """The plan is wider than the phone; its bar has the length on the screen that it says."""
    site = make_site(tmp_path / "site", settings=f'units = "{units}"\n' + SETTINGS)
    plan = plan_round(read_site(site))
    page = phones.open(plan, width=360)
    page.set_viewport_size({"width": 360, "height": 500})
    page.tap('[data-go="plan"]')
    assert page.locator(".p-key").is_hidden()
    key = page.locator(".plan-key")
    box = key.bounding_box()
    assert box is not None
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 360
    # Also while the plan reaches below the screen.
    assert page.evaluate("document.documentElement.scrollHeight") > 500
    assert box["y"] + box["height"] <= 500
    said = key.locator("text").first.inner_html()
    number, unit = said.split()
    metres = float(number) * {"ft": 0.3048, "m": 1.0}[unit]
    wide = key.locator(".p-scale").bounding_box()
    spots = page.locator(".plan .stop > circle")
    first, last = (spots.nth(n).bounding_box() for n in (0, len(plan.stops) - 1))
    assert wide is not None
    assert first is not None
    assert last is not None
    shown = ((first["x"] - last["x"]) ** 2 + (first["y"] - last["y"]) ** 2) ** 0.5
    ground = plan.stops.geometry.iloc[0].distance(plan.stops.geometry.iloc[-1])
    # The box of the bar holds its stroke, 2 px; that of the dot in hand is larger than the others'.
    assert wide["width"] - 2 == pytest.approx(metres * shown / ground, rel=0.1)


VIEWS = ("trap", "list", "plan", "file")
each_view = pytest.mark.parametrize("view", VIEWS)


def busy_page(phones: Phones, folder: Path, view: str, width: int = 390) -> Page:
    """Open a view in which every kind of entry can be seen."""
    page = phones.open(small_plan(folder), width=width)
    page.tap("#zero")
    page.tap("#next")
    page.tap('[data-counter="0"] .more')
    page.tap(f'[data-go="{view}"]')
    return page


@each_view
@pytest.mark.parametrize("width", [390, 360])
def test_targets_are_large_and_nothing_is_wider_than_the_phone(
    phones: Phones, tmp_path: Path, view: str, width: int
) -> None:
    page = busy_page(phones, tmp_path / "site", view, width)
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, input, textarea')]
            .map(e => [e, (e.type === 'checkbox' ? e.closest('label') : e).getBoundingClientRect()])
            .filter(([e, r]) => r.width && (r.width < 44 || r.height < 44))
            .map(([e, r]) => e.outerHTML.slice(0, 80) + r.width + 'x' + r.height)"""
    )
    assert small == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@each_view
def test_text_stands_out_from_its_ground(phones: Phones, tmp_path: Path, view: str) -> None:
    """At least 4.5 : 1 (WCAG 2.2, 1.4.3), for every text that is shown; disabled ones too."""
    page = busy_page(phones, tmp_path / "site", view)
    pairs = page.evaluate(
        """() => {
            const hex = (c) => '#' + c.match(/[0-9.]+/g).slice(0, 3)
                .map(v => Math.round(Number(v)).toString(16).padStart(2, '0')).join('');
            const clear = (c) => c === 'transparent' || /, 0\\)$/.test(c);
            const found = [];
            for (const e of document.querySelectorAll('body *')) {
                const own = [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim());
                if (!e.getClientRects().length || e.closest('svg') || !(own || e.value)) continue;
                let under = e;
                while (under && clear(getComputedStyle(under).backgroundColor)) {
                    under = under.parentElement;
                }
                const ground = under ? getComputedStyle(under).backgroundColor : 'rgb(255,255,255)';
                found.push([hex(getComputedStyle(e).color), hex(ground), e.outerHTML.slice(0, 60)]);
            }
            return found;
        }"""
    )
    assert len(pairs) > 5
    assert [pair for pair in pairs if contrast(pair[0], pair[1]) < 4.5] == []


def test_a_trap_is_recorded_by_keyboard_alone(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    reached: dict[str, Callable[[], None]] = {
        "One more, Sphenophorus parvulus": lambda: page.keyboard.press("Space"),
        "0 for the rest": lambda: page.keyboard.press("Enter"),
    }
    for name, press in reached.items():
        for _ in range(60):
            page.keyboard.press("Tab")
            if name == page.evaluate(
                "document.activeElement.ariaLabel || document.activeElement.textContent"
            ):
                break
        else:
            pytest.fail(f"{name!r} cannot be reached by Tab")
        press()
    (row,) = rows_of(saved(page))
    assert (row["status"], row["parvulus"], row["venatus"]) == ("ok", "1", "0")


def test_every_field_has_a_name_and_the_page_a_language(phones: Phones, tmp_path: Path) -> None:
    page = phones.open(small_plan(tmp_path / "site"))
    assert page.locator("html").get_attribute("lang") == "en"
    nameless = page.evaluate(
        """() => [...document.querySelectorAll('button, input, textarea')]
            .filter(e => !(e.ariaLabel || e.labels?.[0]?.textContent.trim()
                || e.textContent.trim() || e.id === 'next' ))
            .map(e => e.outerHTML)"""
    )
    assert nameless == []


def test_a_tap_on_the_list_or_the_plan_opens_the_trap(phones: Phones, tmp_path: Path) -> None:
    plan = small_plan(tmp_path / "site")
    page = phones.open(plan)
    page.tap('[data-go="list"]')
    page.locator("#stops button").nth(9).tap()
    assert page.locator("#trap-id").inner_text() == plan.stops["trap_id"].iloc[9]
    page.tap('[data-go="plan"]')
    page.locator(".plan .stop").nth(3).locator("circle").dispatch_event("click")
    assert page.locator("#trap-id").inner_text() == plan.stops["trap_id"].iloc[3]


@pytest.mark.parametrize(("paper", "width_mm"), [("Letter", 215.9), ("A4", 210.0)])
def test_the_paper_sheet_fits_the_width_of_the_paper(
    phones: Phones, root: Path, tmp_path: Path, paper: str, width_mm: float
) -> None:
    """Margins of 10 mm; 72 rows; nothing of the phone's form."""
    plan = plan_round(read_site(open_demo(root, tmp_path / "demo")))
    page = phones.open(plan, MONDAY_ROUND)
    room = round((width_mm - 20) * 96 / 25.4)
    page.set_viewport_size({"width": room, "height": 900})
    page.emulate_media(media="print")
    assert page.locator("table.paper tbody tr").count() == 72
    assert page.locator("table.paper").is_visible()
    assert page.locator("#plan svg.plan").is_visible()
    assert page.locator(".screen:visible").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= room
    assert page.pdf(format=paper).count(b"/Type /Page\n") == 3


def test_copied_text_is_the_text_of_the_file(phones: Phones, tmp_path: Path) -> None:
    """Where the clipboard is closed to the page, the text is marked for copying by hand."""
    page = phones.open(small_plan(tmp_path / "site"))
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.tap("#zero")
    page.tap('[data-go="file"]')
    page.tap("#copy")
    page.wait_for_function("document.getElementById('told').textContent !== ''")
    assert page.locator("#told").inner_text().startswith("Copied")
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.replace("\r\n", "\n") == page.locator("#csv").input_value()
