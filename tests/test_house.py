"""The shape of the code: who may import whom, sizes, and what may not be in the tree."""

from __future__ import annotations

import ast
import re
import shutil
import statistics
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from data.version import VERSION

ROOT = Path(__file__).resolve().parent.parent
MAY_IMPORT = {
    "data": {"data"},
    "spatial": {"spatial", "data"},
    "maps": {"maps", "spatial", "data"},
    "scripts": {"scripts", "maps", "spatial", "data"},
}
PACKAGES = tuple(MAY_IMPORT)
SOURCES = sorted(path for name in PACKAGES for path in (ROOT / name).rglob("*.py"))
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "spatial",
    "data",
    "maps",
    "tests",
    "scripts",
    "LICENSE",
    "CHANGELOG.md",
    "CITATION.cff",
    ".ci",
    ".gitignore",
}
MACHINE_FOLDERS = ("root", "work", "home", "Users", "tmp/dev")
HOST_WORDS = ("pypi", "pythonhosted", "artifactory", "nexus", "npmjs", "jsdelivr", "unpkg")
HOST = re.compile(r"\b[\w.-]*(" + "|".join(HOST_WORDS) + r")[\w-]*\.(org|com|net|io)\b")
MACHINE_PATH = re.compile(r"(?<![\w.~/>-])/(" + "|".join(MACHINE_FOLDERS) + r")/\w")

Function = ast.FunctionDef | ast.AsyncFunctionDef


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imported(tree: ast.Module) -> set[str]:
    """Return the top-level names of all imports, those inside functions included."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {each.name.partition(".")[0] for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.partition(".")[0])
    return names


def functions(path: Path) -> Iterator[Function]:
    for node in ast.walk(parsed(path)):
        if isinstance(node, Function):
            yield node


def body_lines(function: Function) -> int:
    """Return the lines of a function's body without its docstring."""
    body = function.body
    if ast.get_docstring(function, clean=False) is not None:
        body = body[1:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def parameters(function: Function) -> int:
    """Return the number of parameters, `self` and `cls` not counted."""
    given = function.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg]
    return len([each for each in every if each is not None and each.arg not in {"self", "cls"}])


def tracked() -> list[Path]:
    """Return the files that are or would be committed."""
    if shutil.which("git") and (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            check=True,
        ).stdout.decode()
        paths = [ROOT / name for name in listed.split("\0") if name]
        return [path for path in paths if path.is_file()]
    return [*SOURCES, *(ROOT / "tests").rglob("*.py"), *ROOT.glob("*.md"), ROOT / "pyproject.toml"]


def text_of(path: Path) -> str:
    """Return the text of a file; a picture or an archive gives none."""
    data = path.read_bytes()
    return "" if b"\0" in data else data.decode("utf-8", errors="replace")


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_imports_go_one_way(path: Path) -> None:
    """Data <- spatial <- maps <- scripts, and no package knows the tests."""
    package = path.relative_to(ROOT).parts[0]
    forbidden = (set(PACKAGES) | {"tests"}) - MAY_IMPORT[package]
    tree = parsed(path)
    assert imported(tree) & forbidden == set()
    relatives = [n for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.level > 0]
    assert relatives == [], "imports name their package in full"


def test_the_rule_of_imports_sees_a_breach() -> None:
    tree = ast.parse("def f():\n    from scripts.cli import run\n    import maps.page as p\n")
    assert imported(tree) == {"scripts", "maps"}


def test_the_top_level_is_exactly_as_agreed() -> None:
    found = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert found == TOP_LEVEL


@pytest.mark.parametrize("package", PACKAGES)
def test_a_package_is_marked_as_typed(package: str) -> None:
    assert (ROOT / package / "py.typed").is_file()


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_no_function_is_long_or_has_many_parameters(path: Path) -> None:
    long = {f.name: body_lines(f) for f in functions(path) if body_lines(f) > 60}
    wide = {f.name: parameters(f) for f in functions(path) if parameters(f) > 7}
    assert long == {}
    assert wide == {}


def test_half_of_all_functions_have_under_twelve_lines() -> None:
    lengths = [body_lines(f) for path in SOURCES for f in functions(path)]
    assert statistics.median(lengths) < 12


def test_lengths_are_counted_without_the_docstring() -> None:
    source = 'def f(a, *b, c=1, **d):\n    """Say.\n\n    More.\n    """\n    x = 1\n    return x\n'
    function = ast.parse(source).body[0]
    assert isinstance(function, ast.FunctionDef)
    assert body_lines(function) == 2
    assert parameters(function) == 4


READERS = {"open", "print", "input"}
FILE_METHODS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "read_csv", "read_file",
    "to_csv", "to_file", "now", "today", "utcnow",
}  # fmt: skip
FILE_MODULES = {"os", "io", "pathlib", "time", "random", "logging", "tempfile", "shutil", "folium"}


def impure(tree: ast.Module) -> set[str]:
    """Return what a module does besides arithmetic: files, printing, the clock, global chance."""
    found = imported(tree) & FILE_MODULES
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Name) and node.func.id in READERS:
            found.add(node.func.id)
        if isinstance(node.func, ast.Attribute) and node.func.attr in FILE_METHODS:
            found.add(node.func.attr)
        called = ast.unparse(node.func)
        if re.match(r"(np|numpy)\.random\.(?!default_rng|Generator|SeedSequence|PCG64)", called):
            found.add(called)
    return found


@pytest.mark.parametrize("path", sorted((ROOT / "spatial").rglob("*.py")), ids=relative)
def test_spatial_opens_no_file_prints_nothing_and_has_no_clock(path: Path) -> None:
    assert impure(parsed(path)) == set()


def test_the_rule_of_purity_sees_a_breach() -> None:
    source = "import os\nprint(1)\nopen('x')\np.read_text()\nnp.random.seed(1)\ndate.today()\n"
    found = impure(ast.parse(source))
    assert found == {"os", "print", "open", "read_text", "np.random.seed", "today"}


def test_no_module_is_a_drawer_of_odds_and_ends() -> None:
    odd = {"utils", "util", "helpers", "helper", "common", "misc"}
    assert [relative(path) for path in SOURCES if path.stem.strip("_") in odd] == []


def test_no_tracked_file_names_a_package_host_or_a_path_of_a_machine() -> None:
    found = {}
    for path in tracked():
        text = text_of(path)
        match = None if path == Path(__file__) else HOST.search(text) or MACHINE_PATH.search(text)
        if match is not None:
            found[relative(path)] = match.group()
    assert found == {}


@pytest.mark.parametrize("text", ["https://files." + "pythonhosted.org/x", "see /" + "root/x.py"])
def test_the_rule_of_hosts_and_paths_sees_a_breach(text: str) -> None:
    assert HOST.search(text) or MACHINE_PATH.search(text)


def test_continuous_integration_runs_what_a_developer_runs() -> None:
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("#!")
    assert "set -euo pipefail" in lines
    assert lines[-1] == "python3 scripts/test.py"


def test_versions_agree() -> None:
    """CITATION.cff and CHANGELOG.md name the version of the code."""
    citation = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {VERSION}\n" in citation
    assert VERSION in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
