"""A page of text, tables and pictures without a script: self-contained, offline, printable."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def paragraph(text: str) -> str:
    """Return a paragraph of plain text.

    Examples
    --------
    >>> paragraph("rate < limit")
    '<p>rate &lt; limit</p>'
    """
    return f"<p>{escape(text)}</p>"


def plain_page(title: str, style: str, parts: Iterable[str], kind: str = "") -> str:
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
    """
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head>\n"
        f'<body class="{escape(kind)}">{"".join(parts)}</body></html>\n'
    )
