"""The delimiter of a site's own visits, whatever it is and wherever it is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from formats import xlsx
from sites import SETTINGS, csv_tables, make_site

from data.dialects import visits_delimiter
from data.reading import read_site

VISITS = csv_tables()["visits.csv"]


def text_with(mark: str) -> str:
    return "\n".join(mark.join(row) for row in VISITS) + "\n"


@pytest.mark.parametrize(
    ("name", "content", "declared", "expected"),
    [
        ("visits.csv", text_with(","), "", ","),
        ("visits.csv", text_with(";"), "", ";"),
        ("visits.csv", text_with("\t"), "", "\t"),
        ("visits.csv", "\ufeff" + text_with(";"), "", ";"),
        ("visits.csv", text_with(";").encode("utf-16"), "", ";"),
        ("visits.csv", text_with(";"), '[read.visits]\ndelimiter = ";"\n', ";"),
        ("visits.tsv", text_with("\t"), "", "\t"),
        ("visits.xlsx", xlsx({"visits": VISITS}), "", ","),
    ],
)
def test_the_delimiter_of_the_visits_is_found(
    tmp_path: Path, name: str, content: str | bytes, declared: str, expected: str
) -> None:
    files = {"visits.csv": None, name: content}
    folder = make_site(tmp_path / "site", settings=SETTINGS + declared, files=files)
    assert visits_delimiter(folder, read_site(folder)) == expected
