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
from maps.catalogue import Catalogue
from maps.sheet import Counter, counters
from maps.sheet_words import leg_texts, status_texts
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


def round_form(plan: RoundPlan, lang: Catalogue) -> bytes:
    """Return the XLSForm of a round as the bytes of a workbook: one answer sheet per trap.

    Parameters
    ----------
    plan
        The round; its traps are the choices, in walking order, each with the day it was set.
    lang
        Language of what is read; names and codes are the same in every language.

    Raises
    ------
    SettingsError
        If pyxform is not installed, or does not accept the form.
    """
    content = _workbook(form_sheets(plan, lang))
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


def form_sheets(plan: RoundPlan, lang: Catalogue) -> Sheets:
    """Return the sheets of the form: name -> rows."""
    title = lang.say("sheet_form.title", site=plan.site.settings.name, week=plan.week)
    return {
        "survey": _survey(plan.site, lang),
        "choices": _choices(plan, lang),
        "settings": [
            {
                "form_title": _plain(title),
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


def read_back_words(site: Site, lang: Catalogue) -> str:
    """Return where the lines of `read_back_toml` go: beside the site's own visits or apart."""
    fields = field_names(site)
    same = bool(site.settings.species_columns) and all(
        name == field for name, field in fields.items()
    )
    if same:
        return lang.say("sheet_form.same_columns")
    has = "other_names" if site.settings.species_columns else "column_each"
    return lang.say("sheet_form.other_columns", columns=lang.say(f"sheet_form.{has}"))


def _survey(site: Site, lang: Catalogue) -> list[Row]:
    fields = field_names(site)
    minutes = lang.say("sheet_form.minutes")
    return [
        _question("select_one traps", "trap_id", lang.say("sheet_form.trap"), required="yes"),
        *_days(lang),
        _question(
            "select_one status",
            "status",
            lang.say("sheet_form.status"),
            required="yes",
            relevant="${checked_on} > ${set_on}",
        ),
        *(_count(fields[each.name], each, lang) for each in counters(site) if _asked(each)),
        _question("decimal", "minutes", minutes, constraint=". >= 0 and . <= 1440"),
        _question("text", "note", lang.say("sheet_form.note")),
    ]


def _days(lang: Catalogue) -> list[Row]:
    set_on = "/".join(("instance('traps')", "root", "item[name=${trap_id}]", "set_on"))
    set_days = {"calculation": set_on, "trigger": "${trap_id}"}
    return [
        _question("date", "set_on", lang.say("sheet_form.set_on"), required="yes", **set_days),
        _question(
            "date",
            "checked_on",
            lang.say("sheet_form.checked_on"),
            required="yes",
            default="today()",
            constraint=". > ${set_on}",
            constraint_message=_plain(lang.say("sheet_form.after_set")),
        ),
    ]


def _asked(counter: Counter) -> bool:
    """Tell whether the form asks for a count: species that only turn up at times have no column."""
    return counter.required or counter.kind == "bycatch"


def _count(field: str, counter: Counter, lang: Catalogue) -> Row:
    hint = "none_hint" if counter.required else "blank_hint"
    # As it is typed, without a mark between its digits.
    whole_number = lang.say("sheet_form.whole_number", most=str(LARGEST_COUNT))
    return _question(
        "integer",
        field,
        counter.label,
        hint=_plain(lang.say(f"sheet_form.{hint}")),
        required="yes" if counter.required else "",
        relevant="${status} = 'ok'",
        constraint=f". >= 0 and . <= {LARGEST_COUNT}",
        constraint_message=_plain(whole_number),
    )


def _question(kind: str, name: str, label: str, **more: str) -> Row:
    return {"type": kind, "name": name, "label": _plain(label), **more}


def _choices(plan: RoundPlan, lang: Catalogue) -> list[Row]:
    stops = plan.stops
    days = stops["set_on"].dt.strftime("%Y-%m-%d").fillna("")
    choices = zip(stops["trap_id"], leg_texts(plan, lang), days, strict=True)
    traps = [
        {
            "list_name": "traps",
            "name": str(trap),
            "label": _plain(
                lang.say("sheet_form.choice", place=str(place), name=str(trap), leg=leg)
            ),
            "set_on": day,
        }
        for place, (trap, leg, day) in enumerate(choices, start=1)
    ]
    statuses = [
        {"list_name": "status", "name": code, "label": _plain(text)}
        for code, text in status_texts(lang)
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
