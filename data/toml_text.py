"""Writing keys and texts for site.toml, so that what a finding says can be pasted."""

from __future__ import annotations

import json
import re

_BARE = re.compile(r"[A-Za-z0-9_-]+").fullmatch


def toml_key(name: str) -> str:
    """Return a key as TOML 1.0 takes it, in quotation marks where it must have them.

    Examples
    --------
    >>> toml_key("linear"), toml_key("pitfall trap")
    ('linear', '"pitfall trap"')
    """
    return name if _BARE(name) else toml_text(name)


def toml_text(text: str) -> str:
    r"""Return a basic string of TOML 1.0, whose escapes are those of JSON.

    Examples
    --------
    >>> print(toml_text('Trap "no."'))
    "Trap \"no.\""
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
