"""The environment that snoutline runs in: made once, checked at each start.

Standard library only, because it runs before anything is installed.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NoReturn

OLDEST_PYTHON = (3, 11)
FOLDER = ".venv-snoutline"
STAMP = "snoutline-stamp.json"
REQUIREMENTS = {"run": "requirements.txt", "test": "requirements-test.txt"}

Kind = Literal["run", "test"]

NETWORK_SIGNS = (
    "NewConnectionError",
    "NameResolutionError",
    "ConnectTimeout",
    "ReadTimeout",
    "ProxyError",
    "SSLError",
    "Network is unreachable",
    "Connection refused",
    "connection broken",
)


class SetUpError(Exception):
    """The environment cannot be made; the message is one line that says how to mend it."""


@dataclass(frozen=True)
class Environment:
    """A virtual environment inside the repository.

    Parameters
    ----------
    root
        The repository's top folder.
    """

    root: Path

    @property
    def folder(self) -> Path:
        """The environment's own folder, which is safe to delete at any time."""
        return self.root / FOLDER

    @property
    def scripts(self) -> Path:
        """Where its commands are: `Scripts` on Windows, `bin` elsewhere."""
        return self.folder / ("Scripts" if os.name == "nt" else "bin")

    @property
    def python(self) -> Path:
        """Its interpreter."""
        return self.scripts / _executable("python")

    @property
    def command(self) -> Path:
        """Its `snoutline` command."""
        return self.scripts / _executable("snoutline")

    def requirements(self, kind: Kind) -> Path:
        """Return the pinned, hash-checked list for `kind`."""
        return self.root / "scripts" / REQUIREMENTS[kind]

    def is_ready(self, kind: Kind) -> bool:
        """Return whether it holds exactly what the lists ask for now.

        The test list holds everything of the run list (a test checks that), so an environment
        made for the tests also runs the product.
        """
        stamped = self._stamped()
        wanted: tuple[Kind, ...] = ("run", "test") if kind == "run" else ("test",)
        return self.python.exists() and any(stamped == self._stamp(each) for each in wanted)

    def make(self, kind: Kind) -> None:
        """Make it ready for `kind`, from nothing unless only the test tools are missing.

        Raises
        ------
        SetUpError
            If a step fails. What was half made is removed at the next start.
        """
        adds_tests = kind == "test" and self.is_ready("run")
        packages = count_packages(self.requirements(kind))
        say(f"setting up in {FOLDER} (once; Python {platform.python_version()})")
        if adds_tests:
            say("step 1 of 3: keeping the environment, adding the test tools")
            (self.folder / STAMP).unlink()
        else:
            say("step 1 of 3: making an empty environment")
            self._make_empty()
        say(f"step 2 of 3: installing up to {packages} pinned packages, each checked by its hash")
        self._pip("--require-hashes", "--only-binary=:all:", "-r", str(self.requirements(kind)))
        if kind == "test":
            self._compile()
        say("step 3 of 3: installing snoutline itself")
        self._pip("--no-deps", "--no-build-isolation", "--no-index", "--editable", str(self.root))
        (self.folder / STAMP).write_text(json.dumps(self._stamp(kind), indent=1), encoding="utf-8")
        say("ready")

    def _make_empty(self) -> None:
        check_venv_module()
        if self.folder.exists():
            say(f"removing the old or half-made {FOLDER}")
            shutil.rmtree(self.folder)
        run_quietly([sys.executable, "-m", "venv", str(self.folder)], "making the environment")

    def _pip(self, *arguments: str) -> None:
        # Python compiles a module when it is first used: compiling all of them here took 30 s.
        command = [str(self.python), "-I", "-m", "pip", "install", "--no-input", "--no-compile"]
        command.append("--disable-pip-version-check")
        if not sys.stderr.isatty():
            command.append("--quiet")
        run_pip([*command, *arguments])

    def _compile(self) -> None:
        """Compile all packages, or the tests would take a compiler's warning for an error."""
        # Some packages hold files that are no Python; their complaints are of no interest.
        compiler = [str(self.python), "-I", "-m", "compileall", "-q", "-j", "0"]
        subprocess.run([*compiler, str(self.folder)], capture_output=True, check=False)

    def _stamped(self) -> object:
        try:
            stamped: object = json.loads((self.folder / STAMP).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return stamped

    def _stamp(self, kind: Kind) -> dict[str, str]:
        """Everything that must be unchanged for the environment to be used again."""
        digest = hashlib.sha256()
        for path in (self.requirements(kind), self.root / "pyproject.toml"):
            # Git may check text out with other line ends; that is no reason to start again.
            digest.update(path.read_bytes().replace(b"\r\n", b"\n") + b"\0")
        return {
            "kind": kind,
            "lists": digest.hexdigest(),
            "python": sys.version,
            "interpreter": os.path.realpath(sys.executable),
            "root": str(self.root),
        }


def _executable(name: str) -> str:
    return name + ".exe" if os.name == "nt" else name


def say(text: str) -> None:
    """Tell the person at the keyboard; standard output is kept for results."""
    print(f"snoutline: {text}", file=sys.stderr, flush=True)


def count_packages(requirements: Path) -> int:
    """Return how many packages a pinned list names, each once."""
    lines = requirements.read_text(encoding="utf-8").splitlines()
    return len({line.split("==")[0] for line in lines if "==" in line and line[0].isalnum()})


def check_python(version: tuple[int, int]) -> None:
    """Check that this Python is new enough.

    Raises
    ------
    SetUpError
        If it is not.

    Examples
    --------
    >>> check_python((3, 11))
    >>> check_python((3, 9))
    Traceback (most recent call last):
    ...
    scripts.environment.SetUpError: Python 3.11 or newer is needed and this is Python 3.9; \
install a newer one and start the same file with it
    """
    if version < OLDEST_PYTHON:
        needed, found = (".".join(map(str, each)) for each in (OLDEST_PYTHON, version))
        raise SetUpError(
            f"Python {needed} or newer is needed and this is Python {found}; "
            "install a newer one and start the same file with it"
        )


def check_venv_module() -> None:
    """Check that this Python can make virtual environments; Debian's needs one more package.

    Raises
    ------
    SetUpError
        If it cannot.
    """
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if missing:
        raise SetUpError(
            f"this Python has no {' and no '.join(missing)} module; "
            "on Debian or Ubuntu: apt install python3-venv, then start again"
        )


def run_quietly(command: Sequence[str], what: str) -> None:
    """Run a command that has nothing to say unless it fails.

    Raises
    ------
    SetUpError
        If it returns anything but 0.
    """
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    if done.returncode:
        raise SetUpError(f"{what} failed: {_last_line(done.stderr + done.stdout)}")


def run_pip(command: Sequence[str]) -> None:
    """Run pip with its progress on standard error, and turn its complaint into one line.

    Raises
    ------
    SetUpError
        If pip returns anything but 0.
    """
    # Progress goes to pip's standard output, complaints to its standard error: only the first
    # is shown as it comes.
    done = subprocess.run(
        command,
        stdout=sys.stderr.fileno(),
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
        check=False,
    )
    if os.environ.get("SNOUTLINE_DEBUG"):
        sys.stderr.write(done.stderr)
    if done.returncode:
        raise SetUpError(explain_pip(done.stderr))


def explain_pip(complaint: str) -> str:
    r"""Return one line for what pip wrote on standard error.

    Examples
    --------
    >>> explain_pip("WARNING: Retrying ... NewConnectionError ...\nERROR: No matching ...")
    'the packages cannot be fetched: no network, or a proxy is in the way; connect and start again'
    >>> explain_pip("ERROR: disk quota exceeded")
    'pip failed: disk quota exceeded; SNOUTLINE_DEBUG=1 shows all it says'
    """
    if any(sign in complaint for sign in NETWORK_SIGNS):
        return (
            "the packages cannot be fetched: no network, or a proxy is in the way; "
            "connect and start again"
        )
    if "DO NOT MATCH THE HASHES" in complaint:
        return (
            "a package does not have the hash it had when snoutline was released; nothing of it "
            "was installed; start again, and if it stays so report it"
        )
    if "No matching distribution" in complaint:
        wanted = complaint.rpartition("No matching distribution found for ")[2].split(maxsplit=1)[0]
        return (
            f"there is no ready-made {wanted} for Python {platform.python_version()} on "
            f"{platform.system()} {platform.machine()}; use Python 3.11, 3.12 or 3.13"
        )
    return f"pip failed: {_last_line(complaint)}; SNOUTLINE_DEBUG=1 shows all it says"


def _last_line(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith(("ERROR:", "Error:"))]
    chosen = (errors or lines or ["no reason given"])[-1]
    return chosen.split(":", 1)[-1].strip() if errors else chosen


def prepared(root: Path, kind: Kind) -> Environment:
    """Return the environment of `root`, ready for `kind`; end with one line if that fails."""
    environment = Environment(root)
    try:
        check_python(sys.version_info[:2])
        if not environment.is_ready(kind):
            environment.make(kind)
    except (SetUpError, OSError) as error:
        sys.exit(f"snoutline: set-up stopped: {error}")
    except KeyboardInterrupt:
        sys.exit("snoutline: set-up stopped by you; the next start begins it again")
    return environment


def become(command: Sequence[str]) -> NoReturn:
    """Replace this process by a command; on Windows run it and end with its exit code."""
    variables = clean_variables(os.environ)
    if os.name == "nt":
        sys.exit(subprocess.run(command, env=variables, check=False).returncode)
    sys.stdout.flush()
    os.execve(command[0], list(command), variables)


def clean_variables(variables: Mapping[str, str]) -> dict[str, str]:
    """Return the variables without those that would lead Python to other packages.

    Examples
    --------
    >>> clean_variables({"PATH": "/bin", "PYTHONPATH": "/elsewhere", "PYTHONHOME": "/x"})
    {'PATH': '/bin'}
    """
    return {k: v for k, v in variables.items() if k not in {"PYTHONPATH", "PYTHONHOME"}}
