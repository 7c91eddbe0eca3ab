"""The hour at which a station is read: to which day its highest temperature belongs.

A station that is read in the morning writes down the high of the afternoon before. Its lows are of
the morning of reading, so that only the highs have to move, one day back.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from data.checks import Draft, Fault, findings_at, quoted
from data.findings import Finding
from data.settings import Observed

FEWEST_DAYS_TO_TELL = 120
"""Fewer days do not tell a morning station from another one."""

TELLING = 2.5
"""Standard errors from zero at which the temperatures contradict the settings."""

_NORMAL_DAYS = 7
"""Days, centred, whose mean is taken off a temperature, so that seasons do not count."""

_TIME = re.compile(
    r"(?P<hour>[01]?[0-9]|2[0-4])(?:[:.]?[0-5][0-9]){0,2}(?: ?(?P<half>[ap])\.?m\.?)?", re.I
)
_MORNING_HOURS = range(1, 12)


def to_days(rows: pd.DataFrame, observed: Observed) -> pd.DataFrame:
    """Bring the highs of a morning station to the day on which they were reached.

    Parameters
    ----------
    rows
        `date`, `tmin_c`, `tmax_c`, `observed_at`, one row for each reading.
    observed
        When the station is read.

    Returns
    -------
    pandas.DataFrame
        One row for each day; NaN where the reading that would tell is not there.

    Examples
    --------
    >>> days = pd.to_datetime(["2026-05-01", "2026-05-02"])
    >>> rows = pd.DataFrame({"date": days, "tmin_c": [4.0, 6.0], "tmax_c": [18.0, 21.0],
    ...                      "observed_at": "0700"})
    >>> print(to_days(rows, "morning").to_string(index=False, columns=["date", "tmin_c", "tmax_c"]))
          date  tmin_c  tmax_c
    2026-04-30     NaN    18.0
    2026-05-01     4.0    21.0
    2026-05-02     6.0     NaN
    """
    if observed != "morning":
        return rows
    highs = rows[["date", "tmax_c"]].assign(date=rows["date"] - pd.Timedelta(days=1))
    days = rows.drop(columns="tmax_c").merge(highs, on="date", how="outer")
    return days.fillna({"observed_at": ""})[list(rows)].sort_values("date", ignore_index=True)


def to_readings(days: pd.DataFrame, observed: Observed) -> pd.DataFrame:
    """Undo `to_days`: the rows as the station wrote them, those that are complete."""
    if observed != "morning":
        return days
    highs = days[["date", "tmax_c"]].assign(date=days["date"] + pd.Timedelta(days=1))
    rows = days.drop(columns="tmax_c").merge(highs, on="date")
    return rows.dropna(subset=["tmin_c", "tmax_c"])[list(days)].reset_index(drop=True)


def leaning(rows: pd.DataFrame) -> float:
    """Tell whether highs go with the lows of the day before or with those of the day after.

    An afternoon lies 15 hours before the low of the next morning and 33 hours after that of the
    morning before, so that the highs of days go with the lows that follow. Written down a morning
    later, they are 9 hours before the low of the row above and 39 from that of the row below.

    Parameters
    ----------
    rows
        `date`, `low` and `high`, unique dates in any order.

    Returns
    -------
    float
        Mean of high x (low of the next day - low of the day before), all of them less the mean of
        seven days, in standard errors: above zero for days, below zero for morning readings; NaN
        with fewer than 120 such days.
    """
    table = rows.set_index("date")[["low", "high"]].sort_index().asfreq("D")
    usual = table.rolling(_NORMAL_DAYS, center=True, min_periods=_NORMAL_DAYS - 2).mean()
    odd = table - usual
    products = (odd["high"] * (odd["low"].shift(-1) - odd["low"].shift(1))).dropna()
    spread = float(products.std())
    if len(products) < FEWEST_DAYS_TO_TELL or not spread > 0:
        return float("nan")
    return float(products.mean()) / spread * float(np.sqrt(len(products)))


def observation_findings(draft: Draft, pair: tuple[str, ...], observed: Observed) -> list[Finding]:
    """Report hours of reading, else temperatures, that contradict the settings.

    Parameters
    ----------
    draft
        The checked weather, before any high is moved.
    pair
        Its columns of lows and highs.
    observed
        What the settings say.
    """
    said = draft.typed["observed_at"].map(is_morning)
    if said.notna().any():
        return _hours(draft, said, observed)
    return _temperatures(draft, pair, observed)


def is_morning(cell: str) -> bool | None:
    """Return whether an hour is one of the morning; None when the text is no hour.

    Examples
    --------
    >>> [is_morning(cell) for cell in ("0700", "7:30", "8 am", "1700", "5 pm", "2400", "")]
    [True, True, True, False, False, False, None]
    """
    match = _TIME.fullmatch(cell)
    if match is None:
        return None
    afternoon = (match["half"] or "").lower() == "p"
    return int(match["hour"]) in _MORNING_HOURS and not afternoon


def _hours(draft: Draft, said: pd.Series[bool], observed: Observed) -> list[Finding]:
    """Report once, on the first of them, the readings of another part of the day."""
    other = said.notna() & (said != (observed == "morning"))
    first = other & (other.cumsum() == 1)
    count = int(other.sum())
    fault = Fault(
        "IN-100",
        first,
        lambda cell: (
            f"{quoted(cell)}: {count} of {len(said)} days were read at another time of the day "
            f"than [weather] observed says, {observed!r}"
        ),
        f"if the station is read in the {_OTHER_PART[observed]}, {_FIX[observed]}",
        "observed_at",
        "warning",
    )
    return findings_at(draft, fault)


_OTHER_PART = {**dict.fromkeys(("midnight", "evening"), "morning"), "morning": "evening"}
_FIX = {
    **dict.fromkeys(
        ("midnight", "evening"), 'set observed = "morning" under [weather] in site.toml'
    ),
    "morning": "take observed out of [weather] in site.toml",
}


def _temperatures(draft: Draft, pair: tuple[str, ...], observed: Observed) -> list[Finding]:
    low, high = (draft.typed[name] for name in pair)
    rows = pd.DataFrame({"date": draft.typed["date"], "low": low, "high": high})
    rows = rows[draft.good() & rows["date"].notna()].drop_duplicates("date")
    found = leaning(rows)
    sign = -1 if observed != "morning" else 1
    if not sign * found >= TELLING:
        return []
    before, after = ("before", "after") if sign < 0 else ("after", "before")
    problem = (
        f"the highest temperatures go with the lowest of the day {before}, not of the day {after}, "
        f"as at a station that is read in the {_OTHER_PART[observed]}"
    )
    fix = f"ask when it is read; if so, {_FIX[observed]}"
    column = draft.headers[pair[1]]
    return [Finding("IN-101", draft.file, problem, fix, severity="warning", column=column)]
