"""Spoiling JSON and XML by their structure."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from typing import Any
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from scripts.bench.fuzz_tables import CELLS, SHAPES
from scripts.bench.fuzz_values import JSON_TEXTS, Chance, word

_HOLE = "@@hole@@"
_TAGS = re.compile(r"(<[^<>]*>)")
_ATTRIBUTE = re.compile(r"""([\w:]+)=("[^"]*"|'[^']*')""")

MOST_TRIES = 6
"""Most changes of XML must leave it XML, for what is not is refused at once."""

NAMES = (
    *("geometry", "type", "id", "zone_id", " zone_id ", "", "trap_id", "use", "kind", "wkt", "crs"),
    *(
        "features",
        "properties",
        "coordinates",
        "bbox",
        "longitude",
        "\ud83d\ude00".encode("utf-16", "surrogatepass").decode("utf-16"),
    ),
)

KINDS = (
    "Point",
    "LineString",
    "Polygon",
    "MultiPolygon",
    "MultiPoint",
    "GeometryCollection",
    "Blob",
)

XML_PIECES = (
    *(
        "<!DOCTYPE a>",
        '<!DOCTYPE a [<!ENTITY b "c">]>',
        "&b;",
        "&#0;",
        "&#xD800;",
        "&#x10FFFF;",
        "&amp",
    ),
    *(
        "<!-- -- -->",
        "<![CDATA[x]]>",
        "]]>",
        "<?xml version='1.1'?>",
        "<?a b?>",
        "<a>",
        "</a>",
        "<a/>",
    ),
    *(
        "<a:b/>",
        '<a xmlns:a=""/>',
        "<Point/>",
        "<Polygon/>",
        "<MultiGeometry/>",
        "<coordinates>1,2</coordinates>",
    ),
    *(
        "<Data/>",
        '<Data name="zone_id"/>',
        "<SimpleData>x</SimpleData>",
        "<name/>",
        "<wpt/>",
        "<Placemark/>",
    ),
    *(
        "<row/>",
        '<row r="1048576"/>',
        "<c/>",
        '<c r="XFD9"/>',
        '<c r="A1" t="e"><v>#N/A</v></c>',
        "<v/>",
    ),
    *(
        '<c t="s"><v>99</v></c>',
        '<c t="b"><v>2</v></c>',
        '<c t="d"><v>x</v></c>',
        "<f>1</f>",
        "<mergeCell/>",
    ),
    *(
        "<table:table-row/>",
        "<table:table-cell/>",
        '<table:covered-table-cell table:formula="x"/>',
        "<text:p/>",
    ),
    *(
        '<table:table-cell office:value-type="date" office:date-value="9999-99-99"/>',
        "<table:table/>",
    ),
    *(
        '<table:table-cell office:value-type="time" office:time-value="PT9999H"/>',
        "<text:s/>",
        "<text:tab/>",
    ),
)

XML_VALUES = (
    *(
        "",
        "0",
        "-1",
        "1",
        "2",
        "99",
        "1048577",
        "4294967296",
        "9" * 30,
        "A1",
        "A0",
        "ZZZZ1",
        "XFD1048576",
    ),
    *(
        "s",
        "str",
        "e",
        "b",
        "n",
        "d",
        "inlineStr",
        "float",
        "date",
        "percentage",
        "boolean",
        "string",
        "x",
    ),
    *(
        "nan",
        "1e400",
        "../x",
        "worksheets/sheet1.xml",
        "/xl/worksheets/sheet1.xml",
        "zones",
        "visits",
    ),
)

Path = tuple[Any, ...]


def spoil_json(content: bytes, chance: Chance) -> bytes:
    """Change one or more places of a JSON text, by its tree."""
    tree = json.loads(content)
    for _ in range(chance.choice((1, 1, 2, 5))):
        tree = chance.choice(_TREE_CHANGES)(tree, chance)
    text = json.dumps(tree)
    while f'"{_HOLE}"' in text:
        text = text.replace(f'"{_HOLE}"', _any_json(chance), 1)
    return text.encode()


