"""Spoil files at random and see that reading them ends in findings or in a clean refusal.

Run as ``python -m scripts.bench.fuzz --minutes 10``. Every input is a small site with one file
spoiled by its structure (cells, tags, tree, members, tables, records) or by its bytes. It is read
and reported as `snoutline check` does, in a process of its own. A defect is any exception but
`SettingsError` and `InputError`, a crash, more than 2 s, or more than 500 MB; it is kept as an
archive that ``--replay`` reads again.

Seconds are wall time of reading and reporting, start-up left out. An input over the bar is read
again three times, and the least of their wall and processor times counts, for waiting on a busy
machine is no defect, and reading waits for nothing else. Megabytes are the
growth of peak resident memory (Linux: VmHWM) of a process forked for that input, over what it has
at its start: everything imported, and one site of every format read. What it shares with the
process it was forked from is not counted.

Input N of seed S is the same on every run with the same versions of the libraries.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import random
import select
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from scripts.bench.fuzz_corpus import ROOT, Seed, corpus, zipped
from scripts.bench.fuzz_files import spoil_member

MOST_SECONDS = 2.0
MOST_MB = 500.0
PATIENCE_S = 60.0
"""A worker that has not answered after this long is killed."""

RETIMES = 3
FINE = ("clean", "findings", "SettingsError", "InputError")
DEFECT = "defect"


@dataclass(frozen=True, slots=True)
class Case:
    """One input: which seed was spoiled, and the files that came of it."""

    name: str
    form: str
    files: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class Reading:
    """How one reading went."""

    outcome: str
    seconds: float
    mb: float
    detail: str = ""
    cpu_seconds: float = 0.0

    @property
    def faults(self) -> list[str]:
        """What is wrong with it, in words."""
        found = [] if self.outcome in FINE else [self.outcome]
        found += [f"{self.seconds:.1f} s"] if self.seconds > MOST_SECONDS else []
        return found + ([f"{self.mb:.0f} MB"] if self.mb > MOST_MB else [])


@dataclass(slots=True)
class Tally:
    """What came of the inputs of one format."""

    outcomes: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0
    mb: float = 0.0

    def add(self, reading: Reading) -> None:
        """Count one input."""
        self.outcomes[reading.outcome if reading.outcome in FINE else DEFECT] += 1
        self.outcomes["flawed"] += bool(reading.faults)
        self.seconds, self.mb = max(self.seconds, reading.seconds), max(self.mb, reading.mb)


class Worker:
    """A process that reads sites; it is started again when it hangs or dies."""

    def __init__(self, seeds: Sequence[Seed]) -> None:
        self._room = tempfile.TemporaryDirectory(prefix="fuzz-")
        folder = Path(self._room.name)
        forms = {seed.form: seed for seed in seeds}
        self._warm = [str(_written(s.files, folder / f"warm-{f}")) for f, s in forms.items()]
        self._log = (folder / "log").open("w+b")
        self._process: subprocess.Popen[bytes] | None = None
        self.baseline_mb = 0.0

    def close(self) -> None:
        """End the process and remove its folder."""
        self._stop()
        self._log.close()
        self._room.cleanup()

    def reading(self, files: Mapping[str, bytes]) -> Reading:
        """Read one site."""
        process = self._process or self._start()
        with tempfile.TemporaryDirectory(dir=self._room.name) as folder:
            site = _written(files, Path(folder, "site"))
            assert process.stdin is not None
            process.stdin.write(f"{site}\n".encode())
            process.stdin.flush()
            start = time.perf_counter()
            answer = self._answer(process)
        if answer is None:
            return self._dead(process, time.perf_counter() - start)
        reading = Reading(**answer)
        crashed = reading.outcome.startswith("crash")
        return replace(reading, detail=self._said()) if crashed else reading

    def _start(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-X", "faulthandler", "-m", "scripts.bench.fuzz_worker"]
        self._log.seek(0)
        self._log.truncate()
        process = subprocess.Popen(
            [*command, *self._warm],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            start_new_session=True,
        )
        self._process = process
        answer = self._answer(process)
        if answer is None:
            raise SystemExit(f"the worker does not start:\n{self._said()}")
        self.baseline_mb = answer["baseline_mb"]
        return process

    def _answer(self, process: subprocess.Popen[bytes]) -> dict[str, Any] | None:
        assert process.stdout is not None
        ready, _, _ = select.select([process.stdout], [], [], PATIENCE_S)
        line = process.stdout.readline() if ready else b""
        return json.loads(line) if line else None

    def _dead(self, process: subprocess.Popen[bytes], seconds: float) -> Reading:
        hung = process.poll() is None and seconds >= PATIENCE_S
        self._stop()
        word = "hang" if hung else f"crash ({process.returncode})"
        return Reading(word, seconds, 0.0, self._said())

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.communicate()

    def _said(self) -> str:
        size = self._log.seek(0, os.SEEK_END)
        self._log.seek(max(0, size - 3000))
        return self._log.read().decode("utf-8", "replace")


def made(seeds: Mapping[str, Sequence[Seed]], seed: int, place: int) -> Case:
    """Return one input.

    Parameters
    ----------
    seeds
        Format -> sites that can be spoiled.
    seed, place
        Which run, and which input of it.
    """
    chance = random.Random(f"{seed}:{place}")
    form = sorted(seeds)[place % len(seeds)]
    chosen = chance.choice(seeds[form])
    files = dict(chosen.files)
    for _ in range(chance.choice((1, 1, 2, 3))):
        target = chance.choice(chosen.targets)
        spoil = spoil_member(target)
        files[target] = spoil(files[target], chance)
        if len(chosen.targets) > 1 and chance.random() < 0.05:
            del files[target]
            break
    return Case(f"{seed}-{place}-{form}", form, files)


def judged(case: Case, worker: Worker) -> Reading:
    """Read one input, and again when it is only slow."""
    reading = worker.reading(case.files)
    if reading.outcome in FINE and reading.seconds > MOST_SECONDS:
        again = [worker.reading(case.files) for _ in range(RETIMES)]
        timed = [replace(each, seconds=min(each.seconds, each.cpu_seconds)) for each in again]
        return min(timed, key=lambda each: (each.outcome in FINE, each.seconds))
    return reading


def run(arguments: argparse.Namespace) -> int:
    """Read inputs until the time is over, and print what came of them."""
    seeds: dict[str, list[Seed]] = {}
    for each in corpus():
        if not arguments.only or each.form in arguments.only:
            seeds.setdefault(each.form, []).append(each)
    if not seeds:
        raise SystemExit(f"there is no format {', '.join(arguments.only)}")
    tallies = {form: Tally() for form in sorted(seeds)}
    worker = Worker([seed for group in seeds.values() for seed in group])
    end = time.monotonic() + arguments.minutes * 60
    said, place, kept = time.monotonic(), arguments.start, 0
    while time.monotonic() < end and place - arguments.start < arguments.inputs:
        case = made(seeds, arguments.seed, place)
        reading = judged(case, worker)
        tallies[case.form].add(reading)
        if reading.faults:
            kept += 1
            print(f"DEFECT {keep(case, reading, arguments.keep)}", flush=True)
        place += 1
        if time.monotonic() > said + 30:
            said = time.monotonic()
            print(f"{place:,} inputs, {kept} defects, {(end - said) / 60:.1f} min left", flush=True)
    baseline = worker.baseline_mb
    worker.close()
    for line in table(tallies):
        print(line)
    print(f"seed {arguments.seed}; workers began at a peak of {baseline:.0f} MB")
    return 1 if kept else 0


def keep(case: Case, reading: Reading, folder: Path) -> str:
    """Write a defect to an archive and return a line about it."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{case.name}.zip"
    path.write_bytes(zipped(case.files))
    last = reading.detail.strip().splitlines()[-1:] or [""]
    return f"{path}: {', '.join(reading.faults)} {last[0][:160]}"


