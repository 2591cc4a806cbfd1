"""``geom area``: area by feature, volume, size, repairs and hanging, without any solve."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from geom.cli.part_options import Asked, immersion, limits_of, part_of_file, stated_unit
from geom.cli.progress import progress_shown
from geom.errors import JobError, PartError
from geom.findings import Severity

if TYPE_CHECKING:  # at run time these are read only when the command runs
    from geom.survey import Survey

BLOCKED = 1  # exit code of a part with a finding that should stop the user


def run(
    file: str,
    *,
    asked: Asked,
    immersed: str | None,
    as_json: bool,
    as_csv: bool,
    picture: str | None,
    no_picture: bool,
    workers: int | None,
    quiet: bool = False,
) -> int:
    """Print what can be told of a part without a solve, or of every part in a folder; return the exit code."""
    path = Path(file)
    if path.is_dir():
        return _folder(path, asked, as_json=as_json, as_csv=as_csv, workers=workers, quiet=quiet)
    if as_csv:
        raise JobError("option-not-here", "--csv goes with a folder of files", where=str(path), hint="or say --json")
    target = _picture_path(path, picture, wanted=not (no_picture or (as_json and picture is None)))
    try:
        survey = _survey(path, asked, immersed)
    except PartError as error:
        _draw_defect(error, path, asked, target)
        raise
    if target is not None:
        from geom.report.partpicture import part_picture
        from geom.report.partviews import Waterline
        from geom.report.picturefile import write_picture

        water = None if survey.waterline is None else Waterline(*survey.waterline)
        write_picture(part_picture(survey.part.features, survey.part.surface, water), target)
    if as_json or not quiet:
        _print(survey, as_json=as_json)
    if target is not None and not quiet:
        click.echo(f"picture in {target}", err=True)
    return BLOCKED if any(f.severity == Severity.STOP for f in survey.findings) else 0


def _survey(path: Path, asked: Asked, immersed: str | None) -> "Survey":
    """Return the survey of the part of a job, or of a mesh or drawing in the pose it is drawn in."""
    from geom.survey import surveyed

    if path.suffix.lower() != ".toml":
        return surveyed(part_of_file(path, asked), immersed=immersion(immersed))
    if asked.unit:
        text = "--unit goes with a mesh file; a job file states its own units"
        raise JobError("unit-not-wanted", text, where=str(path))
    return _job_survey(path, immersed)


def _job_survey(path: Path, immersed: str | None) -> "Survey":
    """Return the survey of one part of a job, as it is first hung; as drawn where the set-up does not hold."""
    from dataclasses import replace

    from geom.errors import CellError
    from geom.findings import Finding
    from geom.job.hung import hung_cell, prepared_part
    from geom.job.read import read_job
    from geom.survey import depth_of, surveyed

    job = replace(read_job(path), rack=None)
    try:
        cell = hung_cell(job)
    except CellError as error:
        part = prepared_part(job)
        text = f"the part is shown as drawn, for it cannot hang as the job has it: {error.message}"
        note = Finding(Severity.WARNING, "set-up-refused", text)
        survey = surveyed(replace(part, findings=(*part.findings, note)), immersed=immersion(immersed))
        return replace(survey, job=job.title)
    depth = depth_of(cell) if immersed is None else immersion(immersed)
    return replace(surveyed(cell.part, rotation=cell.pose.rotation, immersed=depth), job=job.title)


def _print(survey: "Survey", *, as_json: bool) -> None:
    from geom.report.survey import survey_document, survey_tree

    if as_json:
        from geom.report.plainjson import dumped

        click.echo(dumped(survey_tree(survey)), nl=False)
        return
    from geom.report.text import as_text

    click.echo(as_text(survey_document(survey)), nl=False)


def _picture_path(path: Path, name: str | None, *, wanted: bool) -> Path | None:
    """Return where the picture goes: as said, or in the folder that we are in, named after the file."""
    if not wanted:
        return None
    from geom.report.picturefile import check_picture

    target = Path(name) if name else Path(f"{path.stem or 'part'}-area.png")
    check_picture(target)
    return target


def _draw_defect(error: PartError, path: Path, asked: Asked, target: Path | None) -> None:
    """Draw the faces of a refused file with the places of the defect; the error then names the picture."""
    if target is None or not error.marks:
        return
    from geom.part.files import raw_surface
    from geom.report.partpicture import defect_picture
    from geom.report.picturefile import write_picture

    place = target.with_name(target.name.replace("-area.png", "-defect.png"))
    unit = stated_unit(asked)
    write_picture(defect_picture(raw_surface(path, unit, limits_of(asked)), error.marks), place)
    error.hint = f"{error.hint}; the places are marked in {place}" if error.hint else f"see {place}"


def _folder(path: Path, asked: Asked, *, as_json: bool, as_csv: bool, workers: int | None, quiet: bool) -> int:
    """Print one line for each part in a folder."""
    from geom.cli.area_folder import folder_rows, rows_as_csv, rows_as_text

    with progress_shown(quiet) as say:
        rows = folder_rows(path, asked, workers or os.cpu_count() or 1, say)
    if not rows:
        from geom.formats.open import READERS

        text = f"no file in this folder may be a part: none ends in {', '.join(sorted(READERS))}"
        raise JobError("folder-without-parts", text, where=str(path))
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        click.echo(dumped({"schema_version": SCHEMA_VERSION, "files": rows}), nl=False)
    elif as_csv or not quiet:
        click.echo(rows_as_csv(rows) if as_csv else rows_as_text(rows), nl=False)
    return 0
