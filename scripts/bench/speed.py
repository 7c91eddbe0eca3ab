"""Time local statistics with conditional-permutation p against esda and R's spdep, in one run.

Run as ``python -m scripts.bench.speed [--help]``. Same counts, same graph of 8 nearest neighbours,
same number of permutations for all. Every figure comes from a process of its own:

* cold: from the start of the process to the first result, imports and compiling included;
* warm: the same call again in the same process (median of up to 25 when it is quick);
* memory: peak of the process, MB, at two numbers of permutations.

Reading the data and building the graph is left out for all. snoutline works on one core; the others
are timed on one and two. esda gets ``keep_simulations=False``: by default it keeps n x permutations
numbers. Name a second Python with ``--python`` to time esda there too, say with numba. spdep is
timed where ``Rscript`` and the package are found, by one warm call. A process is stopped at the
cap, loading, cold and warm call together: what was not done by then reads ``>cap``.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
NEIGHBOURS = 8
SIZES = (60, 1_000, 10_000, 100_000)
MEMORY_PERMUTATIONS = (999, 9_999)
STATISTICS = ("gi_star", "local_moran")
QUICK_S = 2.0
"""Warm calls are repeated until they took this long together, or 25 times."""

SPDEP = """
started <- as.numeric(commandArgs(TRUE)[1]); folder <- commandArgs(TRUE)[2]
statistic <- commandArgs(TRUE)[3]; nsim <- as.integer(commandArgs(TRUE)[4])
cores <- as.integer(commandArgs(TRUE)[5]); now <- function() as.numeric(Sys.time())
suppressMessages(library(spdep)); outside <- now()
x <- scan(file.path(folder, "values.txt"), quiet = TRUE)
near <- matrix(scan(file.path(folder, "near.txt"), quiet = TRUE), nrow = length(x), byrow = TRUE)
nb <- lapply(seq_along(x), function(i) sort(as.integer(near[i, ] + 1)))
class(nb) <- "nb"
attr(nb, "region.id") <- as.character(seq_along(x))
star <- statistic == "gi_star"
weights <- if (star) nb2listw(include.self(nb), style = "B") else nb2listw(nb, style = "W")
if (cores > 1) { set.mcOption(TRUE); set.coresOption(cores) }
outside <- now() - outside
call <- function() {
  if (star) localG_perm(x, weights, nsim = nsim) else localmoran_perm(x, weights, nsim = nsim)
}
invisible(call()); cat(sprintf('{"cold": %f}\\n', now() - started - outside))
before <- now(); invisible(call()); cat(sprintf('{"warm": %f}\\n', now() - before))
"""


@dataclass(frozen=True, slots=True)
class Tool:
    """One program to time.

    Parameters
    ----------
    name
        Shown in the tables.
    command
        What starts its worker; the worker's arguments follow.
    cores
        Numbers of cores to time it on.
    """

    name: str
    command: tuple[str, ...]
    cores: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Job:
    """One call to time: where the data are, which statistic, how many permutations and cores."""

    folder: str
    statistic: str
    permutations: int
    cores: int


@dataclass(frozen=True, slots=True)
class Measured:
    """Seconds, and MB at most; infinite where the cap was reached, NaN where the call failed."""

    cold_s: float
    warm_s: float
    peak_mb: float


def main() -> None:
    """Time every tool at every size and print the tables."""
    asked = _asked()
    with tempfile.TemporaryDirectory() as folder:
        tools = list(_tools(asked.python, tuple(asked.cores), Path(folder)))
        print("tools:", ", ".join(tool.name for tool in tools))
        print(f"{asked.permutations} permutations, cap {asked.cap:g} s, seconds; x = times ours")
        for n in asked.sizes:
            _make_data(n, Path(folder))
            for statistic in STATISTICS:
                _print_times(tools, Job(folder, statistic, asked.permutations, 1), n, asked.cap)
            _print_memory(tools, folder, n, asked.cap)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    parser.add_argument("--permutations", type=int, default=9_999)
    parser.add_argument("--cap", type=float, default=180.0, help="seconds for one process")
    parser.add_argument("--cores", type=int, nargs="+", default=[1, 2], help="of the others")
    parser.add_argument("--python", nargs="*", default=[], help="more Pythons that have esda")
    return parser.parse_args()


def _tools(pythons: list[str], cores: tuple[int, ...], folder: Path) -> Iterator[Tool]:
    here = str(Path(__file__).resolve())
    yield Tool("snoutline", (sys.executable, here, "--worker", "snoutline"), (1,))
    for python in (sys.executable, *pythons):
        name = _esda_name(python)
        if name:
            yield Tool(name, (python, here, "--worker", "esda"), cores)
    if _has_spdep():
        script = folder / "spdep.R"
        script.write_text(SPDEP, encoding="utf-8")
        yield Tool("spdep", ("Rscript", str(script)), cores)
    else:
        print("spdep: not found, left out")


def _esda_name(python: str) -> str:
    """Return how to call the esda of this Python, with or without numba; empty without esda."""
    code = (
        "import importlib.metadata as m, importlib.util as u\n"
        "print('esda', m.version('esda'), '+ numba' if u.find_spec('numba') else 'no numba')"
    )
    done = subprocess.run([python, "-c", code], capture_output=True, text=True, check=False)
    return done.stdout.strip()


def _has_spdep() -> bool:
    if shutil.which("Rscript") is None:
        return False
    code = 'quit(status = !requireNamespace("spdep", quietly = TRUE))'
    return subprocess.run(["Rscript", "-e", code], capture_output=True, check=False).returncode == 0


def _make_data(n: int, folder: Path) -> None:
    """Write negative binomial counts per unequal effort, and who is near whom."""
    import numpy as np  # noqa: PLC0415 - a worker must not pay for what only the parent needs
    from scipy.spatial import cKDTree  # noqa: PLC0415 - as above

    random = np.random.default_rng(n)
    nights = random.choice([7.0, 14.0, 21.0], size=n)
    mean = 0.3 * nights
    rate = random.negative_binomial(1.0, 1.0 / (1.0 + mean)) / nights
    places = random.random((n, 2))
    near = np.asarray(cKDTree(places).query(places, NEIGHBOURS + 1)[1])[:, 1:]
    np.savetxt(folder / "values.txt", rate, fmt="%.17g")
    np.savetxt(folder / "near.txt", near, fmt="%d")


def _print_times(tools: list[Tool], job: Job, n: int, cap: float) -> None:
    print(f"\nn = {n}, {job.statistic}")
    print(f"{'tool':28s} cores {'cold':>9s} {'x':>8s} {'warm':>9s} {'x':>8s}")
    ours = None
    for tool in tools:
        for cores in tool.cores:
            found = _measure(tool, Job(job.folder, job.statistic, job.permutations, cores), cap)
            ours = ours or found
            print(
                f"{tool.name:28s} {cores:5d} {_shown(found.cold_s, cap):>9s} "
                f"{_ratio(found.cold_s, ours.cold_s):>8s} {_shown(found.warm_s, cap):>9s} "
                f"{_ratio(found.warm_s, ours.warm_s):>8s}",
                flush=True,
            )


def _print_memory(tools: list[Tool], folder: str, n: int, cap: float) -> None:
    few, many = MEMORY_PERMUTATIONS
    print(f"\nn = {n}, gi_star, peak MB\n{'tool':28s} {few:>9d} {many:>9d} permutations")
    for tool in tools:
        peaks = [
            _measure(tool, Job(folder, "gi_star", permutations, 1), cap)
            for permutations in MEMORY_PERMUTATIONS
        ]
        shown = [f"{each.peak_mb:.0f}" if each.cold_s < cap else ">cap" for each in peaks]
        print(f"{tool.name:28s} {shown[0]:>9s} {shown[1]:>9s}", flush=True)


def _shown(seconds: float, cap: float) -> str:
    if math.isnan(seconds):
        return "failed"
    return f"{seconds:.4f}" if seconds < cap else ">cap"


def _ratio(seconds: float, ours: float) -> str:
    """Return how many times ours; nothing where the cap cut it short: part of it went elsewhere."""
    return f"{seconds / ours:.1f}" if math.isfinite(seconds) else ""


def _measure(tool: Tool, job: Job, cap: float) -> Measured:
    """Run one worker in a process of its own, stopped at the cap."""
    arguments = (job.folder, job.statistic, str(job.permutations), str(job.cores))
    with tempfile.TemporaryFile("w+") as said:
        process = subprocess.Popen(
            [*tool.command, repr(time.time()), *arguments],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"},
            stdout=said,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        stopped, peak_mb = _watch(process, cap)
        said.seek(0)
        heard: dict[str, float] = {}
        for line in said:
            heard |= json.loads(line) if line.startswith("{") else {}
    missing = math.inf if stopped else math.nan
    return Measured(heard.get("cold", missing), heard.get("warm", missing), peak_mb)


def _watch(process: subprocess.Popen[bytes], cap: float) -> tuple[bool, float]:
    """Wait for the end, or make one at the cap; return whether it was made, and the peak in MB."""
    timer = threading.Timer(cap, os.killpg, (process.pid, signal.SIGKILL))
    began = time.monotonic()
    timer.start()
    try:
        _, status, used = os.wait4(process.pid, 0)
    except KeyboardInterrupt:
        os.killpg(process.pid, signal.SIGKILL)
        raise
    finally:
        timer.cancel()
    process.returncode = os.waitstatus_to_exitcode(status)
    return time.monotonic() - began >= cap, used.ru_maxrss / 1024


def _work(name: str, started: float, job: Job) -> None:
    """Do one job and say how long it took: the worker's side."""
    ready = {"snoutline": _snoutline, "esda": _esda}[name]
    once, outside = ready(job)
    outside += once()
    print(json.dumps({"cold": time.time() - started - outside}), flush=True)
    times = [_seconds(once)]
    while sum(times) < QUICK_S and len(times) < 25:
        times.append(_seconds(once))
    print(json.dumps({"warm": statistics.median(times)}), flush=True)


