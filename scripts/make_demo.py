"""Write the demo site, or check that the committed files are what the generator makes."""

from __future__ import annotations

from pathlib import Path

import click

from data.demo.build import build_demo, truth_bytes
from data.demo.messy import messy_files

DEMO = Path(__file__).resolve().parent.parent / "data" / "demo"


def demo_files() -> dict[Path, bytes]:
    """Return every generated file of the demo, by path."""
    files = {DEMO / "site" / name: content for name, content in build_demo().items()}
    files |= {DEMO / "messy" / name: content for name, content in messy_files().items()}
    files[DEMO / "truth.json"] = truth_bytes()
    return dict(sorted(files.items()))


def differing(files: dict[Path, bytes]) -> list[str]:
    """Return the names of files that are absent or hold other bytes."""
    return [
        path.relative_to(DEMO).as_posix()
        for path, content in files.items()
        if not path.is_file() or path.read_bytes() != content
    ]


@click.command()
@click.option("--check", is_flag=True, help="Write nothing; exit 1 and name the files that differ.")
def main(*, check: bool) -> None:
    """Write the demo site and its truth into data/demo."""
    files = demo_files()
    if check:
        wrong = differing(files)
        for name in wrong:
            click.echo(f"{name} differs from what the generator makes; run scripts/make_demo.py")
        raise SystemExit(1 if wrong else 0)
    for path, content in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        click.echo(f"{path.relative_to(DEMO)}  {len(content)} bytes")


if __name__ == "__main__":
    main()