def _any_json(chance: Chance) -> str:
    kind = chance.random()
    if kind < 0.1:
        depth = chance.choice((50, 400, 900, 5000))
        inner = '{"type": "GeometryCollection", "geometries": ['
        start, end = chance.choice((("[", "]"), ('{"a":', "}"), (inner, "]}")))
        return start * depth + "1" + end * depth
    if kind < 0.3 and SHAPES:
        return json.dumps(chance.choice(SHAPES))
    return json.dumps(word(chance, CELLS)) if kind < 0.5 else chance.choice(JSON_TEXTS)


def _paths(tree: Any, path: Path = ()) -> list[Path]:
    inner: Sequence[tuple[Any, Any]] = ()
    if isinstance(tree, dict):
        inner = list(tree.items())
    elif isinstance(tree, list):
        inner = list(enumerate(tree))
    return [path, *(each for key, value in inner for each in _paths(value, (*path, key)))]


def _chosen(tree: Any, chance: Chance) -> tuple[Any, Any]:
    """Return a container and a key of it; upper levels are taken as often as leaves."""
    paths = [path for path in _paths(tree) if path]
    if not paths:
        return {"": None}, ""
    depth = chance.choice(sorted({len(path) for path in paths}))
    path = chance.choice([path for path in paths if len(path) == depth])
    for key in path[:-1]:
        tree = tree[key]
    return tree, path[-1]


def _replace(tree: Any, chance: Chance) -> Any:
    holder, key = _chosen(tree, chance)
    holder[key] = _HOLE
    return tree


def _drop(tree: Any, chance: Chance) -> Any:
    holder, key = _chosen(tree, chance)
    del holder[key]
    return tree


def _double(tree: Any, chance: Chance) -> Any:
    holder, key = _chosen(tree, chance)
    if isinstance(holder, list):
        holder[key:key] = [holder[key]] * chance.choice((1, 3, 30))
    else:
        holder[chance.choice(NAMES)] = holder[key]
    return tree


def _wrap(tree: Any, chance: Chance) -> Any:
    holder, key = _chosen(tree, chance)
    holder[key] = [holder[key]] if chance.random() < 0.5 else {chance.choice(NAMES): holder[key]}
    return tree


def _shape_kind(tree: Any, chance: Chance) -> Any:
    features = tree.get("features") if isinstance(tree, dict) else None
    feature = chance.choice(features) if isinstance(features, list) and features else None
    shape = feature.get("geometry") if isinstance(feature, dict) else None
    if isinstance(shape, dict):
        shape["type"] = chance.choice(KINDS)
    return tree


def _numbers(tree: Any, chance: Chance) -> Any:
    """Change all numbers: mostly coordinates."""
    factor = chance.choice((0, -1, 10, 1e3, 1e300, 1e-9))
    return _mapped(tree, lambda value: value * factor)


def _mapped(tree: Any, change: Callable[[float], float]) -> Any:
    if isinstance(tree, dict):
        return {key: _mapped(value, change) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_mapped(value, change) for value in tree]
    return change(tree) if isinstance(tree, float) else tree


_TREE_CHANGES: Sequence[Callable[[Any, Chance], Any]] = (
    *(_replace, _replace, _replace, _drop, _double, _wrap, _shape_kind, _numbers),
)


def spoil_xml(content: bytes, chance: Chance) -> bytes:
    """Change one or more places of an XML text, by its tags, attributes and texts."""
    for _ in range(1 if chance.random() < 0.2 else MOST_TRIES):
        tokens = _TAGS.split(content.decode("utf-8", "replace"))
        for _ in range(chance.choice((1, 1, 2, 5))):
            tokens = chance.choice(_TOKEN_CHANGES)(tokens, chance)
        spoiled = "".join(tokens).encode("utf-8", "replace")
        if _is_xml(spoiled):
            break
    return spoiled


def _is_xml(content: bytes) -> bool:
    try:
        expat.ParserCreate().Parse(content, True)
    except (expat.ExpatError, ValueError, LookupError):
        return False
    return True


def _tag(tokens: list[str], chance: Chance) -> int:
    return chance.choice([n for n, token in enumerate(tokens) if token.startswith("<")] or [0])


