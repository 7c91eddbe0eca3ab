"""Write the generated parts of README.md from the code that they describe.

``python -m scripts.make_readme`` writes; ``--check`` only tells, with exit code 1, that it would.
"""

from __future__ import annotations

import dataclasses
import re
import sys
from pathlib import Path

from data.committee_settings import CommitteeSettings
from data.findings import CODES
from data.settings import (
    AerialSettings,
    DecisionSettings,
    DesignSettings,
    LimitSettings,
    LocalGridSettings,
    MarkSettings,
    NetworkSettings,
    PhenologySettings,
    ReadSettings,
    RoundSettings,
    SeasonWindow,
    SiteSettings,
    WeatherSettings,
)
from maps.columns import columns_markdown
from maps.write import atomic_write

README = Path(__file__).resolve().parents[1] / "README.md"

SECTIONS = {
    "": SiteSettings,
    "season": SeasonWindow,
    "designs.<name>": DesignSettings,
    "marks": MarkSettings,
    "network": NetworkSettings,
    "round": RoundSettings,
    "weather": WeatherSettings,
    "phenology": PhenologySettings,
    "read": ReadSettings,
    "local_grid": LocalGridSettings,
    "[limits]": LimitSettings,
    "decision": DecisionSettings,
    "committee": CommitteeSettings,
    "aerial": AerialSettings,
}
"""Section of `site.toml` -> the settings it holds."""

ELSEWHERE = {
    "species_columns": ("species_columns", "<column of the file>"),
    "aliases": ("columns.<table>", "<column of the file>"),
    "files": ("files", "<table>"),
    "class_breaks": ("map", "class_breaks"),
    "first_day": ("[limits]", "from"),
    "last_day": ("[limits]", "to"),
}
"""Settings of the site that have a section of their own: setting -> section and key."""


def settings_markdown() -> str:
    """Return one table row per setting: section, name, default and meaning."""
    rows = ["| section | setting | default | meaning |", "|---|---|---|---|"]
    for section, kind in SECTIONS.items():
        meanings = _meanings(kind.__doc__ or "")
        for each in dataclasses.fields(kind):
            if each.name in meanings and (section, each.name) != ("designs.<name>", "name"):
                place, key = ELSEWHERE.get(each.name, (section, each.name))
                default, meaning = _default(each), meanings[each.name]
                rows.append(f"| {place and f'[{place}]'} | `{key}` | {default} | {meaning} |")
    return "\n".join(rows)


def codes_markdown() -> str:
    """Return one table row per finding code."""
    rows = [f"| {code} | {meaning} |" for code, meaning in CODES.items()]
    return "\n".join(["| code | what is wrong |", "|---|---|", *rows])


def filled(text: str) -> str:
    """Return the README with its generated parts made anew."""
    parts = {
        "settings": settings_markdown(),
        "codes": codes_markdown(),
        "columns": columns_markdown().rstrip(),
    }
    for name, body in parts.items():
        block = f"<!-- {name} -->\n\n{body}\n\n<!-- /{name} -->"
        pattern = rf"<!-- {name} -->.*?<!-- /{name} -->"
        before, found, after = re.split(f"({pattern})", text, maxsplit=1, flags=re.DOTALL)
        text = text if not found else before + block + after
    return text


def main(arguments: list[str]) -> int:
    """Write or check the README; return the exit code."""
    text = README.read_text(encoding="utf-8")
    if "--check" in arguments:
        return int(filled(text) != text)
    atomic_write(README, filled(text).encode())
    return 0


def _meanings(docstring: str) -> dict[str, str]:
    """Return setting -> meaning from the Parameters section of a docstring."""
    section = docstring.partition("----------\n")[2]
    found = re.findall(r"^    (\w+(?:, \w+)*)\n((?:        .+\n)+)", section, flags=re.MULTILINE)
    return {
        name: " ".join(body.split()).replace("``", "`")
        for names, body in found
        for name in names.split(", ")
    }


def _default(field: dataclasses.Field[object]) -> str:
    value = field.default
    if value is dataclasses.MISSING or value is None or value in ("", ()):
        return "-"
    if dataclasses.is_dataclass(value):
        return "see below"
    return f"`{', '.join(map(str, value)) if isinstance(value, tuple) else value}`"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
