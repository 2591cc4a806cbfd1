"""``geom calibrate``: readings at the bench to a bath of the user's own."""

import os
from pathlib import Path

import click

from geom.cli.progress import progress_shown
from geom.errors import OutputError


def run(readings: str, *, out: str | None, as_json: bool, force: bool, no_files: bool, quiet: bool) -> int:
    """Fit a bath to a file of readings, write it as a table and print it; return the exit code."""
    from geom.job.readings import read_readings

    asked = read_readings(readings)
    target = None if no_files else Path(out) if out else Path(f"{asked.name}.toml")
    if target is not None:
        _check(target, Path(readings), force=force)
    from geom.calibrate.calibrate import calibrate
    from geom.report.bathtable import bath_table_text
    from geom.report.calibrate import calibration_document, calibration_tree
    from geom.report.plainjson import SCHEMA_VERSION, dumped
    from geom.report.text import as_text

    with progress_shown(quiet or as_json) as say:
        found = calibrate(asked, progress=say)
    name = None if target is None or not found.figures else target.name
    if target is not None and found.figures:
        _write(target, bath_table_text(found), force=force)
    if as_json:
        click.echo(dumped({"schema_version": SCHEMA_VERSION, **calibration_tree(found, name)}), nl=False)
    elif not quiet:
        click.echo(as_text(calibration_document(found, name)), nl=False)
    if name is not None and not quiet:
        from geom.report.tree import printable

        click.echo(f"bath in {printable(str(target))}", err=True)
    return 0


def _check(target: Path, readings: Path, *, force: bool) -> None:
    """Refuse a place for the table before the work, not after it."""
    if target.suffix.lower() != ".toml":
        text = "a table of baths is a .toml file"
        raise OutputError("table-not-written", text, where=str(target), hint=f"say --out {target.stem or 'bath'}.toml")
    if target.exists() and readings.exists() and target.samefile(readings):
        text = "the table would replace the readings themselves"
        raise OutputError("table-not-written", text, where=str(target), hint="name another file with --out")
    if target.is_dir() or (target.exists() and not target.is_file()):
        raise OutputError("table-not-written", "there is something else of that name", where=str(target))
    if target.exists() and not force:
        text = "there is a file of that name already"
        raise OutputError("table-not-written", text, where=str(target), hint="--force replaces it; --out names another")


def _write(target: Path, text: str, *, force: bool) -> None:
    """Write the table whole or not at all."""
    fresh = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        fresh.write_text(text, encoding="utf-8")
        if not force and target.exists():  # another run was faster
            raise FileExistsError(None, "there is a file of that name already")
        fresh.replace(target)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        text = f"the table cannot be written: {(error.strerror or str(error)).lower()}"
        raise OutputError("table-not-written", text, where=str(target), hint="name another place with --out") from error
