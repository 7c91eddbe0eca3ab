"""A page of text, tables and pictures without a script: self-contained, offline, printable."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from maps.palette import INK, PAPER, SOFT

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


STYLE = (
    f"body{{margin:0 auto;padding:12px;max-width:720px;background:{PAPER};color:{INK};"
    'font:16px/1.4 "Source Sans 3","Segoe UI",Roboto,"Liberation Sans",Arial,sans-serif;'
    "overflow-wrap:anywhere}"
    "h1{font-size:22px;line-height:1.15;margin:0 0 8px}h2{font-size:17px;margin:16px 0 4px}"
    "svg{display:block;width:100%;max-width:520px;height:auto;margin:0 auto}"
    "table{border-collapse:collapse;width:100%;margin:8px 0;font-variant-numeric:tabular-nums}"
    "caption{text-align:left;font-weight:600;padding:4px 0}"
    f"th,td{{border:1px solid {SOFT};padding:3px 6px;text-align:right;min-width:2.5em}}"
    "td{white-space:nowrap}th{hyphens:auto}td.room{width:22%}"
    "@media(max-width:420px){th,td{padding:2px 3px;min-width:0;font-size:13px}}"
    "th{font-weight:600}thead th{vertical-align:bottom}p,ul{margin:6px 0}ul{padding-left:20px}"
    "@media print{@page{margin:12mm}body{padding:0;font-size:12px;max-width:none}"
    "svg{max-width:125mm}tr,svg,figure{break-inside:avoid}thead{display:table-header-group}"
    # One sheet, A4 or letter: the picture beside the table, what the chart can do under both.
    ".card{font-size:10px;line-height:1.25}.card h1{font-size:15px;margin:0 0 2px}"
    ".card h2{font-size:12px;margin:4px 0 0}.card p,.card ul{margin:2px 0}"
    ".card .carry{display:grid;grid-template-columns:86mm 1fr;gap:5mm}.card table{margin:2px 0}"
    ".card th,.card td{padding:0 3px;min-width:0}.card .carry tbody tr{height:4.4mm}"
    "}"
)
"""CSS of every such page; `.card` is a chart of one sheet."""


def paragraph(text: str) -> str:
    """Return a paragraph of plain text.

    Examples
    --------
    >>> paragraph("rate < limit")
    '<p>rate &lt; limit</p>'
    """
    return f"<p>{escape(text)}</p>"


def plain_page(
    title: str,
    style: str,
    parts: Iterable[str],
    kind: str = "",
    *,
    own_font: bool = False,
    language: tuple[str, str] = ("en", "ltr"),
) -> str:
    """Return a whole page.

    Parameters
    ----------
    title
        Plain text.
    style
        CSS.
    parts
        HTML of the body, in order.
    kind
        Class of the body.
    own_font
        Whether the style carries a font.
    language
        Tag of the language (BCP 47), and its direction: ``"ltr"`` or ``"rtl"``.
    """
    policy = f"{_POLICY}; font-src data:" if own_font else _POLICY
    tag, direction = language
    way = ' dir="rtl"' if direction == "rtl" else ""
    if way:
        # Places in pictures are measured from the left, whatever way the text runs.
        style += "svg{direction:ltr}"
    return (
        f'<!doctype html>\n<html lang="{escape(tag)}"{way}><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head>\n"
        f'<body class="{escape(kind)}">{"".join(parts)}</body></html>\n'
    )
