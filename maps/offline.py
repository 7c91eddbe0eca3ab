"""A folium page that holds everything it needs and asks the network for nothing.

Leaflet comes from the installed ``xstatic-leaflet`` wheel, checked by its SHA-256. The other
scripts and styles that folium links by default serve things this page does not use; they are
dropped. Anything else that would be linked is an error. A content security policy then makes the
browser itself refuse every request and every script that is not listed by its hash.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path

import folium
from branca.element import Element, Figure, Link
from folium.template import Template
from xstatic.pkg import leaflet

from maps.catalogue import Catalogue

LEAFLET_SHA256 = {
    "leaflet.js": "5819285cec137b229c94e1ee5ad73e8b6b84345a4367d60f75fe477fe0fb7b03",
    "leaflet.css": "90b693d86392a4779c861b28cf307e7e59c3fb35328c4d8b95f58f814d38c722",
}
"""Leaflet 1.9.3, BSD-2-Clause; the same bytes as the release on npm."""

INLINED = {"leaflet": "leaflet.js", "leaflet_css": "leaflet.css"}
DROPPED = frozenset(
    {
        "jquery",
        "bootstrap",
        "awesome_markers",
        "bootstrap_css",
        "glyphicons_css",
        "awesome_markers_font_css",
        "awesome_markers_css",
        "awesome_rotate_css",
    }
)

_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_IMAGE = re.compile(r"url\((images/[\w.-]+)\)")
_SOURCE_MAP = re.compile(r"//# sourceMappingURL=\S+\s*$")
_POLICY_PLACE = "<!-- policy -->"


class OfflineError(RuntimeError):
    """The page would need the network, or a bundled library is not the one expected."""


class Text(Element):
    """An element that is printed as it is; branca would read ``{{`` in it as a template.

    Parameters
    ----------
    text
        HTML, CSS or JavaScript.

    Examples
    --------
    >>> Text("{{ 7 * 7 }}").render()
    '{{ 7 * 7 }}'
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def render(self, **_: object) -> str:
        """Return the text."""
        return self.text


class PlainMap(folium.Map):
    """A folium map that leaves the page around it, and the reader's zoom gesture, alone."""

    _template = Template(
        """
        {% macro html(this, kwargs) %}{% endmacro %}
        {% macro script(this, kwargs) %}
            var {{ this.get_name() }} = L.map(
                {{ this.get_name()|tojson }},
                {center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}}
            );
        {% endmacro %}
        """
    )


class OfflinePage(Figure):
    """A branca figure that renders to one self-contained HTML document.

    Parameters
    ----------
    title
        Title of the document, plain text.
    lang
        Language of the document.

    Notes
    -----
    Every element gets a fixed id before it is rendered, so equal content gives equal bytes.
    """

    _template = Template(
        '<!DOCTYPE html>\n<html lang="{{ this.lang.tag|e }}" dir="{{ this.lang.direction }}">\n'
        '<head>\n<meta charset="utf-8">\n'
        + _POLICY_PLACE
        + '\n<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "<title>{{ this.title|e }}</title>\n"
        "{{ this.header.render(**kwargs) }}\n</head>\n<body>\n"
        "{{ this.html.render(**kwargs) }}\n"
        "<script>{{ this.script.render(**kwargs) }}</script>\n</body>\n</html>\n"
    )

    def __init__(self, title: str, lang: Catalogue) -> None:
        super().__init__(title=title)
        self.lang = lang
        self.header._children.clear()

    def render(self, **kwargs: object) -> str:
        """Return the document.

        Raises
        ------
        OfflineError
            If a child links a script or style that is not bundled.
        """
        number_elements(self)
        for child in self._children.values():
            child.render(**kwargs)
        inline_links(self.header)
        html: str = self._template.render(this=self, kwargs=kwargs)
        refuse_links(html)
        return html.replace(_POLICY_PLACE, policy_tag(html), 1)


def number_elements(root: Element) -> None:
    """Give every element below `root` an id by its place in the tree instead of a random one."""
    for number, element in enumerate(_walk(root)):
        element._id = str(number)


def _walk(element: Element) -> Iterator[Element]:
    yield element
    for child in element._children.values():
        yield from _walk(child)


def inline_links(header: Element) -> None:
    """Replace the links in a header by the bundled text, and drop those that nothing here needs.

    Raises
    ------
    OfflineError
        If a link is neither bundled nor known to be unneeded.
    """
    for name, child in list(header._children.items()):
        if name in INLINED:
            header._children[name] = Text(_tagged(INLINED[name]))
        elif name in DROPPED:
            del header._children[name]
        elif isinstance(child, Link):
            msg = (
                f"the page must not link anything, but {name!r} links {child.url}; "
                f"bundle it in maps/offline.py or leave it out"
            )
            raise OfflineError(msg)


def _tagged(name: str) -> str:
    text = leaflet_text(name)
    if name.endswith(".js"):
        return f"<script>{_SOURCE_MAP.sub('', text)}</script>"
    return f"<style>{_IMAGE.sub(_data_uri, text)}</style>"


def leaflet_text(name: str) -> str:
    """Return one of Leaflet's files from the installed wheel.

    Parameters
    ----------
    name
        A key of `LEAFLET_SHA256`.

    Raises
    ------
    OfflineError
        If the installed file is not the one this code was checked with.
    """
    content = (_leaflet_folder() / name).read_bytes()
    found = hashlib.sha256(content).hexdigest()
    if found != LEAFLET_SHA256[name]:
        msg = (
            f"{name} of xstatic-leaflet must have SHA-256 {LEAFLET_SHA256[name]}. Got {found} "
            f"instead; install the pinned requirements again"
        )
        raise OfflineError(msg)
    return content.decode("utf-8")


def _leaflet_folder() -> Path:
    return Path(leaflet.BASE_DIR)


def _data_uri(found: re.Match[str]) -> str:
    content = (_leaflet_folder() / found[1]).read_bytes()
    return f"url(data:image/png;base64,{base64.b64encode(content).decode('ascii')})"


_FETCHING = re.compile(
    r"<(?:link|iframe|object|embed|base)\b[^>]*>|<[^>]*\ssrc\s*=[^>]*>", re.IGNORECASE
)
_ATTRIBUTE = re.compile(r'(?<=[\w-]=")[^"<>]*(?=")')


def refuse_links(html: str) -> None:
    """Raise if a document has a tag that would fetch something.

    Raises
    ------
    OfflineError
        Naming the first such tag.

    Examples
    --------
    >>> refuse_links('<p title="&lt;img src=x">See https:// in text</p>')
    >>> refuse_links('<img src="x.png">')
    Traceback (most recent call last):
    maps.offline.OfflineError: the page must hold everything itself, but it has <img src="x.png">
    """
    outside = _SCRIPT.sub("", html)
    # What stands in an attribute is text, even where it reads like a tag's own source.
    bare = _ATTRIBUTE.sub(lambda value: "x" * len(value[0]), outside)
    if tag := _FETCHING.search(bare):
        found = outside[slice(*tag.span())]
        msg = f"the page must hold everything itself, but it has {found}"
        raise OfflineError(msg)


def policy_tag(html: str) -> str:
    """Return the content security policy for a document: no requests, only its own scripts.

    Examples
    --------
    >>> "script-src 'sha256-a4ayc/80/OGda4BO/1o/V0etpOqiLx1JwB5S3beHW0s=';" in policy_tag(
    ...     "<script>1</script>"
    ... )
    True
    """
    hashes = sorted({_script_hash(text) for text in _SCRIPT.findall(html)})
    policy = (
        "default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
        f"script-src {' '.join(hashes)}; base-uri 'none'; form-action 'none'"
    )
    return f'<meta http-equiv="Content-Security-Policy" content="{policy}">'


def _script_hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
