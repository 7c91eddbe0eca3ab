"""`committee.html`: the committee page on screen and on one sheet of paper, self-contained."""

from __future__ import annotations

from html import escape

from maps.committee import UNDER, CommitteePage, Section, unparted
from maps.committee_font import FAMILY, font_faces
from maps.committee_map import Picture, committee_picture, picture_svg, swatch_svg
from maps.palette import INK, PAPER, SOFT
from maps.plain_page import paragraph, plain_page

_FONTS = f"'{FAMILY}','Source Sans 3','Segoe UI',Roboto,'Liberation Sans',Arial,sans-serif"

_STYLE = (
    f"body{{margin:0 auto;padding:12px;max-width:900px;background:{PAPER};color:{INK};"
    f"font:16px/1.35 {_FONTS};overflow-wrap:anywhere}}"
    "h1{font-size:1.7em;line-height:1.15;margin:0}h2{font-size:1.1em;margin:1em 0 .15em}"
    "p{margin:.15em 0}.lead{font-size:1.25em;font-weight:700;margin:.4em 0}"
    ".sub{font-size:1.05em}svg{display:block}.map{width:100%;height:auto}"
    ".key{list-style:none;margin:.3em 0;padding:0;display:grid;font-size:.9em;"
    "grid-template-columns:1fr 1fr;gap:.1em .8em}.key li{display:flex;gap:.5em;align-items:center}"
    ".swatch{width:7mm;height:4mm;flex:none}"
    f".words,.method{{border-top:1px solid {SOFT};margin-top:1em}}.method{{font-size:.85em}}"
    "bdi{white-space:pre-line}"
    ".under section{break-inside:avoid;padding-top:.1em}.under h2{margin-top:.5em}"
    "@media(min-width:760px){.top{display:grid;gap:0 1.6em;grid-template-columns:59fr 38fr}"
    ".under{columns:2;column-gap:1.6em}.top h2{margin-top:.2em}}"
)

_PRINT = (
    "@page{{size:{paper} portrait;margin:10mm}}"
    "@media print{{body{{padding:0;width:190mm;max-width:none;font-size:{size}pt;line-height:1.25}}"
    ".top{{display:grid;gap:0 5mm;grid-template-columns:{map_mm:.1f}mm 1fr}}"
    ".under{{columns:2;column-gap:5mm}}h2,.under h2{{margin:.35em 0 .05em}}p{{margin:.08em 0}}"
    ".lead{{margin:.2em 0}}.map{{width:{map_mm:.1f}mm}}.key{{margin:0}}"
    ".swatch{{height:3.4mm}}.words{{margin-top:.3em}}.method{{display:none}}"
    "*{{-webkit-print-color-adjust:exact;print-color-adjust:exact}}}}"
)


def committee_html(page: CommitteePage, paper: str, size_pt: float) -> str:
    """Return the page.

    Parameters
    ----------
    page
        What is said.
    paper
        ``"letter"`` or ``"a4"``.
    size_pt
        Size of the text on paper (`maps.committee_pdf.fitting_size`).

    Returns
    -------
    str
        One document without a script or a link; equal pages give equal bytes.
    """
    lang = page.lang
    picture = committee_picture(page.findings.analysis, lang)
    under = "".join(_section(page, key) for key in UNDER)
    parts = [
        f"<header><h1>{embraced(page.title)}</h1>",
        f'<p class="sub">{embraced(page.subtitle)}</p>',
        f'<p class="lead">{embraced(page.lead)}</p></header>',
        f'<main><div class="top">{_map(picture, page)}{_section(page, "found")}</div>',
        f'<div class="under">{under}</div>',
        f'<div class="words">{_section(page, "glossary")}</div></main>',
        f'<section class="method"><h2>{escape(lang.say("headings.method"))}</h2>',
        *map(paragraph, page.method),
        "</section>",
    ]
    size = {"paper": paper.replace("a4", "A4"), "size": size_pt, "map_mm": picture.width_mm}
    style = font_faces(parts) + _STYLE + _PRINT.format(**size)
    language = (lang.tag, lang.direction)
    return plain_page(page.title, style, parts, "committee", own_font=True, language=language)


def embraced(text: str) -> str:
    """Return a text that may hold the user's words: it cannot turn the direction of the rest."""
    return f"<bdi>{escape(text)}</bdi>"


def _section(page: CommitteePage, key: str) -> str:
    section = page.section(key)
    lines = "".join(f"<p>{embraced(unparted(line))}</p>" for line in section.lines)
    return f"<section><h2>{escape(section.heading)}</h2>{_items(section)}{lines}</section>"


def _items(section: Section) -> str:
    return "".join(
        f"<p><strong>{escape(head)}</strong> {embraced(text)}</p>" for head, text in section.items
    )


def _map(picture: Picture, page: CommitteePage) -> str:
    rows = "".join(
        f"<li>{swatch_svg(picture.styles[kind])}<span>{escape(text)}</span></li>"
        for kind, text in picture.key
    )
    dot = (
        '<svg class="swatch" viewBox="0 0 7 4" aria-hidden="true">'
        f'<circle cx="3.5" cy="2" r=".6" fill="{INK}"/></svg>'
    )
    heading = page.lang.say("headings.where")
    label = f"{page.lang.say('page.head', head=heading)} {page.lead}"
    return (
        f"<section><h2>{escape(heading)}</h2>{picture_svg(picture, label)}"
        f'<ul class="key">{rows}<li>{dot}<span>{escape(picture.dot_text)}</span></li></ul>'
        "</section>"
    )
