"""The command line: exit codes, streams, and no traceback ever."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import click
import pytest
from analyses import usual_analysis
from languages import EN

from data.findings import Finding, InputError, SettingsError
from data.site import Site
from data.version import VERSION
from maps.words import headline
from scripts import cli, site_run
from scripts.commands import weekly
from scripts.finding_lines import SHOWN_WARNINGS
from scripts.progress import Progress
from spatial.results import Analysis

FILES = [
    "activity-map.html",
    "zones.csv",
    "traps.csv",
    "suggested-traps.geojson",
    "suggested-traps.gpx",
    "summary.json",
]
BAD_COUNT = Finding(
    "IN-021", "visits.csv", "'2l' is no whole number", "type digits", row=14, column="adults"
)
ODD = Finding("IN-030", "traps.csv", "far away", "check it", severity="warning", row=3)


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a folder to name; the current directory is above it, reading and analysis are fake."""
    folder = tmp_path / "north-course"
    folder.mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SNOUTLINE_DEBUG", raising=False)
    stand_in(monkeypatch)
    return folder


def stand_in(monkeypatch: pytest.MonkeyPatch, *, findings: tuple[Finding, ...] = ()) -> None:
    def read(folder: Path) -> Site:
        return replace(usual_analysis().site, findings=findings)

    def analyse(site: Site, week: str | None = None, *, seed: int = 0) -> Analysis:
        if week == "2026-W99":
            raise SettingsError("week 2026-W99 has no visits; the last with visits is 2026-W20")
        return replace(usual_analysis(), site=site, seed=seed)

    monkeypatch.setattr(weekly, "read_site", read)
    monkeypatch.setattr(weekly, "analyse", analyse)


def failing(error: Exception) -> Callable[[Path], Site]:
    def read(folder: Path) -> Site:
        raise error

    return read


def test_a_run_prints_the_headline_then_the_paths(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["weekly", str(site)]) == 0
    out, err = capsys.readouterr()
    folder = Path("snoutline-out/north-course")
    sentences = headline(usual_analysis(), EN)
    assert out.splitlines() == [*sentences, *(str(folder / name) for name in FILES)]
    assert err == ""
    assert all((folder / name).stat().st_size for name in FILES)


