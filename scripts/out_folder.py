"""The folder that the files of a run go to: chosen with --out, or one that no other site shares."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from data.findings import SettingsError
from maps.write import write_texts

OUT = Path("snoutline-out")
_KEY_LENGTH = 8


class _Folder(click.Path):
    """A folder to write to; the path of a blank text would be the current folder."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path."""
        if not str(value).strip():
            self.fail("it is blank; name a folder, or leave --out away", param, ctx)
        return super().convert(value, param, ctx)


def out_option(what: str = "the files") -> Callable[[Any], Any]:
    """Return the option ``--out`` of a command.

    Parameters
    ----------
    what
        What goes into the folder, for the help.
    """
    return click.option(
        "--out",
        type=_Folder(file_okay=False, path_type=Path),
        help=f"Folder for {what}.  [default: snoutline-out/ and the path of SITE]",
    )


def default_folder(site: Path) -> Path:
    """Return where the files of a site go unless the user says otherwise.

    The folder repeats the site's path from the current folder, so that two sites never share one.
    A site elsewhere is told apart by a short key of its whole path.

    Examples
    --------
    >>> default_folder(Path("courses/north")).as_posix()
    'snoutline-out/courses/north'
    >>> default_folder(Path("../north")).name.startswith("north-")
    True
    """
    path, here = site.resolve(), Path.cwd().resolve()
    if path != here and path.is_relative_to(here):
        return OUT / path.relative_to(here)
    key = hashlib.sha256(path.as_posix().encode("utf-8", "surrogateescape")).hexdigest()
    return OUT / f"{path.name}-{key[:_KEY_LENGTH]}"


def written(texts: Mapping[str, str | bytes], folder: Path, site: Path) -> list[Path]:
    """Write the files and return their paths.

    Raises
    ------
    SettingsError
        If the folder is the site's own, or cannot be written to.
    """
    if folder.resolve() == site.resolve():
        raise SettingsError(
            f"--out {folder} is the site's own folder, whose files are only read; "
            "choose another folder"
        )
    try:
        return write_texts(texts, folder)
    except OSError as error:
        reason = error.strerror or error
        raise SettingsError(
            f"the folder {folder} cannot be written to: {reason}; "
            "close the files there, or choose another with --out"
        ) from error
