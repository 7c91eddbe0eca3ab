"""Picture and table of the sequential chart: what a scout reads off must be what was computed."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

import pytest
from languages import EN

from maps.palette import INK, PAPER, SOFT, contrast
from maps.sampling_chart import (
    SHADE,
    ChartLabel,
    chart_page,
    decision_svg,
    decision_table,
    performance_table,
    stop_line_svg,
    stop_line_table,
)
from maps.sampling_words import Unit
from spatial.sample_size import Precision, stop_line
from spatial.sequential import Hypotheses, around, decision_chart, performance
from spatial.variance_laws import NegativeBinomial, TaylorLaw

WEEK = Unit("traps", 7)
LABEL = ChartLabel("Green 7 <b> & co", WEEK, "10 May 2026", "green7")
CHART = decision_chart(around(3, 1.5), 1.2, least=3, most=30)
NONE = decision_chart(Hypotheses(2, 4), math.inf)
LINE = stop_line(NegativeBinomial(1.2), Precision(0.25), most=40)


def rows(table: str) -> list[list[str]]:
    root = ET.fromstring(table[: table.index("</table>") + 8])
    return [[cell.text or "" for cell in row] for row in root.iter("tr")]


def numbers(path: str) -> list[tuple[float, float]]:
    pairs = re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)
    return [(float(x), float(y)) for x, y in pairs]


def stroked(svg: str) -> list[list[tuple[float, float]]]:
    root = ET.fromstring(svg)
    return [numbers(path.get("d", "")) for path in root.iter() if path.get("stroke-width") == "2"]


def test_the_table_has_the_numbers_of_the_chart_and_room_to_write() -> None:
    head, *body = rows(decision_table(CHART, LABEL, EN))
    assert head[:3] == ["Trap-visit", "Adults", "Running total"]
    assert len(body) == 30
    assert body[0] == ["1", "", "", "\N{EN DASH}", "\N{EN DASH}"]
    low, high = CHART.below_at_most[19], CHART.above_at_least[19]
    assert body[19] == ["20", "", "", str(low), str(high)]
    assert CHART.decision(20, low) == "below"


def test_the_picture_draws_the_two_lines_where_they_belong() -> None:
    """Source: the axes' own numbers; 0 and 30 across, 0 and 100 up."""
    svg = decision_svg(CHART, LABEL, EN)
    root = ET.fromstring(svg)
    texts = [each for each in root.iter() if each.tag.endswith("text")]
    where = {each.text: each for each in texts if each.get("x")}
    left, right = (float(where[name].get("x", "")) for name in ("5", "30"))
    base = 400 - 62.0
    top = float(where["100"].get("y", "")) - 4

    def total(y: float) -> float:
        return (base - y) / (base - top) * 100

    def units(x: float) -> float:
        return 5 + (x - left) / (right - left) * 25

    upper, lower = stroked(svg)
    for line, intercept in ((upper, CHART.upper), (lower, CHART.lower)):
        for x, y in line:
            assert total(y) == pytest.approx(intercept + CHART.slope * units(x), abs=0.3)
    assert units(upper[0][0]) == pytest.approx(3, abs=0.05)


@pytest.mark.parametrize("svg", [decision_svg(CHART, LABEL, EN), stop_line_svg(LINE, LABEL, EN)])
def test_a_picture_is_well_formed_escaped_and_says_unit_and_cutoff(svg: str) -> None:
    root = ET.fromstring(svg)
    text = " ".join(root.itertext())
    assert "Green 7 <b> & co" in root.get("aria-label", "")
    assert "Trap-visits, 7 trap-nights each" in text
    assert "Running total of adults" in text
    assert "Made from data to 10 May 2026" in text
    assert "go on" in text
    assert root.get("role") == "img"
    names = re.findall(r'id="([^"]+)"', svg)
    assert names == ["green7-lines", "green7-dots"]
    assert set(re.findall(r"url\(#([^)]+)\)", svg)) <= set(names)


