"""The work order and the plan in another language: every word, and nothing that harms."""

from __future__ import annotations

import ast
import html
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from analyses import HOSTILE
from click.testing import CliRunner, Result
from languages import EN, Tags, language, pseudo, same, sentences_of, translated, written
from shapely.geometry import box
from sites import SETTINGS, make_site
from test_treatment import GIVEN, evidence, ground, inputs

from data.reading import read_site
from data.site import Site
from maps.catalogue import Catalogue
from maps.plan_files import plan_csv, plan_geojson, plan_kml
from maps.treatment_words import (
    areas_text,
    dose_lines,
    loads_text,
    measured,
    rotation_text,
    short_amount,
)
from maps.work_order import work_order
from scripts.commands import plan as module
from spatial.dose import Loads
from spatial.rotation import ROTATION, Repeat
from spatial.treatment import STATE_ORDER
from spatial.treatment_plan import TreatmentPlan, Wish, plan_treatment
from spatial.units import UNITS, Quantity, Unit, read_quantity

ROOT = Path(__file__).resolve().parent.parent

ADULT = GIVEN["adult"]

OWN: Mapping[str, Mapping[str, object]] = {
    "all given": {},
    "nothing given": {"customer": "", "currency": "", "buffers": {}, "adult": {}},
    "metric": {
        "currency": "EUR",
        "buffers": {"water": "8 m", "hedge": "3 ft"},
        "adult": {**ADULT, "rate": "1.2 L/ha", "spray_volume": "300 L/ha", "price": "30/L"},
    },
    "dry": {"adult": {"rate": "2 lb/acre", "tank": "4 lb", "price": "3/lb"}},
    "by volume": {
        "adult": {"rate": "4 fl oz/100 gal", "spray_volume": "2 gal/1000 ft2", "tank": "50 gal"}
    },
    "without spray": {"adult": {"rate": "4 fl oz/100 gal", "application_cost": "20/acre"}},
    "one load": {"adult": {**ADULT, "tank": "90000 gal"}},
}
"""What the user gave, in ways that between them call for every line of the arithmetic."""

STATES = (*STATE_ORDER, "")


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return read_site(make_site(tmp_path_factory.mktemp("plan") / "site"))


@pytest.fixture(scope="module")
def plans(small: Site) -> Mapping[str, TreatmentPlan]:
    """Make a plan of each kind."""
    wish = Wish("adult", ("Z1", "Z6"), "2026-W18", date(2026, 5, 3))
    made = {
        name: plan_treatment(small, evidence(small, state=""), wish, inputs(**own))
        for name, own in OWN.items()
    }
    for state in STATES:
        for stage in ("adults", "larvae"):
            facts = evidence(small, state=state, judged_by=stage)
            made[f"{state} by {stage}"] = plan_treatment(small, facts, wish, inputs())
    mixed = evidence(small, state=["above", *STATE_ORDER])
    for tactic in ("adult", "larva", "biological", "cultural"):
        chosen = replace(wish, tactic=tactic, zones=())
        facts = mixed.assign(judged_by="adults" if tactic == "larva" else "larvae")
        made[tactic] = plan_treatment(small, facts, chosen, inputs(exclusion_uses=["green"]))
    return made | {"shared": shared_plan(small), "kept clear": kept_clear_plan(small)}


def shared_plan(site: Site) -> TreatmentPlan:
    """Plan zones that share ground, beside open water; one zone of their use has no trap."""
    zones = {
        "A": ("rough", box(0, 0, 100, 100)),
        "B": ("rough", box(80, 0, 180, 100)),
        "C": ("sod_block", box(200, 0, 260, 50)),
        "D": ("rough", box(200, 60, 260, 90)),
    }
    shapes = [("building", box(10, 10, 20, 20)), ("pond", box(30, 30, 40, 50))]
    made = ground(site, zones, shapes)
    facts = evidence(made, counted_traps=[3, 3, 3, 0], state=["above"] * 3 + ["no_traps"])
    wish = Wish("adult", ("A", "B", "C"), "2026-W18", date(2026, 5, 3))
    return plan_treatment(made, facts, wish, inputs(buffers={}))


