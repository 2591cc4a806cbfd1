"""A folder of operators behind `prepare`: the same field, and a part moved does not meet the operators of another place."""

from pathlib import Path

import numpy as np
from helpers.cells import COARSE, reference_cell

from geom.bem.problem import Voltage
from geom.electrode.laws import Linear
from geom.field import prepare, solve_field
from geom.panels import mesh_cell


def test_a_second_run_gives_the_same_field_to_the_bit(tmp_path: Path) -> None:
    cell = reference_cell(Linear(1.3e-4))
    panels = mesh_cell(cell, COARSE)
    fields = [solve_field(prepare(cell, panels, store=folder), Voltage(1.0)) for folder in (None, tmp_path, tmp_path)]
    assert len(list(tmp_path.iterdir())) == 1
    for field in fields[1:]:
        assert np.array_equal(field.potential, fields[0].potential)
        assert field.current == fields[0].current
