"""The set-up: what it keeps, what it remakes, and what it says when it cannot."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from conftest import chromium_or_stop

from scripts import environment as setup
from scripts.environment import Environment, SetUpError
from scripts.test import CHECKS, run_check


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """Make a stand-in for the repository with short lists of packages."""
    scripts = tmp_path / "scripts"
    scripts.mkdir()
    (scripts / "requirements.txt").write_text("click==8.0 \\\n    --hash=sha256:00\n")
    (scripts / "requirements-test.txt").write_text("click==8.0 \\\n    --hash=sha256:00\n# x\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    return tmp_path


@pytest.fixture
def pip_calls(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Every call of pip, which then does nothing."""
    calls: list[list[str]] = []
    monkeypatch.setattr(setup, "run_pip", calls.append)
    monkeypatch.setattr(Environment, "_compile", lambda self: None)
    return calls


def make_bare(command: list[str], what: str) -> None:
    """Stand in for `python -m venv`: a folder with an empty interpreter."""
    python = Environment(Path(command[-1]).parent).python
    python.parent.mkdir(parents=True)
    python.touch()


@pytest.fixture
def bare_venv(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(setup, "run_quietly", make_bare)


@pytest.mark.usefixtures("bare_venv")
def test_made_once_then_ready(repository: Path, pip_calls: list[list[str]]) -> None:
    environment = Environment(repository)
    assert not environment.is_ready("run")
    environment.make("run")
    assert environment.is_ready("run")
    assert not environment.is_ready("test")
    assert len(pip_calls) == 2


@pytest.mark.usefixtures("bare_venv")
def test_packages_are_checked_by_hash_and_never_built(
    repository: Path, pip_calls: list[list[str]]
) -> None:
    Environment(repository).make("run")
    packages, itself = pip_calls
    assert {"--require-hashes", "--only-binary=:all:"} <= set(packages)
    assert {"--no-deps", "--no-build-isolation", "--no-index", "--editable"} <= set(itself)


@pytest.mark.usefixtures("bare_venv", "pip_calls")
@pytest.mark.parametrize("changed", ["scripts/requirements.txt", "pyproject.toml"])
def test_a_changed_list_makes_it_anew(repository: Path, changed: str) -> None:
    environment = Environment(repository)
    environment.make("run")
    path = repository / changed
    path.write_text(path.read_text() + "# another\n")
    assert not environment.is_ready("run")


@pytest.mark.usefixtures("bare_venv", "pip_calls")
def test_other_line_ends_do_not_make_it_anew(repository: Path) -> None:
    environment = Environment(repository)
    environment.make("run")
    path = repository / "pyproject.toml"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert environment.is_ready("run")


@pytest.mark.usefixtures("bare_venv", "pip_calls")
def test_another_python_makes_it_anew(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = Environment(repository)
    environment.make("run")
    monkeypatch.setattr(sys, "version", "3.99.0")
    assert not environment.is_ready("run")


@pytest.mark.usefixtures("bare_venv")
def test_half_made_is_removed_and_remade(
    repository: Path, pip_calls: list[list[str]], capfd: pytest.CaptureFixture[str]
) -> None:
    environment = Environment(repository)
    environment.python.parent.mkdir(parents=True)
    left = environment.folder / "left-over"
    left.touch()
    environment.make("run")
    assert not left.exists()
    assert environment.is_ready("run")
    assert "removing the old or half-made" in capfd.readouterr().err
    assert pip_calls


@pytest.mark.usefixtures("bare_venv")
def test_a_failed_step_leaves_it_not_ready(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(command: list[str]) -> None:
        raise SetUpError("no network")

    monkeypatch.setattr(setup, "run_pip", fail)
    environment = Environment(repository)
    with pytest.raises(SetUpError, match="no network"):
        environment.make("run")
    assert not environment.is_ready("run")


@pytest.mark.usefixtures("bare_venv", "pip_calls")
def test_test_tools_are_added_to_a_run_environment(repository: Path) -> None:
    environment = Environment(repository)
    environment.make("run")
    kept = environment.folder / "kept"
    kept.touch()
    environment.make("test")
    assert kept.exists()
    assert environment.is_ready("test")
    assert environment.is_ready("run")


@pytest.mark.usefixtures("bare_venv", "pip_calls")
def test_a_damaged_stamp_counts_as_half_made(repository: Path) -> None:
    environment = Environment(repository)
    environment.make("run")
    (environment.folder / setup.STAMP).write_text("{")
    assert not environment.is_ready("run")


def test_a_python_that_is_too_old_is_told_in_one_line() -> None:
    with pytest.raises(SetUpError, match=r"^Python 3\.11 or newer is needed and this is Python 3"):
        setup.check_python((3, 10))


def test_a_debian_python_without_venv_is_told_the_package(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(setup.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(SetUpError, match="apt install python3-venv"):
        setup.check_venv_module()


PIP_COMPLAINTS = {
    "no network": (
        "WARNING: Retrying (Retry(total=0)) after connection broken by 'NewConnectionError("
        "<...>: Failed to establish a new connection)': /simple/click/\n"
        "ERROR: Could not find a version that satisfies the requirement click==8.0 (from none)\n"
        "ERROR: No matching distribution found for click==8.0"
    ),
    "does not have the hash": (
        "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.\n"
    ),
    "no ready-made click==8.0 for Python": (
        "ERROR: Could not find a version that satisfies the requirement click==8.0\n"
        "ERROR: No matching distribution found for click==8.0\n"
    ),
    "pip failed: Could not install packages due to an OSError": (
        "ERROR: Could not install packages due to an OSError: No space left on device\n"
    ),
    "no reason given": "",
}


@pytest.mark.parametrize("expected", PIP_COMPLAINTS)
def test_each_complaint_of_pip_becomes_one_line(expected: str) -> None:
    told = setup.explain_pip(PIP_COMPLAINTS[expected])
    assert expected in told
    assert "\n" not in told


def test_a_failing_pip_is_explained() -> None:
    script = "import sys; sys.exit('ERROR: disk quota exceeded')"
    with pytest.raises(SetUpError, match="pip failed: disk quota exceeded"):
        setup.run_pip([sys.executable, "-c", script])


def test_a_failing_venv_is_explained() -> None:
    with pytest.raises(SetUpError, match="making it failed: no room"):
        setup.run_quietly([sys.executable, "-c", "raise SystemExit('no room')"], "making it")


def test_set_up_ends_with_one_line_and_no_trace(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(command: list[str], what: str) -> None:
        raise PermissionError(13, "Permission denied", "here")

    monkeypatch.setattr(setup, "run_quietly", fail)
    with pytest.raises(SystemExit, match=r"set-up stopped: .*Permission denied"):
        setup.prepared(repository, "run")


def test_the_start_files_need_only_the_standard_library(root: Path) -> None:
    """With site-packages switched off the three files still import."""
    code = "import scripts.environment, scripts.weekly, scripts.test"
    done = subprocess.run(
        [sys.executable, "-S", "-E", "-c", code], cwd=root, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()


def pinned(path: Path) -> dict[str, set[str]]:
    """Return package -> its pinned lines of a list."""
    pins: dict[str, set[str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if re.match(r"[a-z0-9]", line):
            pins.setdefault(line.split("==")[0], set()).add(line.rstrip(" \\"))
    return pins


@pytest.mark.parametrize("name", setup.REQUIREMENTS.values())
def test_every_requirement_is_pinned_and_hashed_without_any_address(root: Path, name: str) -> None:
    text = (root / "scripts" / name).read_text(encoding="utf-8")
    entries = re.split(r"\n(?=[a-z0-9])", text)
    unhashed = [each for each in entries if "==" not in each or "--hash=sha256:" not in each]
    assert unhashed == []
    assert "://" not in text
    assert "--index" not in text
    assert "--find-links" not in text


def test_the_test_list_holds_everything_of_the_run_list(root: Path) -> None:
    run = pinned(root / "scripts" / "requirements.txt")
    test = pinned(root / "scripts" / "requirements-test.txt")
    assert {name: pins for name, pins in run.items() if test.get(name) != pins} == {}


def test_every_dependency_is_in_its_list(root: Path) -> None:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = {
        "requirements.txt": [*project["dependencies"], "hatchling", "editables"],
        "requirements-test.txt": project["optional-dependencies"]["test"],
    }
    for name, requirements in wanted.items():
        names = {re.split(r"[<>=!~ ]", each)[0] for each in requirements}
        assert names - set(pinned(root / "scripts" / name)) == set()


@pytest.mark.parametrize(("body", "outcome"), [("", "ok"), ("raise SystemExit(3)", "FAILED")])
def test_a_check_reports_its_outcome(tmp_path: Path, body: str, outcome: str) -> None:
    """A check is a module run in the repository; its exit code is its outcome."""
    (tmp_path / "ruff.py").write_text(body)
    environment = Environment(tmp_path)
    environment.scripts.mkdir(parents=True)
    environment.python.symlink_to(sys.executable)
    assert run_check(environment, CHECKS[1]) == f"ruff format --check: {outcome}"


def test_the_stamp_names_what_it_depends_on(repository: Path) -> None:
    stamp = Environment(repository)._stamp("run")
    assert set(stamp) == {"kind", "lists", "python", "interpreter", "root"}
    assert json.loads(json.dumps(stamp)) == stamp


def test_without_a_browser_the_browser_tests_fail_in_ci(tmp_path: Path) -> None:
    with pytest.raises(pytest.fail.Exception, match=r"no Chromium found.*may not be skipped"):
        chromium_or_stop({"CI": "true", "PATH": str(tmp_path)})


@pytest.mark.parametrize("ci", ["", "false", "0"])
def test_without_a_browser_they_are_skipped_elsewhere(tmp_path: Path, ci: str) -> None:
    with pytest.raises(pytest.skip.Exception, match=r"^no Chromium found: install chromium"):
        chromium_or_stop({"CI": ci, "PATH": str(tmp_path)})


def test_a_named_browser_comes_first(tmp_path: Path) -> None:
    named = tmp_path / "my-browser"
    for path in (named, tmp_path / "chromium"):
        path.write_text("")
        path.chmod(0o755)
    variables = {"PATH": str(tmp_path)}
    assert chromium_or_stop(variables) == str(tmp_path / "chromium")
    assert chromium_or_stop({**variables, "SNOUTLINE_CHROMIUM": str(named)}) == str(named)
