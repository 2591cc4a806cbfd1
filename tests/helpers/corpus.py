"""A corpus of real and hostile files, where it is at hand, and what the program makes of each of them."""

import csv
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from geom.errors import GeomError
from geom.findings import Severity
from geom.part.build import build_part
from geom.part.shapes import Drawing, MeshFile

MM = 1e-3
STATES_ITS_UNIT = (".3mf", ".step", ".stp")
DRAWINGS = (".dxf", ".svg")
THICK = 3e-3  # metal of the drawings [m]


@dataclass(frozen=True)
class Outcome:
    """What came of one file: an area and what was told with it, or a refusal."""

    row: dict[str, str]
    area: float | None = None  # [m²]
    slug: str = ""  # of the refusal
    told: tuple[str, ...] = ()  # codes of findings that are warnings, and of repairs
    unit: float = MM  # of the numbers on record [m]

    @property
    def name(self) -> str:
        return Path(self.row["file"]).name


def corpus() -> Path | None:
    """Folder of the corpus: named by GEOM_CORPUS, else beside the checkout."""
    named = os.environ.get("GEOM_CORPUS")
    folder = Path(named) if named else Path(__file__).resolve().parents[3] / "shared" / "meshes"
    return folder if (folder / "index_open.csv").is_file() else None


def rows() -> list[dict[str, str]]:
    folder = corpus()
    if folder is None:
        return []
    with (folder / "index_open.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def outcomes() -> list[Outcome]:
    """Read every file of the corpus, two at a time."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return list(pool.map(outcome, rows(), chunksize=4))


def outcome(row: dict[str, str]) -> Outcome:
    folder = corpus()
    assert folder is not None
    path = folder / row["file"]
    suffix = path.suffix.lower()
    unit = None if suffix in STATES_ITS_UNIT else MM
    shape = Drawing(path, None if suffix == ".dxf" else unit, THICK) if suffix in DRAWINGS else MeshFile(path, unit)
    try:
        part = build_part(shape)
    except GeomError as error:
        return Outcome(row, slug=error.slug)
    warned = [finding.code for finding in part.findings if finding.severity != Severity.NOTE]
    return Outcome(row, part.area, told=(*warned, *(change.code for change in part.changes)))


def truths(row: dict[str, str]) -> Iterator[float]:
    """Yield the areas on record for the files of that name [mm² or file units²]: some names occur twice."""
    for other in rows():
        if other["file"] == row["file"]:
            yield from (float(other[key]) for key in ("true_area_mm2", "area", "area_second") if other[key])
