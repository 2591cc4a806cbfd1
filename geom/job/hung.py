"""The part of a job with all that is done to it, and as it hangs: what is known before any solve."""

from geom.cell.build import build_cell
from geom.cell.cell import Cell
from geom.job.job import Job
from geom.part.build import build_part
from geom.part.masking import masked
from geom.part.part import Part
from geom.part.threads import threaded


def prepared_part(job: Job) -> Part:
    """Return the part with its threads, its roughness and its masks: what is bare is a feature of its own.

    Raises
    ------
    PartError
        where the part cannot be, or a mask or a thread does not fit it.
    """
    part = threaded(build_part(job.shape), job.threads, job.roughness)
    return masked(part, job.masks)


def hung_cell(job: Job) -> Cell:
    """Return the cell of a job, every default filled in; `geom.cell.wetted.wetted_areas` tells what of it is wet.

    Raises
    ------
    GeomError
        where the part cannot be, or cannot hang like that.
    """
    return build_cell(
        prepared_part(job),
        job.bath,
        tank=job.tank,
        anodes=job.anodes,
        pose=job.pose,
        rack=job.rack,
        shields=job.shields,
        thieves=job.thieves,
    )
