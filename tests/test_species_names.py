"""No adult is lost, and no visit becomes a zero, by how the name of a species is written."""

from __future__ import annotations

from pathlib import Path

import pytest
from sites import LONG_SETTINGS, long_visits, make_site

from data.findings import Finding, InputError, SettingsError
from data.reading import read_site
from data.site import Site
from data.taxa import meant_target

EXTRA = "T07,2026-05-04,2026-05-11,ok,{},9,"
WITH_BYCATCH = LONG_SETTINGS.replace("[season]", 'bycatch_species = ["{}"]\n[season]')


def read(folder: Path, text: str, settings: str = LONG_SETTINGS) -> Site:
    return read_site(make_site(folder, settings=settings, files={"visits.csv": text}))


def with_row(name: str) -> str:
    return long_visits() + EXTRA.format(name) + "\n"


def codes(findings: tuple[Finding, ...]) -> list[tuple[str, str]]:
    return sorted((each.code, each.severity) for each in findings)


@pytest.mark.parametrize(
    "name", ["bluegrass billbug", "billbug", "BBB", "Bluegrass", "Billbug sp.", "unknown billbug"]
)
def test_adults_under_a_name_that_nobody_knows_are_never_a_zero(name: str, tmp_path: Path) -> None:
    site = read(tmp_path / "site", with_row(name))
    assert codes(site.findings) == [("IN-049", "warning"), ("IN-102", "error")]
    assert "T07 2026-05-11" not in set(site.visits["visit_id"])


def test_a_name_beside_a_target_is_told_and_the_target_counts(tmp_path: Path) -> None:
    text = with_row("bluegrass billbug") + EXTRA.format("Sphenophorus parvulus") + "\n"
    site = read(tmp_path / "site", text)
    assert codes(site.findings) == [("IN-049", "warning")]
    visit = site.visits.set_index("visit_id").loc["T07 2026-05-11"]
    assert visit["adults"] == 9


@pytest.mark.parametrize("typed", ["bluegrass billbug", "Bluegrass  BILLBUG"])
def test_a_name_declared_as_bycatch_is_a_zero_of_the_targets(typed: str, tmp_path: Path) -> None:
    settings = WITH_BYCATCH.format("bluegrass billbug")
    site = read(tmp_path / "site", with_row(typed), settings)
    assert site.findings == ()
    assert site.visits.set_index("visit_id").loc["T07 2026-05-11", "adults"] == 0
    counts = site.bycatch[site.bycatch["taxon"] == "bluegrass billbug"]["count"]
    assert counts.tolist() == [9]


def test_bycatch_does_not_count_at_a_site_without_targets(tmp_path: Path) -> None:
    lines = LONG_SETTINGS.splitlines()
    settings = "\n".join(line for line in lines if "target_species" not in line)
    settings = settings.replace("[season]", 'bycatch_species = ["spiders"]\n[season]')
    site = read(tmp_path / "site", with_row("spiders"), settings)
    assert site.visits.set_index("visit_id").loc["T07 2026-05-11", "adults"] == 0


@pytest.mark.parametrize(
    "name",
    [
        "parvulus",
        "S. parvulus",
        "Sphenophorus parv.",
        "S. parv.",
        "Sphenophorus parvulus Gyllenhal",
        "Sphenophorus parvulus (Gyllenhal 1838)",
        "Sphenophorus parvulus (F)",
        "Sphenophorus parvullus",
    ],
)
def test_each_way_to_write_a_target_is_an_error_that_names_it(name: str, tmp_path: Path) -> None:
    site = read(tmp_path / "site", with_row(name))
    (finding,) = site.findings
    assert (finding.code, finding.severity) == ("IN-025", "error")
    assert finding.fix.startswith("did you mean 'Sphenophorus parvulus'?")


@pytest.mark.parametrize(
    "name", ["Sphenophorus minimus", "minimus", "Sphenophorus p.", "Listronotus sp.", "par", ""]
)
def test_another_name_means_no_target(name: str) -> None:
    assert meant_target(name, ["Sphenophorus parvulus", "Sphenophorus venatus"]) is None


@pytest.mark.parametrize(
    "typed", ["sphenophorus parvulus", "SPHENOPHORUS PARVULUS", "Sphenophorus  parvulus"]
)
def test_capitals_and_blanks_make_no_other_species(typed: str, tmp_path: Path) -> None:
    plain = read(tmp_path / "plain", long_visits())
    text = long_visits().replace("Sphenophorus parvulus", typed)
    site = read(tmp_path / "site", text)
    assert site.findings == ()
    assert site.catches.equals(plain.catches)


def test_a_season_under_a_close_name_only_is_refused_with_one_finding(tmp_path: Path) -> None:
    settings = LONG_SETTINGS.replace(', "Sphenophorus venatus"', "")
    lines = [line for line in long_visits().splitlines() if "venatus" not in line]
    text = "\n".join(lines).replace("Sphenophorus parvulus", "Sphenophorus parvula") + "\n"
    with pytest.raises(InputError, match="adults stand under 'Sphenophorus parvula' only") as found:
        read(tmp_path / "site", text, settings)
    assert [f.code for f in found.value.findings if f.severity == "error"] == ["IN-037", "IN-016"]


def test_zeros_under_the_target_do_not_hide_adults_under_a_close_name(tmp_path: Path) -> None:
    """The target is named, with 0 adults only: each row of the close name is an error."""
    settings = LONG_SETTINGS.replace(', "Sphenophorus venatus"', "")
    visit = "T{:02d},2026-04-06,2026-04-13,ok,{},{},"
    lines = [
        "trap_id,set_on,checked_on,status,species,adults,carabids",
        visit.format(1, "Sphenophorus parvulus", 0),
        visit.format(2, "Sphenophorus parvula", 4),
    ]
    site = read(tmp_path / "site", "\n".join(lines) + "\n", settings)
    assert [(f.code, f.row) for f in site.findings] == [("IN-025", 3)]


def test_a_target_under_a_close_name_only_is_an_error_beside_a_sound_one(tmp_path: Path) -> None:
    text = long_visits().replace("Sphenophorus venatus", "Sphenophorus venata")
    site = read(tmp_path / "site", text)
    assert {f.code for f in site.findings} == {"IN-025", "IN-044"}
    # Only void visits are left; none counts without its second species.
    assert site.catches.empty
    assert not (site.visits["status"] == "ok").any()


def test_a_target_cannot_be_bycatch(tmp_path: Path) -> None:
    settings = WITH_BYCATCH.format("Sphenophorus venatus")
    with pytest.raises(SettingsError, match="'Sphenophorus venatus' is a target species too"):
        read(tmp_path / "site", long_visits(), settings)
