"""What can be wrong with a site's files, and how it is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning"]

CODES: dict[str, str] = {
    # files
    "IN-001": "a required file, or one that site.toml names, is missing",
    "IN-002": "a file cannot be read",
    "IN-003": "what a file holds does not fit its name",
    "IN-004": "a file has no rows",
    "IN-005": "a column is missing",
    "IN-006": "a column is there twice",
    "IN-007": "a row has more cells than the header",
    "IN-008": "files of this kind are not read",
    "IN-009": "more than one file or layer could be meant",
    # values
    "IN-010": "a required value is blank",
    "IN-011": "a date is not written YYYY-MM-DD",
    "IN-012": "a number is not a number",
    "IN-013": "a number is outside its range",
    "IN-014": "a word is not one of the allowed ones",
    "IN-015": "a column is ignored whose name is close to one that is read",
    "IN-016": "no usable row is left in a required file",
    "IN-017": "a file is too large",
    # counts
    "IN-020": "a visit with status ok has no count",
    "IN-021": "a count is not a whole number",
    "IN-022": "a count is negative",
    "IN-023": "a count is too large to be true",
    "IN-024": "a void visit carries a count",
    "IN-025": "the name of a species is close to that of a target species",
    "IN-026": "adults are counted under a name that is no species",
    "IN-027": "the total of a genus is below the sum of its species",
    "IN-028": "larvae are counted but no core was cut",
    "IN-029": "a row of soil cores is there twice",
    # visits
    "IN-030": "a trap was checked before or on the day it was set",
    "IN-031": "a trap stood longer than 14 nights between checks",
    "IN-032": "two visits of a trap cover the same nights",
    "IN-033": "a visit lies outside the time its trap was in place",
    "IN-034": "a visit is there twice",
    "IN-035": "a trap was removed before or on the day it was installed",
    "IN-036": "the species rows of one visit do not agree",
    "IN-037": "a target species occurs in no visit",
    "IN-038": "no visit covers some nights of a trap",
    "IN-039": "a visit lies outside every season and is used nowhere",
    # names
    "IN-040": "a visit names a trap that is not in the traps",
    "IN-041": "a name that must be unique is there twice",
    "IN-042": "two rows of a trap place it in two spots at the same time",
    "IN-043": "a row names a zone that is not in the zones",
    "IN-044": "a row is set aside because the row it refers to is",
    "IN-045": "a name looks as if a spreadsheet had changed it",
    "IN-046": "two names read the same",
    "IN-047": "a design is not among those of site.toml",
    "IN-048": "the year of a date is far from all others",
    "IN-049": "a species is not among the target species",
    # places
    "IN-050": "a coordinate is outside its range",
    "IN-051": "a position is 0, 0",
    "IN-052": "a position is more than 50 km from the zones",
    "IN-053": "a position is outside the area the CRS is made for",
    "IN-054": "the CRS of the settings stretches distances at the site by more than 1 %",
    "IN-055": "a trap moved farther than 500 m under the same name",
    "IN-056": "two traps stand nearer than 5 m",
    "IN-057": "a trap is outside every zone and near no refuge",
    "IN-058": "a trap stands in water or in a building",
    "IN-059": "a trap stands at the edge of water or of a building",
    # shapes
    "IN-060": "a shape is missing, empty or cannot be read",
    "IN-061": "a shape is of the wrong kind",
    "IN-062": "a polygon is not valid",
    "IN-063": "two zones overlap",
    "IN-064": "shapes are in a coordinate system that does not fit",
    "IN-065": "a zone is a sliver",
    "IN-066": "a zone is in several parts",
    # weather
    "IN-070": "the lowest temperature is above the highest",
    "IN-071": "a day is there twice",
    # formats
    "IN-080": "an angle in degrees, minutes and seconds cannot be read",
    "IN-081": "an archive is not safe to open",
    "IN-082": "an XML file declares a document type, or is nested too deeply",
    "IN-083": "a text is not UTF-8 and is read as Windows-1252",
    "IN-084": "it is not clear which character separates the columns",
    "IN-085": "a part of a Shapefile is missing",
    "IN-086": "a package that reads this kind of file is not installed",
    "IN-087": "positions are tape-measured, but site.toml has no [local_grid]",
    "IN-088": "a required layer or sheet is missing",
    "IN-089": "a layer is computed by the file, not stored in it",
    "IN-090": "a time names its offset from UTC, but site.toml has no time zone",
    "IN-091": "a sheet spans too many cells",
    "IN-092": "a cell of a workbook holds a spreadsheet error",
    "IN-093": "a shape has too many vertices or rings",
    "IN-094": "a file holds more cells, values, elements or vertices than are read at a time",
    "IN-095": "shapes are too many or too detailed to be compared with each other",
    "IN-096": "two visits of one trap on one day disagree",
    "IN-097": "a column of numbers in the visits is not read",
    "IN-098": "no trap has a design that site.toml names",
    "IN-099": "a trap bears the name of a place of another trap, which moved",
    "IN-100": "the weather was read at another time of the day than site.toml says",
    "IN-101": "temperatures look as if read at another time of the day than site.toml says",
    "IN-102": "a visit counts animals only under names that site.toml does not know",
    "IN-103": "tape measures are called metres, but declared in another unit",
    "IN-104": "the use of a zone is written nearly like another one",
    "IN-105": "a column without a name holds values",
    "IN-106": "a limit names a zone or a use that the site does not have",
    "IN-107": "a treatment is there twice",
    "IN-072": "days are missing",
    "IN-073": "temperatures look like tenths of a degree",
    "IN-074": "temperatures look like those of the other unit",
}
"""Every code with what it means. A code never changes its meaning."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong with one place in one file.

    Parameters
    ----------
    code
        Stable code, a key of `data.findings.CODES`, e.g. ``"IN-021"``.
    file
        File name relative to the site's folder, with its sheet or layer where it holds several.
    problem, fix
        What is wrong and how to mend it, in plain words.
    severity
        ``"error"``: the row is set aside. ``"warning"``: the row is used.
    row
        Row as a spreadsheet counts it (the header is row 1); for shapes the feature number from 1.
    column, value
        Where in the row, and what was found there, as typed.

    Examples
    --------
    >>> print(Finding("IN-021", "visits.csv", "'2l' is not a whole number of adults",
    ...               "type the count in digits", row=14, column="adults", value="2l"))
    visits.csv row 14, column adults: '2l' is not a whole number of adults; \
type the count in digits [IN-021]
    """

    code: str
    file: str
    problem: str
    fix: str
    severity: Severity = "error"
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f" row {self.row}"
        if self.column is not None:
            place += f", column {self.column}"
        return f"{place}: {self.problem}; {self.fix} [{self.code}]"


class SnoutlineError(Exception):
    """Base of every error that a user can mend; `exit_code` is what the command line returns."""

    exit_code = 1


class SettingsError(SnoutlineError):
    """A setting or an option is wrong."""

    exit_code = 2


class InputError(SnoutlineError):
    """The files of a site hold errors.

    Parameters
    ----------
    findings
        At least one finding; the errors among them are what stops the run.
    account
        A `data.set_aside.Account` of the rows that could be read, or None.
    """

    exit_code = 3

    def __init__(self, findings: Sequence[Finding], account: object = None) -> None:
        self.findings = tuple(findings)
        self.account = account
        super().__init__("\n".join(str(f) for f in self.findings))
