"""The hour at which a station is read: a morning's high belongs to the day before."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sites import SETTINGS, csv_tables, make_site, shape_layers

from data.findings import Finding, SettingsError
from data.observation import leaning
from data.reading import read_site
from maps.geopackage import geopackage
from maps.records import records_up_to

MORNING = SETTINGS + '[weather]\nobserved = "morning"\n'


def hourly(days: int, seed: int) -> pd.Series[float]:
    """Return hourly temperatures: weather with a memory of two days on a daily wave.

    The wave is lowest at 6 and highest at 15 o'clock, as on a clear day (common practice, no
    source).
    """
    hours = np.arange(days * 24)
    shocks = np.random.Generator(np.random.PCG64(seed)).normal(0, 0.8, len(hours))
    air = np.zeros(len(hours))
    for n in range(1, len(hours)):
        air[n] = np.exp(-1 / 48) * air[n - 1] + shocks[n]
    day = hours % 24
    rising = (day >= 6) & (day < 15)
    phase = np.where(rising, (day - 6) / 9, 1 + ((day - 15) % 24) / 15)
    index = pd.Timestamp("2026-01-01") + pd.to_timedelta(hours, unit="h")
    return pd.Series(15 - 6 * np.cos(np.pi * phase) + air, index)


def read_at(hour: int, days: int = 200, seed: int = 1) -> pd.DataFrame:
    """Return lows and highs of the 24 hours that end at an hour, under the day they end on."""
    temperature = hourly(days, seed)
    ends = (temperature.index + pd.Timedelta(hours=24 - hour)).normalize()
    # At midnight the reading is that of the day that is over.
    ends = ends - pd.Timedelta(days=1) if hour == 24 else ends
    groups = temperature.groupby(ends)
    rows = pd.DataFrame({"low": groups.min(), "high": groups.max()})[groups.size() == 24]
    return rows.rename_axis("date").reset_index()


def weather_text(rows: pd.DataFrame, extra: str = "", cell: str = "") -> str:
    lines = [f"date,tmin_c,tmax_c{extra}"]
    lines += [f"{day:%Y-%m-%d},{low:.1f},{high:.1f}{cell}" for day, low, high in rows.to_numpy()]
    return "\n".join(lines) + "\n"


def findings(folder: Path, text: str, settings: str = SETTINGS) -> list[Finding]:
    site = make_site(folder, settings=settings, files={"weather.csv": text})
    return [each for each in read_site(site).findings if each.file == "weather.csv"]


def test_the_high_of_a_morning_is_moved_to_the_day_before(tmp_path: Path) -> None:
    text = "date,tmin_c,tmax_c\n2026-03-01,1,11\n2026-03-02,2,12\n2026-03-03,3,13\n"
    site = read_site(make_site(tmp_path / "s", settings=MORNING, files={"weather.csv": text}))
    days = site.weather.set_index(site.weather["date"].dt.strftime("%m-%d"))
    assert days["tmin_c"].fillna(-99).to_dict() == {
        "02-28": -99,
        "03-01": 1,
        "03-02": 2,
        "03-03": 3,
    }
    assert days["tmax_c"].fillna(-99).to_dict() == {
        "02-28": 11,
        "03-01": 12,
        "03-02": 13,
        "03-03": -99,
    }
    assert site.findings == ()


def test_a_reading_that_lacks_leaves_two_days_without_a_pair(tmp_path: Path) -> None:
    """Without the reading of the 3rd nobody knows the high of the 2nd and the low of the 3rd."""
    text = (
        "date,tmin_c,tmax_c\n2026-03-01,1,11\n2026-03-02,2,12\n2026-03-04,4,14\n2026-03-05,5,15\n"
    )
    site = read_site(make_site(tmp_path / "s", settings=MORNING, files={"weather.csv": text}))
    whole = site.weather.dropna(subset=["tmin_c", "tmax_c"])["date"].dt.day.tolist()
    assert whole == [1, 4]
    assert [each.code for each in site.findings] == ["IN-072"]


@pytest.mark.parametrize("observed", ["midnight", "evening"])
def test_other_readings_stay_on_their_day(observed: str, tmp_path: Path) -> None:
    plain = read_site(make_site(tmp_path / "a")).weather
    settings = SETTINGS + f'[weather]\nobserved = "{observed}"\n'
    said = read_site(make_site(tmp_path / "b", settings=settings)).weather
    pd.testing.assert_frame_equal(plain, said)
    assert plain.drop(columns="rain_mm").notna().all(axis=None)


@pytest.mark.parametrize("week", [None, "2026-W17"])
def test_the_geopackage_holds_the_readings_and_reads_back(week: str | None, tmp_path: Path) -> None:
    site = read_site(make_site(tmp_path / "site", settings=MORNING))
    data = geopackage(records_up_to(site, week))
    absent = dict.fromkeys([*csv_tables(), *shape_layers()])
    files = {**absent, "site.gpkg": data}
    back = read_site(make_site(tmp_path / "back", settings=MORNING, files=files))
    expected = site.weather
    if week:
        # The high of the last day was read on the morning after the cut-off.
        expected = expected[expected["date"] <= "2026-04-26"]
        expected = expected.assign(tmax_c=expected["tmax_c"].mask(expected["date"] == "2026-04-26"))
    pd.testing.assert_frame_equal(back.weather, expected)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("hour", [7, 8, 17, 18, 24])
def test_temperatures_lean_to_the_side_that_the_hour_makes(hour: int, seed: int) -> None:
    """The rule knows nothing of this model; the bands hold for every seed tried."""
    found = leaning(read_at(hour, 360, seed))
    assert found < -2.5 if hour < 12 else found > -2.5


def test_a_morning_station_that_is_not_declared_is_warned_of(tmp_path: Path) -> None:
    text = weather_text(read_at(7, 360))
    (finding,) = findings(tmp_path / "plain", text)
    assert (finding.code, finding.severity, finding.column) == ("IN-101", "warning", "tmax_c")
    assert 'set observed = "morning" under [weather]' in finding.fix
    assert findings(tmp_path / "declared", text, MORNING) == []


def test_a_midnight_station_that_is_declared_as_morning_is_warned_of(tmp_path: Path) -> None:
    text = weather_text(read_at(24, 360))
    assert findings(tmp_path / "plain", text) == []
    (finding,) = findings(tmp_path / "declared", text, MORNING)
    assert finding.code == "IN-101"
    assert "take observed out" in finding.fix


def test_too_few_days_or_no_weather_in_them_say_nothing() -> None:
    short = read_at(7, 100)
    assert np.isnan(leaning(short))
    days = pd.date_range("2026-01-01", periods=200)
    assert np.isnan(leaning(pd.DataFrame({"date": days, "low": 1.0, "high": 2.0})))


@pytest.mark.parametrize(
    ("cell", "settings", "codes"),
    [
        ("0700", SETTINGS, ["IN-100"]),
        ("7:00", MORNING, []),
        ("1700", SETTINGS, []),
        ("2400", MORNING, ["IN-100"]),
        ("noon?", SETTINGS, []),
    ],
)
def test_the_hour_in_the_file_is_held_against_the_settings(
    cell: str, settings: str, codes: list[str], tmp_path: Path
) -> None:
    rows = read_at(24, 20)
    found = findings(tmp_path / "s", weather_text(rows, ",observed_at", f",{cell}"), settings)
    assert [(each.code, each.row, each.column) for each in found] == [
        (code, 2, "observed_at") for code in codes
    ]
    if codes:
        assert f"{len(rows)} of {len(rows)} days" in found[0].problem


def test_a_change_of_the_hour_is_told_where_it_begins(tmp_path: Path) -> None:
    lines = weather_text(read_at(24, 20), ",observed_at", ",1700").splitlines()
    lines[9:] = [line.replace(",1700", ",0700") for line in lines[9:]]
    (finding,) = findings(tmp_path / "s", "\n".join(lines))
    assert (finding.code, finding.row) == ("IN-100", 10)


def test_a_wrong_word_is_a_wrong_setting(tmp_path: Path) -> None:
    site = make_site(tmp_path / "s", settings=SETTINGS + '[weather]\nobserved = "noon"\n')
    with pytest.raises(SettingsError, match=r"weather\.observed: expected one of 'midnight', "):
        read_site(site)
