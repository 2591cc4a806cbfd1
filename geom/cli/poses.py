"""``geom poses``: how should it hang? Every way worth weighing, side by side."""

from pathlib import Path

import click

from geom.cli.progress import progress_shown

USUAL = "quick"  # accuracy: many poses are weighed, and the best is planned by itself afterwards


def run(
    job: str,
    *,
    accuracy: str | None,
    asked_only: bool,
    picture: str | None,
    no_picture: bool,
    tables: str | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Weigh the poses of one job, print and draw them; return the exit code."""
    path = Path(job)
    target = None if no_picture else Path(picture or f"{_stem(path)}-poses.png")
    with progress_shown(quiet) as say:
        say("reading the job", 0.0)
        from geom.job.demand import with_accuracy
        from geom.job.read import read_job
        from geom.poses.compared import compared_poses

        made = with_accuracy(read_job(path, tables=tables), accuracy or USUAL)
        if target is not None:
            from geom.report.picturefile import check_picture

            check_picture(target)
        found = compared_poses(made, say, asked=made.turns.poses if asked_only else ())
    from geom.report.poses import poses_document, poses_figure, poses_tree

    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        click.echo(dumped({"schema_version": SCHEMA_VERSION, **poses_tree(found)}), nl=False)
    elif not quiet:
        from geom.report.text import as_text

        click.echo(as_text(poses_document(found)), nl=False)
    if target is not None:
        from geom.report.picturefile import write_picture

        write_picture(poses_figure(found), target)
        if not quiet:
            click.echo(f"picture in {target}", err=True)
    return 0


def _stem(path: Path) -> str:
    return (path.resolve().parent.name if path.stem == "job" else path.stem) or "job"
