"""What stays bare under contacts, once it is known how the part hangs."""

from collections.abc import Sequence

from geom.arrays import Floats
from geom.feature import Feature
from geom.findings import Finding, Severity

CONTACT = "contact"
"""Why a feature under a contact is bare, and what its name ends in."""


def contact_findings(features: Sequence[Feature], wetted: Floats) -> list[Finding]:
    """Tell what stays bare under contacts; of what hangs above the liquid nothing, for nothing would be plated there.

    Parameters
    ----------
    wetted : (features,) area of each below the liquid surface [m²]
    """
    bare: dict[str, list[tuple[float, float, int]]] = {}
    for feature, wet in zip(features, wetted, strict=True):
        if feature.bare == CONTACT and wet > 0:
            name = feature.name_alone.removesuffix(f", {CONTACT}")
            bare.setdefault(name, []).append((float(wet), feature.area, feature.copy))
    return [_finding(name, spots) for name, spots in bare.items()]


def _finding(name: str, spots: list[tuple[float, float, int]]) -> Finding:
    """Return the finding of one feature on all parts of a rack; of each spot the wet area, the whole one, the part."""
    wet, whole = (sum(spot[k] for spot in spots) for k in (0, 1))
    each = " of all parts on the rack" if spots[0][2] else ""
    rest = ", the rest of it hangs above the liquid" if wet < 0.999 * whole else ""
    return Finding(
        Severity.NOTE,
        "contact-stays-bare",
        f"{1e6 * wet:.3g} mm² under the contact on {name}{each} stay bare{rest}; "
        "move the contact half way through if that matters",
    )
