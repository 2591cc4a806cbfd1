"""`job_file`: the job as it is taken along, with the user's own name for the file of the part."""

from geom.job.jobtext import toml_string
from geom.page.store import PartFile


def job_file(text: str, part: PartFile | None) -> str:
    """Return the text of a job; here its part lies under a name of ours, there under the user's."""
    if part is None:
        return text
    return text.replace(toml_string(part.path.name), toml_string(part.name))
