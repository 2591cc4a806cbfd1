"""What of a plan gets a band, with which numerical error, and what is said where the target is not sure."""

from dataclasses import replace

import pytest
from helpers.small_plan import small_plan

from geom.advice import accuracy
from geom.advice.current import AT_MEAN, AT_STRIP, AT_VOLTS
from geom.advice.figures import MEAN_OF
from geom.advice.limit import Limit
from geom.doubt.bands import AMPERES, AVERAGE, CURRENT, METAL, THICKEST, THINNEST, TIME, VOLTAGE, Band, Bands
from geom.doubt.planned import Planned, _errors, _feature_error, _told, bands_findings
from geom.findings import Severity


def known(*, volts: float | None = None) -> Planned:
    """The small plan with errors that can be told apart."""
    plan = small_plan()
    features = {MEAN_OF + feature.name: 0.001 * (k + 4) for k, feature in enumerate(plan.features)}
    named = {accuracy.VOLTAGE: 0.011, accuracy.CURRENT: 0.02, accuracy.HOTTEST: 0.034, accuracy.THINNEST: 0.023}
    errors = replace(plan.accuracy, errors={**named, "p99": 0.045, **features})
    target = replace(plan.job.target, voltage=volts)
    times = tuple(stage.time for stage in plan.deposit.stages)
    return Planned(target, plan.fields, times, plan.deposit, plan.thickness, plan.features, 1.8, 1.3, errors)


def limit(name: str, value: float) -> Limit:
    return replace(small_plan().limits[0], name=name, value=value)


def test_what_current_and_charge_make_has_no_error_and_what_the_field_makes_has_its_own() -> None:
    found = _errors(known(), (limit(AT_MEAN, 1.0), limit(AT_STRIP, 2.0)))
    assert (found[VOLTAGE], found[AMPERES], found[AVERAGE], found[METAL], found[CURRENT]) == (0.011, 0.0, 0.0, 0.0, 0.0)
    assert (found[THINNEST], found[TIME], found[THICKEST]) == (0.023, 0.023, 0.045)


def test_under_a_voltage_the_error_of_the_current_goes_into_all_that_it_makes() -> None:
    found = _errors(known(volts=2.0), ())
    assert (found[VOLTAGE], found[AMPERES], found[AVERAGE], found[METAL]) == (0.0, 0.02, 0.02, 0.02)
    assert (found[THINNEST], found[TIME], found[THICKEST]) == pytest.approx((0.043, 0.043, 0.065))


@pytest.mark.parametrize(("name", "error"), [(AT_STRIP, 0.034), (AT_VOLTS, 0.011), (AT_MEAN, 0.0)])
def test_a_recommended_current_has_the_error_of_the_limit_that_binds(name: str, error: float) -> None:
    others = (limit(AT_STRIP, 3.0), limit(AT_VOLTS, 4.0), limit(AT_MEAN, 5.0))
    assert _errors(known(), (limit(name, 1.0), *others))[CURRENT] == error


def test_each_feature_has_its_own_error() -> None:
    plan = known()
    assert [_feature_error(plan, one) for one in plan.features] == pytest.approx(
        [0.001 * (k + 4) for k in range(len(plan.features))]
    )
    assert _feature_error(known(volts=2.0), plan.features[0]) == pytest.approx(0.024)


def test_what_is_told_is_the_plans_own() -> None:
    plan = known()
    found = _told(plan, 7e-6, ())
    assert found.of[VOLTAGE] == plan.fields[0].voltage
    assert (found.of[THINNEST], found.of[TIME]) == (7e-6, plan.deposit.time)
    assert CURRENT not in found.of  # nothing was weighed
    assert AMPERES not in found.of
    assert len(found.stages) == len([time for time in plan.times if time > 0])
    assert _told(known(volts=2.0), 7e-6, ()).of[AMPERES] == plan.fields[0].total_current


def doubtful(least: float, met: float = 0.6, more: float = 4.0) -> Bands:
    thinnest = Band(least, 8e-6, 9e-6, "conductivity", 0.5)
    return Bands(0.9, {THINNEST: thinnest, TIME: Band(1000.0, 1200.0, 1200.0 + 60 * more)}, (), 2048, met=met)


def test_a_target_that_may_be_missed_is_told_with_how_often_and_how_much_longer_meets_it() -> None:
    (found,) = bands_findings(doubtful(7.5e-6), 8e-6)
    assert (found.severity, found.code) == (Severity.NOTE, "target-not-sure")
    for words in (
        "misses 8 µm in about 40 of 100 cases",
        "gets less than 7.5 µm in 5 of 100",
        "4.0 min more, 24 min in all",
        "meet it in 95 of 100",
        "What moves it most: conductivity",
    ):
        assert words in found.message


@pytest.mark.parametrize(("least", "severity"), [(7.3e-6, Severity.NOTE), (7.1e-6, Severity.WARNING)])
def test_a_target_that_may_be_missed_by_a_tenth_is_worth_a_warning(least: float, severity: Severity) -> None:
    assert [one.severity for one in bands_findings(doubtful(least), 8e-6)] == [severity]


def test_a_target_that_is_surely_met_needs_no_word() -> None:
    assert bands_findings(doubtful(8e-6), 8e-6) == []
    assert bands_findings(None, 8e-6) == []


@pytest.mark.parametrize(
    ("more", "words"), [(4, "4.0 min more, 24 min"), (170, "170 min more, 3.2 h"), (280, "4.7 h more, 5 h")]
)
def test_many_hours_are_told_as_such(more: float, words: str) -> None:
    assert f" {words} in all" in bands_findings(doubtful(7e-6, more=more), 8e-6)[0].message
