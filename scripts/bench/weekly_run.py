"""Time the whole weekly run on the demo against the plain script, in turn, in one run.

Run as ``python -m scripts.bench.weekly_run [REPEATS]``: prints the wall time of every run, the
ratio pair by pair, and the profile of one weekly run (longest first). Whole processes, start-up
included, caches warm.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SITE = ROOT / "data" / "demo" / "site"
PROFILE_LINES = 25


def main(repeats: int) -> None:
    """Run both in turn and print what they took."""
    with tempfile.TemporaryDirectory() as folder:
        ours = ["scripts.cli", "weekly", str(SITE), "--out", folder]
        plain = ["scripts.bench.plain_weekly", str(SITE), folder]
        _seconds(ours), _seconds(plain)
        pairs = [(_seconds(ours), _seconds(plain)) for _ in range(repeats)]
        print("weekly s  plain s  ratio")
        for one, other in pairs:
            print(f"{one:8.2f} {other:8.2f} {one / other:6.3f}")
        print(f"median ratio {statistics.median(one / other for one, other in pairs):.3f}")
        print(_profile(ours))


def _seconds(module: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", *module], cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - start


def _profile(module: list[str]) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "cProfile", "-s", "cumulative", "-m", *module],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    lines = [line for line in done.stdout.splitlines() if "<frozen" not in line]
    return "\n".join(lines[: PROFILE_LINES + 12])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
