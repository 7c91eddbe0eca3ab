"""Saying what a slow run is doing, and nothing about a fast one."""

from __future__ import annotations

import sys
import threading
from types import TracebackType

PATIENCE_S = 2.0


class Progress:
    """The current step on standard error, from two seconds on and only on a terminal.

    Parameters
    ----------
    quiet
        Never say anything.
    patience_s
        Seconds to wait before the first word.

    Examples
    --------
    >>> with Progress(quiet=True) as progress:
    ...     progress.step("reading the site")
    """

    def __init__(self, *, quiet: bool = False, patience_s: float = PATIENCE_S) -> None:
        self._shown = not quiet and sys.stderr.isatty()
        self._step = ""
        self._speaking = False
        self._lock = threading.Lock()
        self._timer = threading.Timer(patience_s, self._begin)
        self._timer.daemon = True

    def __enter__(self) -> Progress:
        if self._shown:
            self._timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._timer.cancel()
        with self._lock:
            self._shown = False

    def step(self, name: str) -> None:
        """Begin the next step."""
        with self._lock:
            self._step = name
            if self._speaking:
                self._say()

    def _begin(self) -> None:
        with self._lock:
            self._speaking = True
            self._say()

    def _say(self) -> None:
        if self._shown and self._step:
            print(f"snoutline: {self._step} ...", file=sys.stderr, flush=True)