def test_quiet_prints_the_paths_only(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["weekly", str(site), "--quiet", "--out", "there"]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines() == [str(Path("there") / name) for name in FILES]
    assert err == ""


def test_a_second_run_gives_the_same_bytes(site: Path) -> None:
    for folder in ("a", "b"):
        assert cli.run(["weekly", str(site), "--out", folder]) == 0
    for name in FILES:
        assert Path("a", name).read_bytes() == Path("b", name).read_bytes()


def test_the_seed_reaches_the_files(site: Path) -> None:
    assert cli.run(["weekly", str(site), "--seed", "42"]) == 0
    assert '"seed": 42' in Path("snoutline-out/north-course/summary.json").read_text()


def test_a_bad_week_is_a_setting_and_gives_two(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["weekly", str(site), "--week", "2026-W99"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "snoutline: week 2026-W99 has no visits; the last with visits is 2026-W20\n"
    assert not Path("snoutline-out").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["weekly"], "Missing argument 'SITE'"),
        (["weekly", "no-such-folder"], "does not exist"),
        (["weekly", ".", "--seed", "-1"], "--seed"),
        (["weekly", ".", "--colour"], "No such option"),
        (["wekly"], "No such command"),
    ],
)
@pytest.mark.usefixtures("site")
def test_wrong_usage_gives_two_and_says_what(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(arguments) == 2
    out, err = capsys.readouterr()
    assert words in err
    assert "Traceback" not in err
    assert out == ""


def test_errors_in_the_files_give_three_and_name_the_place(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(weekly, "read_site", failing(InputError([BAD_COUNT, ODD])))
    assert cli.run(["weekly", str(site)]) == 3
    err = capsys.readouterr().err
    assert "the site's files hold 1 error and 1 warning; nothing was written" in err
    assert f"snoutline: error: {BAD_COUNT}\n" in err
    assert f"snoutline: warning: {ODD}\n" in err
    assert "Traceback" not in err


def test_a_defect_gives_one_line_and_one(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(weekly, "read_site", failing(ZeroDivisionError("division\nby zero")))
    assert cli.run(["weekly", str(site)]) == 1
    err = capsys.readouterr().err
    assert err.startswith("snoutline: ZeroDivisionError: division by zero; this is a defect in")
    assert err.count("\n") == 1


def test_debug_shows_the_trace_of_a_defect(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SNOUTLINE_DEBUG", "1")
    monkeypatch.setattr(weekly, "read_site", failing(ZeroDivisionError("division by zero")))
    assert cli.run(["weekly", str(site)]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_being_stopped_gives_130(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(weekly, "read_site", failing(click.Abort()))
    assert cli.run(["weekly", str(site)]) == 130
    assert "stopped" in capsys.readouterr().err


def test_a_folder_that_cannot_be_written_is_a_setting(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("taken").write_text("a file")
    assert cli.run(["weekly", str(site), "--out", "taken/inside"]) == 2
    assert "the folder taken/inside cannot be written to: " in capsys.readouterr().err


def test_the_sites_own_folder_is_never_written_to(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["weekly", str(site), "--out", str(site)]) == 2
    assert "only read; choose another folder" in capsys.readouterr().err
    assert list(site.iterdir()) == []


@pytest.mark.parametrize("quiet", [False, True])
def test_rows_set_aside_are_told_even_when_quiet(
    site: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], quiet: bool
) -> None:
    stand_in(monkeypatch, findings=(BAD_COUNT, ODD))
    more = ["--quiet"] if quiet else []
    assert cli.run(["weekly", str(site), "--keep-going", *more]) == 0
    err = capsys.readouterr().err
    assert f"row set aside: {BAD_COUNT}" in err
    assert (f"warning: {ODD}" in err) is not quiet


def test_a_flood_of_warnings_is_cut_with_its_number() -> None:
    lines = site_run.told((ODD,) * 50, quiet=False)
    assert len(lines) == SHOWN_WARNINGS + 1
    assert lines[-1] == "and 30 more warnings"


def test_a_row_is_told_once_however_much_is_wrong_with_it() -> None:
    status = replace(BAD_COUNT, code="IN-014", column="status", problem="'okk' is no status")
    other = replace(BAD_COUNT, row=15)
    whole = Finding("IN-004", "cores.csv", "there is no row below the header", "add rows")
    told = site_run.told((BAD_COUNT, status, other, whole, whole), quiet=True)
    assert told == [
        f"error: {whole}",
        f"error: {whole}",
        f"row set aside: {BAD_COUNT}; also column status: 'okk' is no status; type digits [IN-014]",
        f"row set aside: {other}",
    ]


@pytest.mark.parametrize("arguments", [["--help"], ["weekly", "--help"], ["-h"]])
def test_help_has_an_example(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(arguments) == 0
    assert "Example:  snoutline weekly" in capsys.readouterr().out


def test_every_listed_command_has_its_file_and_a_line_of_help() -> None:
    context = click.Context(cli.cli)
    for listed in cli.COMMANDS:
        command = cli.cli.get_command(context, listed.name)
        assert command is not None
        assert command.name == listed.name
        assert command.help
        assert listed.help.endswith(".")


def test_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out == f"snoutline, version {VERSION}\n"


@pytest.mark.parametrize("argument", ["--help", "--version"])
def test_help_and_version_load_no_heavy_library(root: Path, argument: str) -> None:
    code = (
        "import sys; from scripts.cli import run; code = run(sys.argv[1:]);"
        "heavy = {'geopandas', 'pandas', 'numpy', 'folium'} & set(sys.modules);"
        "sys.exit(f'loaded {heavy}' if heavy else code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, argument], cwd=root, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()


class Terminal:
    """A standard error that says it is a terminal and keeps what it is told."""

    def __init__(self) -> None:
        self.text = ""

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> None:
        self.text += text

    def flush(self) -> None:
        pass


def talk_of_a_run(monkeypatch: pytest.MonkeyPatch, *, quiet: bool, patience_s: float) -> str:
    """Return what a run of two steps says on a terminal."""
    # Put in place here, not in a fixture: pytest exchanges the streams after its fixtures.
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with Progress(quiet=quiet, patience_s=patience_s) as progress:
        progress.step("reading")
        if progress._timer.is_alive() and patience_s == 0:
            progress._timer.join()
        progress.step("drawing")
    return terminal.text


def test_a_slow_run_says_its_steps_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    said = talk_of_a_run(monkeypatch, quiet=False, patience_s=0.0)
    assert said.endswith("snoutline: drawing ...\n")


def test_a_fast_run_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert talk_of_a_run(monkeypatch, quiet=False, patience_s=3600.0) == ""


def test_a_quiet_run_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert talk_of_a_run(monkeypatch, quiet=True, patience_s=0.0) == ""


def test_nothing_is_said_where_there_is_no_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with Progress(patience_s=0.0) as progress:
        progress.step("reading")
    assert capsys.readouterr().err == ""
