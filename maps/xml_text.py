"""Text inside XML: what may not stand there is replaced, the rest is escaped by the writer."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

# XML 1.0 allows no other characters, not even escaped (W3C XML 1.0, production 2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

REPLACEMENT = "\ufffd"


def xml_text(text: str) -> str:
    r"""Return a text with every character that XML forbids replaced by U+FFFD.

    Examples
    --------
    >>> xml_text("a\x00b") == "a\ufffdb"
    True
    """
    return _NOT_XML.sub(REPLACEMENT, text)


def add_text(parent: ET.Element, tag: str, text: str) -> ET.Element:
    """Add an element that holds a text, and return it.

    Examples
    --------
    >>> root = ET.Element("wpt")
    >>> added = add_text(root, "name", "<T1> & more")
    >>> ET.tostring(root, "unicode")
    '<wpt><name>&lt;T1&gt; &amp; more</name></wpt>'
    """
    child = ET.SubElement(parent, tag)
    child.text = xml_text(text)
    return child


def document(root: ET.Element) -> str:
    """Return a whole XML document in UTF-8, indented by one space a level.

    Examples
    --------
    >>> document(ET.Element("gpx")).splitlines()
    ['<?xml version="1.0" encoding="UTF-8"?>', '<gpx />']
    """
    ET.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, "unicode") + "\n"
