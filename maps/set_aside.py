"""`set-aside.csv`: every row that counts nowhere, whole and as typed, with what is wrong."""

from __future__ import annotations

import json

import pandas as pd

from data.set_aside import Account
from maps.columns import Column
from maps.exports import csv_text

SET_ASIDE_FILE = "set-aside.csv"

SET_ASIDE = (
    Column("file", "text", "File, with its sheet or layer where it holds several."),
    Column("row", "row", "Row as a spreadsheet counts it; feature from 1 for shapes.", 0),
    Column("column", "text", "Column of the mistake, blank for the whole row."),
    Column("value", "text", "What was typed there.", is_id=True),
    Column("code", "text", "Code of the finding."),
    Column("problem", "text", "What is wrong."),
    Column("fix", "text", "How to mend it."),
    Column("cells", "JSON", "The whole row: column -> what was typed."),
)
"""The columns of `set-aside.csv`."""


def set_aside_csv(account: Account) -> str:
    """Return the text of `set-aside.csv`; only the header when every row counts."""
    rows = [
        {
            "file": each.finding.file,
            "row": each.finding.row,
            "column": each.finding.column,
            "value": each.finding.value,
            "code": each.finding.code,
            "problem": _sentence(each.finding.problem),
            "fix": _sentence(each.finding.fix),
            "cells": json.dumps(dict(each.cells), ensure_ascii=False),
        }
        for each in account.rows
    ]
    table = pd.DataFrame(rows, columns=[column.name for column in SET_ASIDE], dtype=object)
    return csv_text(table, SET_ASIDE)


def _sentence(text: str) -> str:
    """Return our own words so that they do not begin with a quotation mark.

    In a CSV file the apostrophe would be doubled, lest a spreadsheet takes it off.

    Examples
    --------
    >>> _sentence("'OK' is not one of ok, flooded")
    "the value 'OK' is not one of ok, flooded"
    """
    return f"the value {text}" if text.startswith(("'", '"')) else text