@pytest.mark.parametrize("most", [4, 12, 30, 200])
@pytest.mark.parametrize(("limit", "k"), [(0.5, 0.4), (3, 1.2), (60, 3.0)])
def test_everything_is_drawn_inside_the_picture(limit: float, k: float, most: int) -> None:
    chart = decision_chart(around(limit, 2), k, most=most)
    svg = decision_svg(chart, LABEL, EN)
    if chart.reason:
        assert svg.startswith("<p>No decision chart: ")
        return
    root = ET.fromstring(svg)
    for path in root.iter():
        for x, y in numbers(path.get("d", "") if path.get("fill") else ""):
            assert -0.1 <= x <= 400.1
            assert -0.1 <= y <= 400.1
    for box in root.iter():
        if box.tag.endswith("rect") and box.get("x"):
            assert 46 <= float(box.get("x", "")) <= 388 - float(box.get("width", ""))


def test_a_heading_is_not_repeated_by_picture_and_table() -> None:
    picture = ET.fromstring(stop_line_svg(LINE, LABEL, EN))
    assert LABEL.place not in " ".join(picture.itertext())
    assert LABEL.place in picture.get("aria-label", "")
    assert "Green 7" not in stop_line_table(LINE, LABEL, EN)
    page = chart_page(CHART, performance(CHART, runs=200), LABEL, EN)
    assert page.count("<caption>Stop as soon as the running total says so</caption>") == 1


def test_the_stop_line_table_starts_where_the_line_does() -> None:
    head, *body = rows(stop_line_table(LINE, LABEL, EN))
    assert head[-1] == "Stop at or over"
    first = int(LINE.units[0])
    assert body[first - 2][-1] == "\N{EN DASH}"
    assert body[first - 1][-1] == str(LINE.whole_total[0])
    assert body[-1] == ["40", "", "", str(LINE.whole_total[-1])]


def test_performance_shows_the_simulation_beside_wald() -> None:
    found = performance(CHART, [2, 4.5], runs=500)
    _, low, _ = rows(performance_table(found, WEEK, EN))
    assert low == [
        "2.00",
        f"{100 * found.below[0]:.0f} %",
        f"{100 * found.wald_below[0]:.0f} %",
        f"{100 * found.above[0]:.0f} %",
        f"{100 * found.undecided[0]:.0f} %",
        f"{found.units[0]:.1f}",
        f"{found.wald_units[0]:.1f}",
    ]


def test_without_chart_or_line_there_is_a_sentence_and_no_picture() -> None:
    steep = stop_line(TaylorLaw(2, 2.4, 0, 0, 0, 9, 0), Precision(0.25))
    for shown, table in (
        (decision_svg(NONE, LABEL, EN), decision_table(NONE, LABEL, EN)),
        (stop_line_svg(steep, LABEL, EN), stop_line_table(steep, LABEL, EN)),
    ):
        assert shown.startswith("<p>No ")
        assert table == ""
    page = chart_page(NONE, None, LABEL, EN)
    assert page.count("No decision chart") == 1
    assert "<svg" not in page


def test_the_page_holds_picture_rules_table_and_what_it_can_do() -> None:
    label = ChartLabel("<i>", Unit("cores", 10.8), "1 May 2026")
    page = chart_page(CHART, performance(CHART, runs=200), label, EN)
    assert page.index("<svg") < page.index("Settle the order") < page.index("<table")
    assert "What this chart can do" in page
    assert "<i>" not in page
    assert not re.search(r"(src|href)=", page)
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", page)


def test_a_picture_is_the_same_every_time() -> None:
    assert decision_svg(CHART, LABEL, EN) == decision_svg(CHART, LABEL, EN)


def test_words_on_the_picture_can_be_read_and_the_parts_differ_in_grey() -> None:
    assert contrast(INK, PAPER) >= 4.5
    assert contrast(SOFT, PAPER) >= 4.5
    assert contrast(SHADE, PAPER) >= 1.5


def test_a_key_that_could_break_out_of_its_attribute_is_refused() -> None:
    with pytest.raises(ValueError, match=r"expected a key of letters and digits; found 'a\"b'"):
        ChartLabel("x", WEEK, "today", 'a"b')
