"""An XLSForm of a round, for people whose collector reads such forms (https://xlsform.org)."""

from __future__ import annotations

import io
import re
import zipfile
from importlib import import_module
from types import ModuleType

from data.findings import SettingsError
from data.schemas import LARGEST_COUNT
from data.site import Site
from maps.sheet import Counter, counters
from maps.sheet_words import STATUS_TEXT, leg_texts
from maps.site_toml import toml_value
from spatial.round_plan import RoundPlan

_MISSING = (
    "an XLSForm is built and validated with pyxform, which is not installed; "
    "install it with: pip install 'snoutline[xlsform]'"
)
_SURVEY = (
    "type",
    "name",
    "label",
    "hint",
    "required",
    "relevant",
    "constraint",
    "constraint_message",
    "default",
    "calculation",
    "trigger",
)
_TAKEN = ("trap_id", "set_on", "checked_on", "status", "minutes", "note")

COLLECTOR_COLUMNS = (
    *("SubmitterID", "AttachmentsPresent", "AttachmentsExpected", "Edits", "FormVersion"),
    *("_id", "_index", "__version__"),
)
"""Columns of numbers, but no counts, that programs add to the answers (common practice, no source:
named from memory)."""

Row = dict[str, str]
Sheets = dict[str, list[Row]]


def round_form(plan: RoundPlan) -> bytes:
    """Return the XLSForm of a round as the bytes of a workbook: one answer sheet per trap.

    Parameters
    ----------
    plan
        The round; its traps are the choices, in walking order, each with the day it was set.

    Raises
    ------
    SettingsError
        If pyxform is not installed, or does not accept the form.
    """
    content = _workbook(form_sheets(plan))
    xform_of(content)
    return content


def xform_of(content: bytes) -> str:
    """Return the XForm that pyxform makes of a workbook.

    Raises
    ------
    SettingsError
        If pyxform is not installed, or does not accept the form; its own words are passed on.
    """
    convert, refusal = (
        _pyxform("pyxform.xls2xform").convert,
        _pyxform("pyxform.errors").PyXFormError,
    )
    try:
        # The validator proper is a Java program; pyxform's own checks need none.
        return str(convert(io.BytesIO(content), validate=False, file_type=".xlsx").xform)
    except refusal as error:
        raise SettingsError(f"pyxform does not accept the form: {error}") from error


def form_sheets(plan: RoundPlan) -> Sheets:
    """Return the sheets of the form: name -> rows."""
    return {
        "survey": _survey(plan.site),
        "choices": _choices(plan),
        "settings": [
            {
                "form_title": f"{_plain(plan.site.settings.name)}, round {plan.week}",
                "form_id": f"round-{plan.week}",
                "version": plan.week.replace("-W", ""),
            }
        ],
    }


def field_names(site: Site) -> dict[str, str]:
    """Return the form's field for each counter: counter -> a name that a form may use.

    A column that is a plain word keeps its name, so that the form's CSV reads like the site's own.
    """
    fields: dict[str, str] = {}
    for counter in counters(site):
        stem = re.sub(r"[^A-Za-z0-9_]+", "_", counter.name).strip("_") or "count"
        stem = stem if stem[0].isalpha() else f"n_{stem}"
        taken = {*fields.values(), *_TAKEN}
        tries = (stem if n == 1 else f"{stem}_{n}" for n in range(1, len(taken) + 2))
        fields[counter.name] = next(name for name in tries if name not in taken)
    return fields


def read_back_toml(site: Site) -> str:
    """Return what site.toml must hold so that the form's exported CSV is read as its visits."""
    fields, kinds = field_names(site), counters(site)
    bycatch = [fields[each.name] for each in kinds if each.kind == "bycatch"]
    counted = {*fields.values()}
    others = [*site.settings.other_columns, *COLLECTOR_COLUMNS]
    uncounted = [name for name in dict.fromkeys(others) if name not in counted]
    lines = [
        f"bycatch_columns = {toml_value(bycatch)}",
        f"other_columns = {toml_value(uncounted)}",
        "[species_columns]",
    ]
    wide = site.settings.species_columns
    lines += [
        f"{fields[each.name]} = {toml_value(wide.get(each.name, each.name))}"
        for each in kinds
        if each.kind != "bycatch" and each.required
    ]
    return "\n".join(lines) + "\n"