def table(tallies: Mapping[str, Tally]) -> list[str]:
    """Return the final table."""
    total = Tally()
    for tally in tallies.values():
        total.outcomes.update(tally.outcomes)
        total.seconds, total.mb = max(total.seconds, tally.seconds), max(total.mb, tally.mb)
    names = (*FINE, "flawed")
    lines = [
        f"{'format':<9}{'inputs':>8}"
        + "".join(f"{'defects' if name == 'flawed' else name:>14}" for name in names)
        + f"{'max s':>8}{'max MB':>8}"
    ]
    for form, tally in {**tallies, "all": total}.items():
        count = sum(n for name, n in tally.outcomes.items() if name != "flawed")
        cells = "".join(f"{tally.outcomes[name]:>14,}" for name in names)
        lines.append(f"{form:<9}{count:>8,}{cells}{tally.seconds:>8.2f}{tally.mb:>8.0f}")
    return lines


def replay(path: Path) -> int:
    """Read a kept defect again and print all that is known of it."""
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    worker = Worker(corpus())
    reading = judged(Case(path.stem, "", files), worker)
    worker.close()
    cpu = f"{reading.cpu_seconds:.2f} s of processor time"
    print(f"{reading.outcome}, {reading.seconds:.2f} s ({cpu}), {reading.mb:.0f} MB")
    print(reading.detail)
    return 1 if reading.faults else 0


def _written(files: Mapping[str, bytes], folder: Path) -> Path:
    folder.mkdir(parents=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


def main() -> int:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description="Spoil files and see that reading them ends well.")
    kept = Path(tempfile.gettempdir(), "snoutline-fuzz")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--start", type=int, default=0, help="number of the first input")
    parser.add_argument("--inputs", type=int, default=10**9, help="stop after so many")
    parser.add_argument("--only", type=lambda text: text.split(","), default=[], metavar="csv,kml")
    parser.add_argument("--keep", type=Path, default=kept, help="folder for the defects")
    parser.add_argument("--replay", type=Path, metavar="FILE", help="read one defect again")
    arguments = parser.parse_args()
    return replay(arguments.replay) if arguments.replay else run(arguments)


if __name__ == "__main__":
    sys.exit(main())
