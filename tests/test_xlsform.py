"""The XLSForm of a round: accepted by pyxform, and its answers are read back as visits."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest
from languages import EN
from sites import LONG_SETTINGS, SETTINGS, csv_tables, long_visits, make_site

from data.findings import InputError, SettingsError
from data.reading import read_site
from maps.xlsform import (
    field_names,
    form_sheets,
    read_back_toml,
    read_back_words,
    round_form,
    xform_of,
)
from scripts import cli
from spatial.round_plan import RoundPlan, plan_round

pytest.importorskip("pyxform", reason="the extra `xlsform` is not installed")

XFORM = "{http://www.w3.org/2002/xforms}"


def planned(folder: Path, settings: str = SETTINGS, **files: str) -> RoundPlan:
    given = {f"{name}.csv": text for name, text in files.items()}
    return plan_round(read_site(make_site(folder, settings=settings, files=given)))


def form_of(plan: RoundPlan) -> ElementTree.Element:
    return ElementTree.fromstring(xform_of(round_form(plan, EN)))


def choices(form: ElementTree.Element, name: str) -> list[dict[str, str]]:
    """Return the choices of a list as name -> text."""
    found = [each for each in form.iter(f"{XFORM}instance") if each.get("id") == name]
    return [
        {part.tag.removeprefix(XFORM): part.text or "" for part in item}
        for item in found[0].iter(f"{XFORM}item")
    ]


def questions(form: ElementTree.Element) -> list[str]:
    binds = [each.get("nodeset", "") for each in form.iter(f"{XFORM}bind")]
    return [name.rsplit("/", 1)[1] for name in binds if "/meta/" not in name]


def test_pyxform_makes_a_form_of_the_round(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site")
    form = form_of(plan)
    traps = choices(form, "traps")
    assert [trap["name"] for trap in traps] == plan.stops["trap_id"].tolist()
    assert {trap["set_on"] for trap in traps} == {"2026-05-04"}
    assert questions(form) == [
        "trap_id",
        "set_on",
        "checked_on",
        "status",
        "parvulus",
        "venatus",
        "carabids",
        "minutes",
        "note",
    ]


def test_a_count_is_asked_only_of_an_ok_trap_and_then_must_be_given(tmp_path: Path) -> None:
    binds = {
        each.get("nodeset", "").rsplit("/", 1)[1]: each.attrib
        for each in form_of(planned(tmp_path / "site")).iter(f"{XFORM}bind")
    }
    for name in ("parvulus", "venatus"):
        assert binds[name]["required"] == "true()"
        assert " ".join(binds[name]["relevant"].split()) == "/data/status = 'ok'"
        assert binds[name]["constraint"] == ". >= 0 and . <= 5000"
    assert "required" not in binds["carabids"]


def test_equal_rounds_give_equal_bytes(tmp_path: Path) -> None:
    assert round_form(planned(tmp_path / "a"), EN) == round_form(planned(tmp_path / "b"), EN)


def collected(plan: RoundPlan) -> tuple[str, list[dict[str, str]]]:
    """Return a CSV as a collector exports it, and the answers in it.

    Flat, with the collector's own columns round the form's; dates are ISO 8601.
    """
    fields = list(field_names(plan.site).values())
    answers = []
    for number, trap in enumerate(plan.stops["trap_id"]):
        ok = number % 5 != 4
        answer = {"trap_id": str(trap), "set_on": "2026-05-04", "checked_on": "2026-05-11"}
        answer |= {"status": "ok" if ok else "flooded", "minutes": "2", "note": ""}
        answer |= {name: str((number + k) % 4) if ok else "" for k, name in enumerate(fields)}
        answers.append(answer)
    names = ["trap_id", "set_on", "checked_on", "status", *fields, "minutes", "note"]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    more = {"SubmitterID": "12", "SubmitterName": "Jo", "AttachmentsPresent": "0"}
    more |= {"AttachmentsExpected": "0", "Status": "", "ReviewState": "", "Edits": "0"}
    more |= {"FormVersion": "202620", "_id": "71", "_index": "3"}
    writer.writerow(["SubmissionDate", *names, "meta-instanceID", "KEY", *more])
    for number, answer in enumerate(answers):
        key = f"uuid:{number:04d}"
        typed = [answer[name] for name in names]
        writer.writerow(["2026-05-11T09:00:00Z", *typed, key, key, *more.values()])
    return buffer.getvalue(), answers


def with_read_back(settings: str, toml: str) -> str:
    """Return a site.toml in which the printed lines replace what they are about."""
    kept = re.sub(r"^bycatch_columns = .*\n", "", settings, flags=re.MULTILINE)
    kept = re.sub(r"\[species_columns\]\n(?:[^\[\n].*\n)*", "", kept)
    top, _, columns = toml.partition("[species_columns]\n")
    head, _, tables = kept.partition("[season]")
    return f"{head}{top}[species_columns]\n{columns}[season]{tables}"


ODD_SETTINGS = SETTINGS.replace("parvulus =", '"S. parvulus (all)" =').replace(
    '"carabids"', '"ground beetles"'
)


def odd_visits() -> str:
    rows = csv_tables()["visits.csv"]
    rows[0][4], rows[0][6] = "S. parvulus (all)", "ground beetles"
    return "\n".join(",".join(row) for row in rows) + "\n"


@pytest.mark.parametrize("kind", ["wide", "odd names", "long"])
def test_the_collected_answers_are_read_without_a_finding(tmp_path: Path, kind: str) -> None:
    """With the lines that the command prints; every count arrives as it was answered."""
    settings = {"wide": SETTINGS, "odd names": ODD_SETTINGS, "long": LONG_SETTINGS}[kind]
    files = {"wide": {}, "odd names": {"visits": odd_visits()}, "long": {"visits": long_visits()}}
    plan = planned(tmp_path / "site", settings, **files[kind])
    text, answers = collected(plan)
    lines = read_back_toml(plan.site)
    folder = make_site(
        tmp_path / "back",
        settings=with_read_back(settings, lines),
        files={"visits.csv": text, "weather.csv": None, "cores.csv": None, "treatments.csv": None},
    )
    back = read_site(folder)
    assert [str(each) for each in back.findings] == []
    status = back.visits.set_index("trap_id")["status"].to_dict()
    assert status == {answer["trap_id"]: answer["status"] for answer in answers}
    fields = field_names(plan.site)
    species = [name for name in fields if name not in plan.site.settings.bycatch_columns]
    expected = sum(int(answer[fields[name]] or 0) for answer in answers for name in species)
    assert back.catches["adults"].sum() == expected > 0
    assert len(back.bycatch) == sum(answer["status"] == "ok" for answer in answers)


def test_the_command_writes_the_form_and_prints_how_it_is_read_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site, out = make_site(tmp_path / "site"), tmp_path / "out"
    assert cli.run(["sheet", str(site), "--xlsform", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert '  parvulus = "Sphenophorus parvulus"' in said
    assert sorted(path.name for path in out.iterdir()) == ["round-form.xlsx", "round-sheet.html"]
    assert "T01" in xform_of((out / "round-form.xlsx").read_bytes())


def test_columns_named_as_no_count_stay_named(tmp_path: Path) -> None:
    settings = 'other_columns = ["crew", "Edits"]\n' + SETTINGS
    lines = read_back_toml(planned(tmp_path / "site", settings).site).splitlines()
    assert lines[1].startswith('other_columns = ["crew", "Edits", "SubmitterID", ')
    assert lines[1].count("Edits") == 1


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("wide", "The form's CSV has the columns of your visits"),
        ("odd names", "The form's CSV has other names, unlike your visits: keep it in a folder"),
        ("long", "The form's CSV has one column for each species, unlike your visits: keep it in"),
    ],
)
def test_lines_that_would_break_the_sites_own_visits_are_for_another_folder(
    tmp_path: Path, kind: str, said: str
) -> None:
    """Pasted into the site they are for, they once made its own visits unreadable."""
    settings = {"wide": SETTINGS, "odd names": ODD_SETTINGS, "long": LONG_SETTINGS}[kind]
    visits = {"wide": None, "odd names": odd_visits(), "long": long_visits()}[kind]
    files = {} if visits is None else {"visits": visits}
    site = planned(tmp_path / "site", settings, **files).site
    words = read_back_words(site, EN)
    assert words.startswith(said)
    own = {} if visits is None else {"visits.csv": visits}
    pasted = make_site(
        tmp_path / "pasted", settings=with_read_back(settings, read_back_toml(site)), files=own
    )
    if kind == "wide":
        assert read_site(pasted).findings == ()
    else:
        with pytest.raises(InputError, match="IN-005"):
            read_site(pasted)


def test_odd_names_become_fields_that_a_form_may_use(tmp_path: Path) -> None:
    plan = planned(tmp_path / "site", ODD_SETTINGS, visits=odd_visits())
    assert field_names(plan.site) == {
        "S. parvulus (all)": "S_parvulus_all",
        "venatus": "venatus",
        "ground beetles": "ground_beetles",
    }


def test_text_of_the_site_is_neither_a_reference_nor_a_formula(tmp_path: Path) -> None:
    settings = SETTINGS.replace('"Kestwick Green"', "'=1+1 ${trap_id} <b>'")
    plan = planned(tmp_path / "site", settings)
    title = form_of(plan).find(".//{http://www.w3.org/1999/xhtml}title")
    assert title is not None
    assert title.text == "=1+1 $ {trap_id} <b>, round 2026-W20"
    assert form_sheets(plan, EN)["settings"][0]["form_id"] == "round-2026-W20"


def test_a_form_that_pyxform_refuses_is_a_clear_error() -> None:
    with pytest.raises(SettingsError, match="pyxform does not accept the form"):
        xform_of(b"not a workbook")


def test_without_pyxform_the_sheet_is_not_half_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(name: str) -> ModuleType:
        raise ModuleNotFoundError(name)

    monkeypatch.setattr("maps.xlsform.import_module", missing)
    site, out = make_site(tmp_path / "site"), tmp_path / "out"
    assert cli.run(["sheet", str(site), "--xlsform", "--out", str(out)]) == 2
    assert "pip install 'snoutline[xlsform]'" in capsys.readouterr().err
    assert not out.exists()
