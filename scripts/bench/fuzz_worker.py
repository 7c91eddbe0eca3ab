"""The process of the fuzz run that reads sites as `snoutline check` does, and says how it went.

It takes one folder a line on standard input and answers with one line of JSON. Each site is read
in a child of its own, forked once everything is imported and warm: a crash ends only the child, and
neither memory nor caches are handed on. What started it kills the whole group when it hangs.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import resource
import sys
import time
import traceback
import warnings
from pathlib import Path
from typing import TextIO

from data.findings import Finding, InputError, SettingsError
from data.reading import read_site
from data.set_aside import Account
from maps.set_aside import set_aside_csv
from scripts.commands.check import document, report

ROOM_MB = 3000
"""Address space left to a worker above what it has at its start, so that it cannot harm others."""


def main() -> None:
    """Read sites until there are no more."""
    warnings.simplefilter("ignore")
    answers = _own_output()
    for folder in sys.argv[1:]:
        outcome(Path(folder))
    _limit_memory()
    gc.collect()
    print(json.dumps({"baseline_mb": _peak_kb() / 1024}), file=answers, flush=True)
    for line in sys.stdin:
        print(_in_child(Path(line.rstrip("\n"))), file=answers, flush=True)


def outcome(folder: Path) -> str:
    """Read and report one site; anything but a clean refusal goes through as it is."""
    try:
        site = read_site(folder)
    except SettingsError as error:
        str(error).encode()
        return "SettingsError"
    except InputError as error:
        _report(error.findings, error.account if isinstance(error.account, Account) else Account())
        return "InputError"
    _report(site.findings, site.account)
    return "findings" if site.findings else "clean"


def _report(findings: tuple[Finding, ...], account: Account) -> None:
    """Write the report as text and as JSON, and the rows set aside, to nowhere."""
    "\n".join(report(findings, account, 100, None)).encode()
    json.dumps(document(findings, account), ensure_ascii=False).encode()
    set_aside_csv(account).encode()


def _in_child(folder: Path) -> str:
    """Read one site in a child and return its answer, or how it ended without any."""
    start = time.perf_counter()
    here, there = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(here)
        with os.fdopen(there, "wb") as pipe:
            pipe.write(json.dumps(_timed(folder)).encode())
        os._exit(0)
    os.close(there)
    with os.fdopen(here, "rb") as pipe:
        answer = pipe.read()
    _, status = os.waitpid(child, 0)
    if answer:
        return answer.decode()
    seconds = time.perf_counter() - start
    said = f"crash ({os.waitstatus_to_exitcode(status)})"
    return json.dumps({"outcome": said, "detail": "", "seconds": seconds, "mb": 0.0})


def _timed(folder: Path) -> dict[str, object]:
    baseline_kb = _peak_kb()
    start, cpu = time.perf_counter(), time.process_time()
    detail = ""
    try:
        said = outcome(folder)
    except BaseException as error:
        # All that is not a clean refusal is what the run is looking for, MemoryError included.
        said = type(error).__name__
        detail = "".join(traceback.format_exception(error)[-6:])[-3000:]
    return {
        "outcome": said,
        "detail": detail,
        "seconds": time.perf_counter() - start,
        "cpu_seconds": time.process_time() - cpu,
        "mb": (_peak_kb() - baseline_kb) / 1024,
    }


def _own_output() -> TextIO:
    """Return the pipe to the parent; what drivers print goes to standard error instead."""
    kept = os.dup(1)
    os.dup2(2, 1)
    return os.fdopen(kept, "w", encoding="utf-8")


def _limit_memory() -> None:
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with contextlib.suppress(OSError, ValueError):
        size = _status_kb("VmSize") * 1024
        resource.setrlimit(resource.RLIMIT_AS, (size + ROOM_MB * 2**20, resource.RLIM_INFINITY))


def _peak_kb() -> int:
    """Return the peak of resident memory; that of a child begins with what it has at its start."""
    try:
        return _status_kb("VmHWM")
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _status_kb(name: str) -> int:
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:"))


if __name__ == "__main__":
    main()
