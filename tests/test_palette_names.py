"""Every colour has a name: it is written once, in maps/palette.py, and taken from there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from PIL import ImageColor

from maps import palette
from maps.page import template_text
from maps.palette import INK, NAMED, PAPER, with_colours

MAPS = Path(palette.__file__).parent
PALETTE = MAPS / "palette.py"
TEXTS = sorted(
    path
    for path in MAPS.rglob("*")
    if path.suffix in {".py", ".css", ".js", ".html", ".toml"} and path != PALETTE
)
TEMPLATES = sorted((MAPS / "templates").iterdir())
WORDS = "|".join(sorted(ImageColor.colormap))
USES = {"green"}
"""Words of this trade that happen to be names of colours, too: the use of a zone."""

HEX = re.compile(r"(?<![&\w])#(?:[0-9a-f]{8}|[0-9a-f]{6}|[0-9a-f]{3,4})(?![\w-])", re.IGNORECASE)
FUNCTION = re.compile(r"\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch|color|color-mix)\(\s*[\d.#a-z]")
LIBRARY = re.compile(r"\b(?:RGBColor|set_(?:text|fill|draw)_color)\(\s*[\d\"']")
PAINTED = re.compile(
    r"\b(?:fill|stroke|color|background|border|outline|(?:box|text)-shadow)[\w-]*[\"']?\s*[=:]"
    rf"[^;{{}}<>\n]*?(?<![\w-])({WORDS})(?![\w-])",
    re.IGNORECASE,
)
QUOTED = re.compile(rf"([\"'`])(?P<word>{WORDS})\1", re.IGNORECASE)


def literals(text: str) -> list[str]:
    """Return every colour that is written as such and not by its name in the palette."""
    found = [match[0] for each in (HEX, FUNCTION, LIBRARY) for match in each.finditer(text)]
    found += [match[0] for match in PAINTED.finditer(text) if match[1] not in NAMED]
    return found + [
        match[0] for match in QUOTED.finditer(text) if match["word"].lower() not in USES
    ]


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(MAPS)))
def test_no_colour_is_written_outside_the_palette(path: Path) -> None:
    assert literals(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "text",
    [
        ".north { fill: #1d2321; }",
        "const INK = '#FFF';",
        "'fill=\"#1d2321aa\"'",
        'stroke="#abc"',
        "td { background: rgba(255, 255, 255, .85); }",
        "td { color: hsl(20deg 10% 10%); }",
        "td { border: 1px solid white; }",
        '<rect fill="grey"/>',
        "L.polygon(at, { color: 'White', weight: 1 })",
        'chart_text(x, y, name, fill="black")',
        'Style("white")',
        "ctx.fillStyle = 'red';",
        "pdf.set_fill_color(255, 255, 255)",
        "RGBColor(0x1D, 0x23, 0x21)",
    ],
)
def test_a_colour_that_is_written_as_such_is_seen(text: str) -> None:
    assert literals(text) != []


@pytest.mark.parametrize(
    "text",
    [
        ".r { white-space: nowrap; fill: none; background: transparent; color: inherit; }",
        '<button id="week-on">&#8250;</button>',
        'fill="url(#fill-e)"',
        ".north { fill: colour(INK); stroke: colour(PLUM); color: var(--act); }",
        'f"th{{border:1px solid {SOFT};padding:3px}}"',
        'USES = {"green": "green", "tee": "tee"}',
        "# Red, green, blue and mask.",
        'FORMS = {"taylor": "Green\'s line"}',
    ],
)
def test_what_is_no_colour_is_left_alone(text: str) -> None:
    assert literals(text) == []


def test_every_colour_is_written_once() -> None:
    """A second meaning of the same colour is a second name: ``GONE = ZONE_EDGE``."""
    tree = ast.parse(PALETTE.read_text(encoding="utf-8"))
    given = [
        (ast.unparse(node.targets[0]), node.value.value)
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    ]
    values = [value for _, value in given]
    assert len(values) > 30
    assert [pair for pair in given if values.count(pair[1]) > 1] == []
    assert {name for name, _ in given} <= set(NAMED)


def test_every_name_is_in_use() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in TEXTS)
    assert [name for name in NAMED if not re.search(rf"\b{name}\b", text)] == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_a_template_gets_its_colours(path: Path) -> None:
    asked = re.findall(r"colour\((\w+)\)", path.read_text(encoding="utf-8"))
    given = template_text(path.name)
    assert "colour(" not in given
    assert set(HEX.findall(given)) == {NAMED[name] for name in asked if NAMED[name][0] == "#"}


def test_colours_are_filled_in_by_name() -> None:
    css = ".a { fill: colour(INK); stroke: colour(PAPER); }"
    assert with_colours(css, "a.css") == f".a {{ fill: {INK}; stroke: {PAPER}; }}"


@pytest.mark.parametrize("name", ["INKK", "ink", "NAMED", "MOST_CLASSES", ""])
def test_a_name_that_is_not_there_is_said_with_its_file(name: str) -> None:
    with pytest.raises(LookupError, match=rf"page\.css asks for colour\({name}\)"):
        with_colours(f".a {{ fill: colour({name}); }}", "maps/templates/page.css")