def kept_clear_plan(site: Site) -> TreatmentPlan:
    """Plan a zone out of which a buffer, a zone never treated and a sliver are cut, in hectares."""
    zones = {
        "A": ("rough", box(0, 0, 100, 100)),
        "B": ("green", box(0, 0.009, 100, 50)),
        "C": ("rough", box(200, 60, 260, 90)),
    }
    made = ground(site, zones, [("pond", box(30, 80, 40, 90))])
    made = replace(made, settings=replace(made.settings, units="metric"))
    wish = Wish("adult", ("A",), "2026-W18", date(2026, 5, 3))
    given = inputs(buffers={"pond": "2 m"}, exclusion_uses=["green"])
    return plan_treatment(made, evidence(made, state=""), wish, given)


# What is shown: one place for every word.


WORD = re.compile(r"(?<![^\W_])[A-Za-z]{2,}(?![^\W_])")


def users_texts(plan: TreatmentPlan) -> set[str]:
    """Return what stands on the paper as the user wrote it, and codes."""
    site, tactic, settings = plan.site, plan.tactic, plan.settings
    texts = {getattr(tactic, name) for name in tactic.__dataclass_fields__}
    texts |= {site.settings.name, settings.currency, plan.week, *plan.areas.open_water}
    texts |= {f"{value[:12]}" for value in site.hashes.values()} | {
        *site.hashes,
        "el.toml",
        str(site.zones.crs),
    }
    texts |= {*settings.buffers, *settings.buffers.values()}
    return {text for text in texts if text} | set(site.zones["name"].astype(str))


def latin_words(texts: list[str], plan: TreatmentPlan, lang: Catalogue) -> list[str]:
    """Return every word in Latin letters that is not the user's own, nor a code."""
    shown = " \N{BULLET} ".join(texts)
    users = users_texts(plan) | {lang.digest[:12] or "\N{BULLET}"}
    for own in sorted(users, key=lambda each: (-len(each), each)):
        shown = shown.replace(own, "\N{BULLET}")
    return WORD.findall(shown)


