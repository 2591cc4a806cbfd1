"""Numerical errors of figures that are put together: means over several features, ratios, limits."""

from dataclasses import replace

import numpy as np
import pytest

from geom.advice.accuracy import Accuracy
from geom.advice.current import AT_MEAN, AT_STRIP, AT_VOLTS
from geom.advice.limit import Limit
from geom.advice.sureness import in_words, of_edge_to_face, of_features, of_front_to_back, of_limit, summed
from geom.advice.words import FeatureResult
from geom.feature import Kind


def feature(name: str, kind: Kind, area: float, ratio: float) -> FeatureResult:
    return FeatureResult(name, kind, area, ratio, 1e-5, 1e-5, 0.0, True)


FACE_A, FACE_B = feature("a", Kind.FACE, 2.0, 0.5), feature("b", Kind.FACE, 1.0, 1.0)
EDGE, END = feature("e", Kind.EDGE, 1.0, 3.0), feature("n", Kind.END, 1.0, 1.0)
PART = (FACE_A, FACE_B, EDGE, END)
ERRORS = {"mean of a": 0.02, "mean of b": 0.04, "mean of e": 0.01, "mean of n": 0.05, "hottest": 0.03, "voltage": 0.002}
KNOWN = Accuracy(0.02, {**ERRORS, "current": 0.0}, frozenset(), (100, 300))


def test_the_mean_over_features_is_as_sure_as_they_are_by_their_flow() -> None:
    """A change of each mean by its error, all the same way, changes the mean over all by no more."""
    found = of_features(PART, KNOWN)
    flows = np.array([f.area * f.current_density_ratio for f in PART])
    errors = np.array([ERRORS[f"mean of {f.name}"] for f in PART])
    moved = float((flows * (1 + errors)).sum() / flows.sum() - 1)
    np.testing.assert_allclose(found, moved, rtol=1e-12, atol=0)
    np.testing.assert_allclose(of_features([EDGE], KNOWN), 0.01, rtol=1e-12, atol=0)


def test_nothing_is_known_of_a_mean_with_a_feature_of_which_nothing_is_known() -> None:
    other = replace(FACE_A, name="renamed")
    assert of_features([other, FACE_B], KNOWN) is None
    assert of_features([], KNOWN) is None
    assert of_edge_to_face((other, FACE_B, EDGE), KNOWN) is None


def test_a_ratio_is_as_unsure_as_both_its_means_together() -> None:
    np.testing.assert_allclose(of_edge_to_face(PART, KNOWN), 0.02 + 0.03, rtol=1e-12, atol=0)
    np.testing.assert_allclose(of_front_to_back(PART, KNOWN), 0.03 + 0.03, rtol=1e-12, atol=0)
    assert of_edge_to_face((FACE_A, FACE_B), KNOWN) is None


def test_the_sides_of_a_skin_have_no_error_of_their_own() -> None:
    assert of_front_to_back((replace(FACE_A, kind=Kind.SKIN),), KNOWN) is None


def limits(volts: float) -> tuple[Limit, ...]:
    values = {AT_MEAN: 2.0, AT_STRIP: 1.5, AT_VOLTS: volts, "supply current": 9.0}
    return tuple(Limit(name, value, False, "") for name, value in values.items())


@pytest.mark.parametrize(("volts", "expected"), [(1.7, [None, 0.03, 0.002, None]), (1.9, [None, 0.03, None, None])])
def test_a_limit_that_a_field_decides_has_the_error_of_what_it_is_read_from(volts: float, expected: list) -> None:
    """A supply voltage that is far from binding was read from larger panels alone: its error is not known."""
    assert [of_limit(limit, limits(volts), KNOWN) for limit in limits(volts)] == expected


def test_a_sum_with_an_unknown_error_is_unknown() -> None:
    assert summed(0.25, 0.5) == 0.75
    assert summed(0.25, None) is None


@pytest.mark.parametrize(
    ("figure", "words"),
    [("voltage", "the voltage"), ("p90", "percentile p90"), ("mean of bore 1", "the mean of bore 1")],
)
def test_figures_are_named_in_words(figure: str, words: str) -> None:
    assert in_words(figure) == words
