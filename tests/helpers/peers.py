"""One cell, two solvers: geom's field beside that of quadratic tetrahedra."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geom.field import Field
from helpers.cells import percentiles
from helpers.tetrahedra import TetField
from helpers.validation import hold

TABLE = "peers"
SHARES = (0.01, 0.10, 0.50, 0.90, 0.99)


@dataclass(frozen=True, eq=False)
class Pair:
    """A field of geom, and the same cell by tetrahedra, of which ``symmetry`` make the whole."""

    case: str
    field: Field
    peer: TetField
    symmetry: int

    def hold_current(self, rtol: float) -> None:
        """Assert that the two total currents agree."""
        self._hold("total current, A", self.field.current, self.symmetry * self.peer.current, rtol)

    def hold_percentiles(self, rtol: float) -> None:
        """Assert that the two spreads of current density agree."""
        own, other = percentiles(self.field, list(SHARES)), self.peer.percentiles(SHARES)
        for share, a, b in zip(SHARES, own, other, strict=True):
            self._hold(f"p{100 * share:.0f} of local / mean current density", float(a), float(b), rtol)

    def hold_features(
        self, places: Mapping[str, np.ndarray], features: Mapping[str, Sequence[str]], bounds: Mapping[str, float]
    ) -> None:
        """Assert that the means over places agree: rows of the peer, names of geom's features, and a bound for each."""
        for place, rtol in bounds.items():
            rows = places[place]
            self._hold(f"mean over {place}", feature_mean(self.field, features[place]), self.peer.mean(rows), rtol)

    def _hold(self, quantity: str, own: float, other: float, rtol: float) -> None:
        source = f"scikit-fem, {self.peer.unknowns:,} unknowns"
        panels = len(self.field.panels.body)
        hold(TABLE, self.case, quantity, own, other, rtol=rtol, panels=panels, source=source)


def feature_mean(field: Field, names: Sequence[str]) -> float:
    """Return the mean current density over features of these names, in means over the part."""
    known = [feature.name for feature in field.cell.part.features]
    rows = np.isin(field.panels.feature, [known.index(name) for name in names])
    return float(np.average(field.current_density[rows], weights=field.areas[rows])) / field.mean_current_density


def own_change(
    usual: TetField, fine: TetField, places: Mapping[str, tuple[np.ndarray, np.ndarray]]
) -> dict[str, float]:
    """Return by how much each figure of the peer moves when its mesh is refined, as a share."""
    moved = {"current": usual.current / fine.current}
    for share, a, b in zip(SHARES, usual.percentiles(SHARES), fine.percentiles(SHARES), strict=True):
        moved[f"p{100 * share:.0f}"] = float(a / b)
    for place, (a, b) in places.items():
        moved[place] = usual.mean(a) / fine.mean(b)
    return {name: abs(ratio - 1) for name, ratio in moved.items()}
