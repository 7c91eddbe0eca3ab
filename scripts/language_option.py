"""The language of what a run shows: named with --language, or in site.toml, or English."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from data.settings import SiteSettings
from maps.catalogue import Catalogue
from maps.language_file import english, read_catalogue


def language_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--language``."""
    return click.option(
        "--language",
        type=click.Path(exists=True, dir_okay=False, path_type=Path),
        metavar="FILE",
        help="Translated copy of maps/languages/en.toml.  [default: that of site.toml, or English]",
    )(command)


def language_of(named: Path | None, site: Path, settings: SiteSettings) -> Catalogue:
    """Return the language of a run; what its file leaves out is told on standard error.

    Parameters
    ----------
    named
        File of the option, if it was given.
    site
        Folder of the site, where the file that site.toml names is.
    settings
        Of the site.

    Raises
    ------
    SettingsError
        If the file cannot be read, or its messages do not fit.
    """
    path = named or (site / settings.language if settings.language else None)
    if path is None:
        return english()
    lang = read_catalogue(path)
    if lang.left_out:
        click.echo(f"snoutline: {left_out_text(lang)}", err=True)
    return lang


def left_out_text(lang: Catalogue) -> str:
    """Return what a language file leaves out, in one line.

    Examples
    --------
    >>> from dataclasses import replace
    >>> left_out_text(replace(english(), file="de.toml", left_out=("dates.day",)))[:60]
    'de.toml leaves out 1 message, which stands in English: dates'
    """
    left = lang.left_out
    messages, stand = ("message", "stands") if len(left) == 1 else ("messages", "stand")
    return (
        f"{lang.file} leaves out {len(left):,} {messages}, which {stand} in English: "
        f"{english().listed(left)}."
    )
