"""Draw the pictures of README and docs from the samples, for light and for dark pages.

Run it from any folder: ``python samples/draw_pictures.py``, or with a folder to write to.
"""

import io
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from matplotlib.figure import Figure
from PIL import Image

from geom.job.hung import hung_cell
from geom.job.read import read_job
from geom.plan import make_plan
from geom.report.dark import darkened
from geom.report.figures import features_figure, part_figure, png
from geom.report.partpicture import part_picture
from geom.report.tankfigure import tank_figure

SAMPLES = Path(__file__).parent
PICTURES = SAMPLES.parent / "docs" / "pictures"
COLOURS = 128
SURVEYED = ("tab", "clamp")
"""Samples whose features are drawn; nothing is solved for that."""


def features_of(sample: str) -> Figure:
    """Return the part of a sample from two sides, its features by number."""
    part = hung_cell(read_job(SAMPLES / sample / "job.toml")).part
    return part_picture(part.features, part.surface)


def fewer_colours(picture: bytes) -> bytes:
    """Return a PNG in 128 colours, a third of its size: a page loads several."""
    out = io.BytesIO()
    few = Image.open(io.BytesIO(picture)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    few.save(out, format="png", optimize=True)
    return out.getvalue()


def drawings() -> Iterator[tuple[str, Callable[[], Figure]]]:
    """Yield the name of each picture with what draws it."""
    for sample in SURVEYED:
        yield f"features-{sample}", lambda sample=sample: features_of(sample)  # type: ignore[misc]
    plan = make_plan(read_job(SAMPLES / "link" / "job.toml"))
    yield "link", lambda: part_figure(plan)
    yield "link-features", lambda: features_figure(plan)
    yield "link-tank", lambda: tank_figure(plan)


def main(folder: Path) -> None:
    """Write every picture twice."""
    for name, draw in drawings():
        (folder / f"{name}.png").write_bytes(fewer_colours(png(draw())))
        (folder / f"{name}-dark.png").write_bytes(fewer_colours(png(darkened(draw()))))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES)
