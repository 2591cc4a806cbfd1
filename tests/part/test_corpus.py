"""A corpus of real and hostile mesh files, where it is at hand: good ones are read right, no area is silently wrong."""

import csv
import math
import os
from pathlib import Path

import pytest

from geom.errors import PartError
from geom.part.files import read_mesh

MM = 1e-3
LARGEST = 2_000_000  # bytes: larger files are left out for time


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
        return [
            row
            for row in csv.DictReader(file)
            if row["file"].lower().endswith((".stl", ".obj", ".ply", ".off")) and int(row["bytes"]) <= LARGEST
        ]


def truths(file: str) -> list[float]:
    """Areas recorded for a file [mm²]; some names occur twice, for two versions of a file."""
    found = [row["true_area_mm2"] or row["area"] for row in rows() if row["file"] == file]
    return [float(area) for area in found if area]


needed = pytest.mark.skipif(corpus() is None, reason="the corpus of meshes is not here")


@pytest.mark.corpus
@needed
def test_good_meshes_are_accepted_with_the_area_on_record() -> None:
    folder, wrong = corpus(), []
    assert folder is not None
    good = [row for row in rows() if row["set"] == "good"]
    for row in good:
        try:
            area = read_mesh(folder / row["file"], MM).area / MM**2
        except PartError as error:
            wrong.append(f"{row['name']}: {error.slug}")
            continue
        if not any(math.isclose(area, truth, rel_tol=1e-6) for truth in truths(row["file"])):
            wrong.append(f"{row['name']}: {area}, on record {truths(row['file'])}")
    assert len(good) >= 30
    assert wrong == []


@pytest.mark.corpus
@needed
def test_broken_meshes_never_give_an_area_silently_wrong() -> None:
    folder, wrong = corpus(), []
    assert folder is not None
    broken = [row for row in rows() if row["set"] != "good"]
    for row in broken:
        try:
            area = read_mesh(folder / row["file"], MM).area / MM**2
        except PartError:
            continue
        known = truths(row["file"])
        if row["expect"] == "REJECT":
            wrong.append(f"{row['name']}: must be refused")
        if known and not any(math.isclose(area, truth, rel_tol=1e-3) for truth in known):
            wrong.append(f"{row['name']}: {area}, on record {known}")
    assert len(broken) >= 60
    assert wrong == []