def shown_texts(page: str) -> list[str]:
    """Return what a page shows or reads out: texts, title, letters in pictures, labels."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'\b(?:aria-label|title|alt|placeholder)="([^"]*)"', body)
    return [html.unescape(each) for each in (*labels, re.sub(r"<[^>]+>", " \N{BULLET} ", body))]


KINDS = (
    *OWN,
    *(f"{state} by {stage}" for state in STATES for stage in ("adults", "larvae")),
    *("adult", "larva", "biological", "cultural", "shared", "kept clear"),
)


@pytest.mark.parametrize("kind", KINDS)
def test_no_word_of_the_work_order_bypasses_the_language_file(
    kind: str, plans: Mapping[str, TreatmentPlan], strange: Catalogue
) -> None:
    plan = plans[kind]
    texts = shown_texts(work_order(plan, strange))
    assert set(latin_words(texts, plan, strange)) == set()
    assert len(latin_words(shown_texts(work_order(plan, EN)), plan, EN)) > 250


@pytest.mark.parametrize("kind", KINDS)
def test_no_word_that_the_command_prints_of_a_plan_bypasses_it(
    kind: str, plans: Mapping[str, TreatmentPlan], strange: Catalogue
) -> None:
    plan = plans[kind]
    assert latin_words(module.summary(plan, strange), plan, strange) == []
    assert len(latin_words(module.summary(plan, EN), plan, EN)) > 15


def test_every_message_of_the_plan_is_said_by_one_of_these_plans(
    plans: Mapping[str, TreatmentPlan], tmp_path: Path
) -> None:
    """Each message is marked by its key, so that what no page here says is found."""
    marked = {
        key: text
        for key, text in translated("de").items()
        if key.partition(".")[0].startswith(("order", "plan_"))
    }
    messages = translated("de") | {
        key: f"<{key}>{text}" if isinstance(text, str) else {
            form: f"<{key}>{each}" for form, each in text.items()
        }
        for key, text in marked.items()
    }  # fmt: skip
    lang = language(tmp_path, "de", messages)
    said = " ".join(
        text
        for plan in plans.values()
        for text in (html.unescape(work_order(plan, lang)), *module.summary(plan, lang))
    )
    unsaid = {key for key in marked if f"<{key}>" not in said}
    # Tested by themselves below.
    assert unsaid == {
        "plan_loads.none",
        "plan_rotation.same_main_group",
        "plan_rotation.group_not_recorded",
    }


MODULES = ("treatment_words", "work_order", "plan_map")


@pytest.mark.parametrize("name", MODULES)
def test_no_module_of_the_plan_holds_a_sentence(name: str) -> None:
    """Also what none of these plans says comes from the language file."""
    tree = ast.parse((ROOT / "maps" / f"{name}.py").read_text(encoding="utf-8"))
    assert sentences_of(tree) == set()


def test_the_template_of_the_work_order_holds_no_word() -> None:
    template = (ROOT / "maps" / "templates" / "work_order.html").read_text(encoding="utf-8")
    bare = re.sub(r"<style>.*?</style>|\{\{.*?\}\}|\{%.*?%\}|<[^>]*>", " ", template)
    assert WORD.findall(bare) == []
    assert re.findall(r'(?:aria-label|title|alt)="(?!\{\{)', template) == []


# Amounts, numbers and days.


@pytest.mark.parametrize("unit", [each for each in UNITS if each.kind in ("mass", "volume")])
def test_every_unit_of_an_amount_is_a_message(unit: Unit, strange: Catalogue) -> None:
    quantity = Quantity(1234.4, unit)
    assert not WORD.search(short_amount(quantity, strange))
    assert short_amount(quantity, EN) == f"1,234 {unit.name}"


@pytest.mark.parametrize("reason", ROTATION)
def test_groups_that_follow_each_other_are_said_in_the_language(
    reason: str, strange: Catalogue
) -> None:
    repeat = Repeat("Z1", reason, date(2026, 5, 3), ("1", "2", "3"))
    assert not WORD.search(rotation_text(repeat, strange))
    assert rotation_text(repeat, EN).startswith("Z1: ")
    assert ("1, 2 and 3" in rotation_text(repeat, EN)) == reason.startswith("same")


def test_a_tank_that_nothing_goes_into_is_said(strange: Catalogue) -> None:
    tank = read_quantity("200 gal", "tank", ["volume"])
    empty = Loads(0, tank, None, None, None)
    assert loads_text(empty, EN) == "Loads: none."
    assert not WORD.search(loads_text(empty, strange))


def test_full_loads_and_a_last_one_are_counted_by_the_language(tmp_path: Path) -> None:
    forms = {each: f"{each}: {{number}} {{load}}" for each in ("one", "few", "many", "other")}
    polish = language(tmp_path, "pl", translated("pl", same, plan_loads__full=forms))
    tank = read_quantity("40.5 lb", "tank", ["mass"])
    assert loads_text(Loads(3, tank, None, None, None), polish) == "Loads: few: 3 40,5 lb."
    assert loads_text(Loads(5, tank, None, tank, None), polish) == (
        "Loads: many: 5 40,5 lb, then one of 40,5 lb."
    )


def test_one_acre_is_one_and_a_part_of_one_is_not() -> None:
    assert areas_text(4046.8564224, EN).startswith("1 acre = ")
    assert areas_text(2023.4282112, EN).startswith("0.5 acres = ")
    assert [str(measured(each)) for each in (1e-5, 99999.6, 1000)] == ["0", "100000", "1000"]


def test_numbers_and_days_follow_the_locale(
    plans: Mapping[str, TreatmentPlan], german: Catalogue
) -> None:
    page = work_order(plans["all given"], german)
    assert '<html lang="de">' in page
    assert "1 acre = 43,56 x 1,000 ft2 = 4.046,856 m2." in page
    assert "up to 3. Mai 2026." in page
    assert "on 22. April 2026, was of the same group" in page
    total = plans["all given"].areas.net_m2
    assert f">{total:,.1f}<".translate(str.maketrans(",.", ".,")) in page
    # What the user typed stays as it was typed.
    assert "0.5 fl oz/1000 ft2" in page
    assert "0,5 fl oz per 1.000 ft2 x " in " ".join(dose_lines(plans["all given"], german))
    cells = re.findall(r'<td class="num">([\d.,\N{MINUS SIGN}]+)</td>', page)
    assert len(cells) > 20
    assert [cell for cell in cells if "." in cell and "," not in cell] == []


# Right to left, and a file that cannot do harm.


def test_right_to_left_is_told_to_the_page_and_the_map_keeps_its_places(
    plans: Mapping[str, TreatmentPlan], strange: Catalogue, tmp_path: Path
) -> None:
    hebrew = language(tmp_path, "he", translated("he"))
    page = work_order(plans["all given"], hebrew)
    assert '<html lang="he" dir="rtl">' in page
    assert "svg{direction:ltr}" in page
    other = work_order(plans["all given"], strange)
    assert '<html lang="el">' in other
    assert "svg{direction" not in other
    css = (ROOT / "maps" / "templates" / "work_order.css").read_text(encoding="utf-8")
    assert (
        re.findall(r"(?:border|padding|margin)-(?:left|right)|text-align: (?:left|right)", css)
        == []
    )


@pytest.mark.parametrize("payload", HOSTILE[:4])
def test_a_hostile_message_is_shown_as_text(
    payload: str, plans: Mapping[str, TreatmentPlan], tmp_path: Path
) -> None:
    safe = re.sub(r"[\x00-\x1f\x7f-\x9f]", "", payload).replace("{", "(").replace("}", ")")
    hostile = language(tmp_path, "de", translated("de", lambda text: f"{safe}{text}"))
    for kind in ("shared", "nothing given", "above by larvae"):
        page = work_order(plans[kind], hostile)
        assert Tags(page).names == Tags(work_order(plans[kind], EN)).names
        assert html.unescape(page).count(safe) > 60


# The command: pages in the language, files for machines as they are.


def run(site: Path, out: Path, *options: str) -> Result:
    given = [str(site), "--out", str(out), "--zones", "Z1,Z6", "--tactic", "adult", *options]
    return CliRunner().invoke(module.command, given, catch_exceptions=False)


def test_the_command_takes_a_language_and_files_and_records_stay_as_they_are(
    tmp_path: Path,
) -> None:
    path = written(tmp_path / "el.toml", "el", translated("el", pseudo))
    site = make_site(tmp_path / "site", settings=SETTINGS)
    for folder, options in (("en", ()), ("el", ("--language", str(path)))):
        done = run(site, tmp_path / folder, "--record", "2026-05-04", *options)
        assert done.exit_code == 0, done.output
    assert pseudo("The zones were named by the user; they stand in order of evidence.") in (
        done.output
    )
    names = {each.name for each in (tmp_path / "en").iterdir()}
    pages = {name for name in names if name.endswith(".html")}
    assert (names - pages) > {"treatment-records.csv", "plan.csv", "plan.kml", "plan.geojson"}
    for name in names:
        old, new = ((tmp_path / folder / name).read_bytes() for folder in ("en", "el"))
        assert (old == new) == (name not in pages), name
        assert name not in pages or b'<html lang="el">' in new


def test_files_for_machines_are_written_in_english(plans: Mapping[str, TreatmentPlan]) -> None:
    plan = plans["all given"]
    assert "acres = " in plan_kml(plan)
    assert " fl oz</description>" in plan_kml(plan)
    assert plan_csv(plan).startswith("order,zone_id,use,")
    assert '"product_unit": "fl oz"' in plan_geojson(plan)


def test_the_language_may_be_named_in_site_toml_and_stands_in_the_source(tmp_path: Path) -> None:
    site = make_site(tmp_path / "site", settings=f'language = "el.toml"\n{SETTINGS}')
    path = written(site / "el.toml", "el", translated("el"))
    done = run(site, tmp_path / "out", "--quiet")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "out" / "work-order.html").read_text(encoding="utf-8")
    digest = language(tmp_path, "el", translated("el")).digest
    assert f"el.toml {digest[:12]}; " in page
    assert path.is_file()
