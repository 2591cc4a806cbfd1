"""Jobs that ask for little, so that a test need not wait."""

from dataclasses import replace

from geom.job.job import Demand, Job


def few_panels(job: Job, panels: int) -> Job:
    """The job on about so many panels, however sure its figures then are, and however long that takes on a busy machine."""
    return replace(job, demand=Demand(accuracy=0.05, panels=panels, seconds=3600.0))
