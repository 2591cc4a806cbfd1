from pathlib import Path

from geom.part.part import Part


def read_mesh(path: Path, unit: float) -> Part:
    raise NotImplementedError