def _text_token(tokens: list[str], chance: Chance) -> list[str]:
    texts = [n for n, token in enumerate(tokens) if token and not token.startswith("<")]
    if texts:
        value = word(chance, CELLS)
        tokens[chance.choice(texts)] = escape(value) if chance.random() < 0.8 else value
    return tokens


def _attribute(tokens: list[str], chance: Chance) -> list[str]:
    # A long text takes the pattern long.
    tags = [n for n, token in enumerate(tokens) if token.startswith("<") and len(token) < 2000]
    with_any = [n for n in tags if _ATTRIBUTE.search(tokens[n])]
    if not with_any:
        return tokens
    place = chance.choice(with_any)
    found = chance.choice(list(_ATTRIBUTE.finditer(tokens[place])))
    value = quoteattr(chance.choice((*XML_VALUES, word(chance))))
    given = chance.choice((f"{found[1]}={value}", "", f"{found[0]} {found[0]}", f"a:b={value}"))
    tokens[place] = tokens[place][: found.start()] + given + tokens[place][found.end() :]
    return tokens


def _span(tokens: list[str], chance: Chance) -> tuple[int, int]:
    """Return a whole element, or what comes nearest to one."""
    start = _tag(tokens, chance)
    name = re.match(r"<([\w:]+)", tokens[start])
    if name is None or tokens[start].endswith("/>"):
        return start, start + 1
    end = f"</{name[1]}>"
    later = (n for n in range(start, len(tokens)) if tokens[n] == end)
    return start, next(later, start) + 1


def _element(tokens: list[str], chance: Chance) -> list[str]:
    start, end = _span(tokens, chance)
    whole = tokens[start:end]
    times = 1 + min(chance.choice((1, 3, 30)), 20_000 // len(whole))
    change = chance.choice(("drop", "double", "move", "unwrap", "nest"))
    if change == "drop":
        return tokens[:start] + tokens[end:]
    if change == "double":
        return tokens[:start] + whole * times + tokens[end:]
    if change == "unwrap":
        return tokens[:start] + whole[1:-1] + tokens[end:]
    if change == "nest":
        depth = chance.choice((1, 90, 500, 20_000))
        return [*tokens[:start], "<a>" * depth, *whole, "</a>" * depth, *tokens[end:]]
    rest = tokens[:start] + tokens[end:]
    place = chance.randrange(len(rest) + 1)
    return rest[:place] + whole + rest[place:]


def _piece(tokens: list[str], chance: Chance) -> list[str]:
    place = chance.randrange(len(tokens) + 1)
    return [*tokens[:place], chance.choice(XML_PIECES), *tokens[place:]]


def _one_tag(tokens: list[str], chance: Chance) -> list[str]:
    """Drop or double a single tag, so that the text is no longer XML."""
    place = _tag(tokens, chance)
    return [*tokens[:place], *([tokens[place]] * chance.choice((0, 2))), *tokens[place + 1 :]]


def _start(tokens: list[str], chance: Chance) -> list[str]:
    encoding = chance.choice(("utf-16", "latin-1", "utf-7", "x", "cp1252", "us-ascii", "euc-jp"))
    lead = f'<?xml version="1.0" encoding="{encoding}"?>'
    return [lead, *(token for token in tokens if not token.startswith("<?xml"))]


def _positions(tokens: list[str], chance: Chance) -> list[str]:
    """Change the coordinates of one place."""
    places = [n for n, t in enumerate(tokens) if "," in t and not t.startswith("<")]
    if not places:
        return tokens
    place = chance.choice(places)
    points = tokens[place].split()
    value = chance.choice(
        ("nan,0", "1e400,1", "0,0,0,0", "1", ",", "1,", "181,91", "inf,inf", "0,0")
    )
    points[chance.randrange(len(points) + 1) : chance.randrange(len(points) + 1)] = [value]
    tokens[place] = " ".join(points)
    return tokens


_TOKEN_CHANGES: Sequence[Callable[[list[str], Chance], list[str]]] = (
    *(_text_token, _text_token, _attribute, _attribute, _element, _element, _piece, _positions),
    *(_one_tag, _start),
)
