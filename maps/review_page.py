"""`season-review.html`: the year in six pictures on screen and paper, self-contained."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from html import escape

from maps.committee import zone_names
from maps.committee_font import FAMILY, font_faces
from maps.committee_map import committee_picture, picture_svg, swatch_svg
from maps.committee_page import embraced
from maps.method_words import sources_text
from maps.month_maps import month_maps_svg
from maps.network_map import HATCHES, STYLE, dot_swatch, network_map_svg, place_swatch
from maps.page import template_text
from maps.palette import INK, PAPER, SOFT
from maps.plain_page import plain_page
from maps.plan_map import key_svg
from maps.review import MOST_EFFECTS, PICTURES, ReviewPage
from maps.review_charts import effects_svg, weeks_svg
from maps.season_charts import CaughtWords, caught_by_day_svg

_FONTS = f"'{FAMILY}','Source Sans 3','Segoe UI',Roboto,'Liberation Sans',Arial,sans-serif"

_PAGE_STYLE = (
    f"body{{margin:0 auto;padding:12px;max-width:1000px;background:{PAPER};color:{INK};"
    f"font:16px/1.35 {_FONTS};overflow-wrap:anywhere}}"
    "h1{font-size:1.7em;line-height:1.15;margin:0}h2{font-size:1.1em;margin:.9em 0 .15em}"
    "p{margin:.2em 0}.lead{font-size:1.25em;font-weight:700;margin:.4em 0}"
    f"figure{{margin:0;break-inside:avoid}}svg{{display:block;width:100%;height:auto;"
    f"font-family:{_FONTS}}}figcaption{{font-size:.95em}}"
    ".six{display:grid;gap:0 2em;grid-template-columns:1fr}"
    ".key{list-style:none;margin:.3em 0;padding:0;display:flex;flex-wrap:wrap;font-size:.85em;"
    "gap:.1em 1em}.key li{display:flex;gap:.5em;align-items:center}"
    "ul{margin:.2em 0;padding-left:1.2em}ul.key{padding:0}"
    "svg.swatch{width:7mm;height:4.6mm;flex:none}.six>section{min-width:0}.slide{overflow-x:auto}"
    "@media(max-width:520px){.slide svg{width:600px}}"
    f"footer{{border-top:1px solid {SOFT};margin-top:1em;font-size:.8em}}"
    "@media(min-width:760px){.six{grid-template-columns:1fr 1fr}.months,.network{grid-column:1/-1}}"
    "@media print{body{padding:0;max-width:none;font-size:10pt}section{break-inside:avoid}"
    # Two sheets: pictures 1 to 3, and the rest.
    ".map{max-height:66mm}.slide svg{width:168mm}.plan-map{max-height:88mm}"
    ".years{break-before:page}figcaption,ul{font-size:.93em}"
    ".six{grid-template-columns:1fr 1fr;gap:0 6mm}.months,.network{grid-column:1/-1}"
    "*{-webkit-print-color-adjust:exact;print-color-adjust:exact}}"
)
_PAPER = "@page{{size:{paper} portrait;margin:12mm}}"


def review_html(page: ReviewPage, paper: str) -> str:
    """Return the page.

    Parameters
    ----------
    page
        What is said.
    paper
        ``"letter"`` or ``"a4"``.

    Returns
    -------
    str
        One document without a script or a link; equal pages give equal bytes.
    """
    lang, sources = page.lang, sources_text(page.review.analysis, page.lang)
    parts = [
        f"<header><h1>{embraced(page.title)}</h1><p>{embraced(page.subtitle)}</p>"
        f'<p class="lead">{embraced(page.lead)}</p></header><main><div class="six">',
        *(_figure(page, name, number) for number, name in enumerate(PICTURES, 1)),
        _list(lang.say("review.worked"), page.worked),
        _list(lang.say("review.change"), page.change),
        f"</div></main><footer><p>{embraced(sources)}</p></footer>",
    ]
    size = _PAPER.format(paper=paper.replace("a4", "A4"))
    style = font_faces(parts) + _PAGE_STYLE + size + template_text("plan_map.css") + STYLE
    language = (lang.tag, lang.direction)
    return plain_page(page.title, style, parts, "review", own_font=True, language=language)


def _figure(page: ReviewPage, name: str, number: int) -> str:
    heading = page.lang.say(f"review_heads.{name}")
    lines = "".join(f"<p>{embraced(line)}</p>" for line in page.captions[name])
    return (
        f'<section class="{name}"><h2>{number}. {embraced(heading)}</h2><figure>'
        f"{_DRAWN[name](page)}<figcaption>{lines}</figcaption></figure></section>"
    )


def _where(page: ReviewPage) -> str:
    picture = committee_picture(page.review.analysis, page.lang)
    rows = [(swatch_svg(picture.styles[kind]), text) for kind, text in picture.key]
    return picture_svg(picture, page.captions["where"][0]) + _key(rows)


def _months(page: ReviewPage) -> str:
    lang, months = page.lang, page.review.months
    names = {each: lang.month(each) for each in months}
    if len({each.year for each in months}) > 1:
        names = {
            each: lang.say("dates.month_year", month=name, year=str(each.year))
            for each, name in names.items()
        }
    label, unit = lang.say("review_heads.months"), lang.say("review_said.month_unit")
    svg = month_maps_svg(page.review, names, label, unit)
    # On a phone the maps stay large enough to read, and slide sideways.
    return f'<div class="slide" tabindex="0" role="region" aria-label="{escape(label)}">{svg}</div>'


def _weeks(page: ReviewPage) -> str:
    return weeks_svg(page.review.analysis, page.lang)


def _years(page: ReviewPage) -> str:
    lang = page.lang
    words = CaughtWords(lang.say("review_heads.years"), lang.say("review_said.years_unit"))
    return caught_by_day_svg(page.review.when, words, lang)


def _effects(page: ReviewPage) -> str:
    effects = [each.effect for each in page.review.courses][-MOST_EFFECTS:]
    return effects_svg(effects, zone_names(page.review.analysis), page.lang)


def _network(page: ReviewPage) -> str:
    network, lang = page.review.network, page.lang
    rows = [
        *(
            (key_svg(name, HATCHES.get(name)), lang.say(f"review_said.network_{code}"))
            for name, code in _NETWORK_KEY
        ),
        (dot_swatch("n-trap"), lang.say("review_said.network_trap")),
    ]
    if len(network.plan.suggestions):
        rows.append((place_swatch(), lang.say("review_said.network_new")))
    label = lang.say("review_said.network_label")
    return network_map_svg(network, label, lang) + _key(rows)


_NETWORK_KEY = (
    ("n-enough", "enough"),
    ("n-thin", "thin"),
    ("n-none", "none"),
    ("n-refuge", "refuge"),
)

_DRAWN: Mapping[str, Callable[[ReviewPage], str]] = {
    "where": _where,
    "months": _months,
    "weeks": _weeks,
    "years": _years,
    "effects": _effects,
    "network": _network,
}
"""Picture -> what draws it."""


def _key(rows: Iterable[tuple[str, str]]) -> str:
    items = "".join(f"<li>{swatch}<span>{escape(text)}</span></li>" for swatch, text in rows)
    return f'<ul class="key">{items}</ul>'


def _list(heading: str, lines: Iterable[str]) -> str:
    items = "".join(f"<li>{embraced(line)}</li>" for line in lines)
    return f"<section><h2>{escape(heading)}</h2><ul>{items}</ul></section>"
