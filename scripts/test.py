"""Run every check: set snoutline up with its test tools if needed, then lint, types and tests.

Needs Python 3.11 or newer and nothing else. Arguments are passed on to pytest, which runs on all
cores.
"""

import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts.environment import Environment, clean_variables, prepared, say

ROOT = Path(__file__).resolve().parent.parent
CODE = ("data", "spatial", "maps", "scripts")

CHECKS: tuple[tuple[str, ...], ...] = (
    ("ruff", "check", *CODE, "tests"),
    ("ruff", "format", "--check", *CODE, "tests"),
    ("mypy",),
)
"""Every check that comes before pytest, as a command of the environment."""

WORKERS = ("--numprocesses", "auto", "--maxprocesses", "8", "--dist", "worksteal")
"""One process per core; ``-n0`` behind the script's name runs the tests in one."""


def run_check(environment: Environment, check: tuple[str, ...]) -> str:
    """Run one check and return its outcome, e.g. ``"ruff check: ok"``."""
    name = " ".join(word for word in check if word not in {*CODE, "tests"})
    say(f"running {name}")
    done = run(environment, [*check])
    outcome = f"{name}: {'FAILED' if done else 'ok'}"
    say(outcome)
    return outcome


def run(environment: Environment, arguments: list[str], **variables: str) -> int:
    """Run `python -m` with the arguments in the repository and return its exit code."""
    sys.stdout.flush()
    return subprocess.run(
        [str(environment.python), "-m", *arguments],
        cwd=environment.root,
        env={**clean_variables(os.environ), **variables},
        check=False,
    ).returncode


def main() -> int:
    """Run all checks, also after one has failed, and return 0 only if all passed."""
    environment = prepared(ROOT, "test")
    outcomes = [run_check(environment, check) for check in CHECKS]
    # pytest runs last and shows these outcomes above its own closing line, which so stays last.
    pytest = ["pytest", *WORKERS, *sys.argv[1:]]
    failed = run(environment, pytest, SNOUTLINE_OUTCOMES="\n".join(outcomes))
    return 1 if failed or any(each.endswith("FAILED") for each in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
