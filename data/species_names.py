"""Checking the names of visits with one row per species: no adult is lost under a wrong one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from data.checks import Check, Draft, Fault, findings_at, quoted, rows_of
from data.findings import Finding
from data.schemas import SITE_FILE
from data.settings import SiteSettings
from data.taxa import (
    counts_as_target,
    genus_of,
    is_bare_genus,
    is_open_name,
    meant_target,
    spelt_as_known,
)
from data.visits import VISIT_KEY


def known_bycatch(settings: SiteSettings) -> tuple[str, ...]:
    """Return the names that site.toml knows as by-catch, as species or as columns."""
    return (*settings.bycatch_species, *settings.bycatch_columns)


def with_known_names(draft: Draft, settings: SiteSettings) -> Draft:
    """Write the names of species as site.toml does where only capitals and blanks differ."""
    known = (*known_bycatch(settings), *settings.target_species)
    names = spelt_as_known(draft.typed["species"], known)
    return replace(draft, typed=draft.typed.assign(species=names))


def name_checks(settings: SiteSettings) -> list[Check]:
    """Return the checks of the names of species, in order."""
    names = _Names(settings.target_species, known_bycatch(settings))
    return [names.misspelt, names.unseen, names.open_names, names.strangers, names.uncounted]


@dataclass(frozen=True, slots=True)
class _Names:
    """The names that site.toml knows, and the checks of the others against them."""

    targets: tuple[str, ...]
    bycatch: tuple[str, ...]

    def misspelt(self, draft: Draft) -> list[Finding]:
        """Report names that come close to a target: their adults would be lost."""
        seen, meant = set(draft.typed["species"]), self._meant(draft)
        if self._all_is_lost(draft, meant):
            # Of a target that no visit names, one finding of the whole file says so.
            meant = {name: target for name, target in meant.items() if target in seen}
        fault = Fault(
            "IN-025",
            draft.typed["species"].isin(list(meant)),
            lambda cell: f"{quoted(cell)} is not a target species, but close to one",
            lambda cell: (
                f"did you mean {meant[cell]!r}? If not, name it in bycatch_species of {SITE_FILE}"
            ),
            "species",
        )
        return findings_at(draft, fault)

    def unseen(self, draft: Draft) -> list[Finding]:
        """Report targets that no visit names; an error when all adults stand under a close name."""
        seen = set(draft.typed["species"]) - {""}
        meant = self._meant(draft)
        lost = self._all_is_lost(draft, meant)
        return [
            self._unseen(draft, target, [name for name in sorted(meant) if meant[name] == target])
            for target in self.targets
            if seen and target not in seen and (lost or target not in meant.values())
        ]

    def open_names(self, draft: Draft) -> list[Finding]:
        """Tell once for each open name, e.g. ``unknown`` or a genus, that its adults count."""
        names = draft.typed["species"].drop_duplicates()
        names = names[names != ""]
        open_names = names[[self._is_open(name) and name not in self.targets for name in names]]
        counted = open_names[counts_as_target(open_names, self.targets, self.bycatch)]
        fault = Fault(
            "IN-026",
            rows_of(draft, counted.index),
            lambda cell: f"adults under {quoted(cell)} count with the target species",
            "name the species where you can; a genus alone beside its species is read as their "
            "total",
            "species",
            "warning",
        )
        return findings_at(draft, fault)

    def strangers(self, draft: Draft) -> list[Finding]:
        """Tell once for each name that site.toml does not know that its adults do not count."""
        meant = self._meant(draft)
        names = draft.typed["species"].drop_duplicates()
        told = names[self._is_stranger(names) & ~names.isin(list(meant))]
        fault = Fault(
            "IN-049",
            rows_of(draft, told.index),
            lambda cell: f"{quoted(cell)} is not among the target species: its adults are by-catch",
            f"add it to target_species in {SITE_FILE} if it should count, else to bycatch_species",
            "species",
            "warning",
        )
        return findings_at(draft, fault)

    def uncounted(self, draft: Draft) -> list[Finding]:
        """Report visits with animals under names that site.toml does not know, and no others.

        Whether these are the target or not, a zero was not counted there.
        """
        rows = draft.typed[draft.good(*VISIT_KEY, "status", "species", "adults")]
        rows = rows[rows["status"] == "ok"]
        stranger = self._is_stranger(rows["species"])
        stranger &= ~rows["species"].isin(list(self._meant(draft)))
        told = ~stranger & ~rows["species"].isin(self.bycatch)
        known = told.groupby([rows[name] for name in VISIT_KEY], dropna=False).transform("any")
        fault = Fault(
            "IN-102",
            rows_of(draft, rows.index[stranger & ~known & (rows["adults"] > 0)]),
            lambda cell: (
                f"{quoted(cell)} is no name that {SITE_FILE} knows, and the visit has no row of "
                "a target species: its target count is not known"
            ),
            f"name it in target_species or bycatch_species of {SITE_FILE}, or add a row with the "
            "count of a target species, 0 if there was none",
            "species",
        )
        return findings_at(draft, fault)

    def _is_stranger(self, names: pd.Series[str]) -> pd.Series[bool]:
        counted = counts_as_target(names, self.targets, self.bycatch)
        return (names != "") & ~counted & ~names.isin(self.bycatch)

    def _is_open(self, name: str) -> bool:
        """Return whether a name leaves the species open; without targets a lone word is a name."""
        if not self.targets and is_bare_genus(name):
            return False
        return is_open_name(name, {genus_of(name)})

    def _meant(self, draft: Draft) -> dict[str, str]:
        """Return the target species for each name that is no known one, but close to one."""
        names = draft.typed["species"].drop_duplicates()
        meant = {name: meant_target(name, self.targets) for name in names[self._is_stranger(names)]}
        return {name: target for name, target in meant.items() if target is not None}

    def _all_is_lost(self, draft: Draft, meant: Mapping[str, str]) -> bool:
        """Return whether adults stand under close names, and none under any that counts."""
        names, caught = draft.typed["species"], draft.typed["adults"] > 0
        counted = (names != "") & counts_as_target(names, self.targets, self.bycatch)
        close = names.isin(list(meant))
        return bool((caught & close).any() and not (caught & counted).any())

    def _unseen(self, draft: Draft, target: str, close: list[str]) -> Finding:
        listed = " and ".join(map(quoted, close))
        problem = f"no visit names the target species {target!r}"
        fix = f"check its spelling in {SITE_FILE} and in the visits"
        if close:
            problem += f"; adults stand under {listed} only"
            fix = f"spell the name in {SITE_FILE} and in the visits alike"
        return Finding(
            "IN-037",
            draft.file,
            problem,
            fix,
            severity="error" if close else "warning",
            column=draft.headers["species"],
        )
