"""``geom log``: note what was really done, beside the job, and see what it says."""

import json
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geom.cli.plan import results_name
from geom.cli.progress import progress_shown
from geom.errors import RunLogError
from geom.findings import Severity

if TYPE_CHECKING:  # at run time these are read only when the command runs
    from geom.chemistry import Bath
    from geom.runlog.run import Planned, Run

BLOCKED = 1  # exit code of a log with a finding that should stop the user


@dataclass(frozen=True, slots=True)
class Done:
    """What a command line says of a run, in its words."""

    current: str | None = None
    volts: str | None = None
    minutes: str | None = None
    before: str | None = None
    after: str | None = None
    balance: str | None = None
    look: str | None = None
    date: str | None = None


DONE = tuple(field.name for field in fields(Done))
AMOUNTS = {
    "current": ("current", "--current", (1e-6, 1e5)),
    "volts": ("voltage", "--volts", (0.0, 1e3)),
    "minutes": ("time", "--time", (1.0, 1e7)),
    "before": ("mass", "--before", (0.0, 1e3)),
    "after": ("mass", "--after", (0.0, 1e3)),
    "balance": ("mass", "--balance", (1e-9, 1.0)),
}


def run(job: str, *, done: Done, as_json: bool, quiet: bool, tables: str | None = None) -> int:
    """Add a run to the log of a job if one is told, and print the log against the plan; return the exit code."""
    from geom.runlog.book import add_run, log_path, read_log
    from geom.runlog.compare import compared

    path = Path(job)
    with progress_shown(quiet or as_json) as say:
        say("reading the job", 0.0)
        title, planned = _planned(path, say, tables)
    log = log_path(path)
    read_log(log)  # a log that cannot be read is told before anything is added to it
    if any(getattr(done, name) is not None for name in DONE):
        add_run(log, _run(done, planned))
    runs = read_log(log)
    found = compared(runs, planned) if runs else None
    _print(title, runs, found, as_json=as_json, quiet=quiet)
    if not quiet:
        click.echo(f"log in {log}", err=True)
    return BLOCKED if found and any(f.severity == Severity.STOP for f in found.findings) else 0


def _print(title: str, runs: "tuple[Run, ...]", found: Any, *, as_json: bool, quiet: bool) -> None:
    from geom.report.plainjson import SCHEMA_VERSION, dumped
    from geom.report.runlog import log_document, log_tree
    from geom.report.text import as_text

    if as_json:
        click.echo(dumped({"schema_version": SCHEMA_VERSION, **log_tree(title, runs, found)}), nl=False)
    elif not quiet:
        click.echo(as_text(log_document(title, runs, found)), nl=False)


def _run(done: Done, planned: "Planned") -> "Run":
    from geom.runlog.run import Run

    values = {name: _amount(name, getattr(done, name)) for name in AMOUNTS}
    before, after = values["before"], values["after"]
    if before is not None and after is not None and after < before:
        text = f"the part weighs {1e3 * (before - after):.4g} g less than before"
        hint = "--before is the dry part before plating, --after the dry part after it"
        raise RunLogError("run-lost-mass", text, where="--after", hint=hint)
    return Run(
        date=_date(done.date),
        bath=planned.bath,
        current=values["current"],
        voltage=values["volts"],
        time=values["minutes"],
        mass_before=before,
        mass_after=after,
        balance=values["balance"],
        share=planned.share,
        equivalent=planned.equivalent,
        look=_look(done.look),
    )


def _amount(name: str, text: str | None) -> float | None:
    from geom.units import UnitError, parse

    if text is None:
        return None
    quantity, option, (low, high) = AMOUNTS[name]
    try:
        value = parse(text, quantity)
    except UnitError as error:
        raise RunLogError("option-amount", str(error), where=option) from error
    if not low <= value <= high:
        raise RunLogError("option-amount", f'"{text}" cannot be', where=option, hint="look at the number and its unit")
    return value


def _date(text: str | None) -> str:
    if text is None:
        return datetime.now().astimezone().isoformat(timespec="minutes")
    try:
        return datetime.fromisoformat(text.strip()).isoformat(timespec="minutes")
    except ValueError as error:
        hint = "write it as 2026-05-09 or 2026-05-09T14:30"
        raise RunLogError("option-amount", f'"{text[:40]}" is no date', where="--date", hint=hint) from error


def _look(text: str | None) -> str:
    look = " ".join((text or "").split())
    if len(look) > 500 or not look.isprintable():
        raise RunLogError("option-amount", "at most 500 printable letters are kept", where="--look")
    # a spreadsheet takes a cell that begins so for a formula
    return f"'{look}" if look[:1] in ("=", "+", "-", "@") else look


def _planned(path: Path, say: Any, tables: str | None) -> tuple[str, "Planned"]:
    """Return title and plan of the job: as it was printed where the results lie beside it, else worked out again."""
    from geom.job.read import read_job

    job = read_job(path, tables=tables)
    name = results_name(path)
    places = (Path(name), path.with_name(name))  # `geom plan` writes them where it is run
    kept = (_kept(place / "plan.json", (path, *job.tables)) for place in places)
    tree = next((tree for tree in kept if tree is not None), None)
    if tree is None or tables is not None:  # of which tables the kept one is, it does not say
        from geom.plan import make_plan
        from geom.report.jsonfile import as_json

        tree = json.loads(as_json(make_plan(job, progress=say)))
    return job.title, _of_tree(tree, job.bath)


def _kept(results: Path, inputs: tuple[Path, ...]) -> dict[str, Any] | None:
    """Return the plan that lies beside the job, unless the job or a table of it is younger or the file is none."""
    try:
        if results.stat().st_mtime < max(file.stat().st_mtime for file in inputs):
            return None
        tree = json.loads(results.read_text(encoding="utf-8"))
        return tree if {"deposit", "recommendation", "set_up"} <= tree.keys() else None
    except (OSError, ValueError, AttributeError):
        return None


def _of_tree(tree: dict[str, Any], bath: "Bath") -> "Planned":
    from geom.electrode.faraday import equivalent
    from geom.runlog.run import Planned

    asked, deposit = tree["recommendation"], tree["deposit"]
    return Planned(
        bath=bath.name,
        current=asked["current_A"],
        voltage=asked["cell_voltage_V"],
        time=60 * asked["time_min"],
        mass=1e-3 * deposit["mass_g"],
        charge=3600 * deposit["charge_Ah"],
        efficiency=tree["set_up"]["bath"]["efficiency"],
        least_thickness=1e-6 * asked["minimum_local_thickness_um"],
        target=1e-6 * asked["target_thickness_um"],
        equivalent=equivalent(bath.metal),
    )