def _seconds(call: Callable[[], float]) -> float:
    """Return the seconds of a call, less those it says it spent on the graph."""
    before = time.perf_counter()
    graph = call()
    return time.perf_counter() - before - graph


def _snoutline(job: Job) -> tuple[Callable[[], float], float]:
    import numpy as np  # noqa: PLC0415 - imports are part of what is timed
    from scipy import sparse  # noqa: PLC0415 - as above

    from spatial.autocorrelation import getis_ord, local_moran  # noqa: PLC0415 - as above
    from spatial.conditional import conditional_counts  # noqa: PLC0415 - as above
    from spatial.permutation import two_sided  # noqa: PLC0415 - as above

    before = time.perf_counter()
    values, near = _data(job)
    n, k = near.shape
    links = sparse.csr_array(
        (np.ones(n * k), near.ravel(), np.arange(0, n * k + 1, k)), shape=(n, n)
    )
    outside = time.perf_counter() - before

    def once() -> float:
        statistic = getis_ord if job.statistic == "gi_star" else local_moran
        statistic(values, links)
        found = conditional_counts(values, links, job.permutations, seed=0)
        two_sided(found.upper, found.lower, job.permutations)
        return 0.0

    return once, outside


def _esda(job: Job) -> tuple[Callable[[], float], float]:
    from esda import G_Local, Moran_Local  # noqa: PLC0415 - imports are part of what is timed
    from libpysal.weights import W  # noqa: PLC0415 - as above

    before = time.perf_counter()
    values, near = _data(job)
    neighbours = dict(enumerate(near.tolist()))
    outside = time.perf_counter() - before
    common = {
        "permutations": job.permutations,
        "keep_simulations": False,
        "n_jobs": job.cores,
        "seed": 1,
    }

    def once() -> float:
        began = time.perf_counter()
        weights = W(neighbours, silence_warnings=True)
        weights.sparse  # noqa: B018 - building the graph is not timed; it is kept once made
        graph = time.perf_counter() - began
        if job.statistic == "gi_star":
            G_Local(values, weights, transform="B", star=True, **common)
        else:
            Moran_Local(values, weights, transformation="r", **common)
        return graph

    return once, outside


def _data(job: Job) -> tuple[Any, Any]:
    import numpy as np  # noqa: PLC0415 - as above

    folder = Path(job.folder)
    near = np.loadtxt(folder / "near.txt", dtype=np.int64, ndmin=2)
    return np.loadtxt(folder / "values.txt"), near


if __name__ == "__main__":
    if sys.argv[1:2] == ["--worker"]:
        worker, began, folder_, statistic_, permutations_, cores_ = sys.argv[2:]
        _work(worker, float(began), Job(folder_, statistic_, int(permutations_), int(cores_)))
    else:
        main()