def read_back_words(site: Site) -> str:
    """Return where the lines of `read_back_toml` go: beside the site's own visits or apart."""
    fields = field_names(site)
    same = bool(site.settings.species_columns) and all(
        name == field for name, field in fields.items()
    )
    if same:
        return (
            "The form's CSV has the columns of your visits. It is read with these lines in "
            "site.toml, in place of the lines of the same names, the first two above the first "
            "[table]:"
        )
    why = "other names" if site.settings.species_columns else "one column for each species"
    return (
        f"The form's CSV has {why}, unlike your visits: keep it in a folder of its own, a copy of "
        "the site's with the CSV as visits. In the site.toml there, and only there, put these "
        "lines in place of the lines of the same names, the first two above the first [table]:"
    )


def _survey(site: Site) -> list[Row]:
    fields = field_names(site)
    set_on = "/".join(("instance('traps')", "root", "item[name=${trap_id}]", "set_on"))
    later = "${checked_on} > ${set_on}"
    return [
        _question("select_one traps", "trap_id", "Trap", required="yes"),
        _question(
            "date", "set_on", "Set on", required="yes", calculation=set_on, trigger="${trap_id}"
        ),
        _question(
            "date",
            "checked_on",
            "Checked on",
            required="yes",
            default="today()",
            constraint=". > ${set_on}",
            constraint_message="The trap must be checked after the day it was set.",
        ),
        _question("select_one status", "status", "Status", required="yes", relevant=later),
        *(_count(fields[each.name], each) for each in counters(site) if _asked(each)),
        _question("decimal", "minutes", "Minutes at the trap", constraint=". >= 0 and . <= 1440"),
        _question("text", "note", "Note"),
    ]


def _asked(counter: Counter) -> bool:
    """Tell whether the form asks for a count: species that only turn up at times have no column."""
    return counter.required or counter.kind == "bycatch"


def _count(field: str, counter: Counter) -> Row:
    return _question(
        "integer",
        field,
        _plain(counter.label),
        hint="0 when there was none" if counter.required else "blank when not counted",
        required="yes" if counter.required else "",
        relevant="${status} = 'ok'",
        constraint=f". >= 0 and . <= {LARGEST_COUNT}",
        constraint_message=f"A whole number from 0 to {LARGEST_COUNT}.",
    )


def _question(kind: str, name: str, label: str, **more: str) -> Row:
    return {"type": kind, "name": name, "label": label, **more}


def _choices(plan: RoundPlan) -> list[Row]:
    stops = plan.stops
    days = stops["set_on"].dt.strftime("%Y-%m-%d").fillna("")
    traps = [
        {
            "list_name": "traps",
            "name": str(trap),
            "label": f"{number}. {_plain(str(trap))} ({_plain(leg)})",
            "set_on": day,
        }
        for number, (trap, leg, day) in enumerate(
            zip(stops["trap_id"], leg_texts(plan), days, strict=True), start=1
        )
    ]
    statuses = [
        {"list_name": "status", "name": code, "label": text} for code, text in STATUS_TEXT.items()
    ]
    return [*traps, *statuses]


def _plain(text: str) -> str:
    """Return text in which a form sees no reference to another question."""
    return text.replace("${", "$ {")


def _workbook(sheets: Sheets) -> bytes:
    book = _pyxform("openpyxl").Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        header = _SURVEY if name == "survey" else tuple(dict.fromkeys(k for r in rows for k in r))
        sheet.append(header)
        for number, row in enumerate(rows, start=2):
            for place, column in enumerate(header, start=1):
                cell = sheet.cell(number, place)
                cell.value = row.get(column) or None
                # Text as it is: a label that starts with = must not become a formula.
                cell.data_type = "s" if row.get(column) else "n"
    buffer = io.BytesIO()
    book.save(buffer)
    return _repeatable(buffer.getvalue())


def _repeatable(content: bytes) -> bytes:
    """Return a workbook without the time at which it was written."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as made,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        for name in made.namelist():
            part = made.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2000-01-01T00:00:00Z", part)
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            kept.writestr(entry, part, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def _pyxform(module: str) -> ModuleType:
    """Import a part of the optional extra `xlsform`, which most people never need."""
    try:
        return import_module(module)
    except ImportError:
        raise SettingsError(_MISSING) from None
