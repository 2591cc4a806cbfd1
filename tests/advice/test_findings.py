"""What a finished plan must say: out of range, over the supply, too warm, too long; and what stops the user."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.flows import flowing, with_bath
from helpers.small_plan import small_plan

from geom.advice.accuracy import Accuracy
from geom.advice.doubts import plan_findings
from geom.advice.measures import Strip, hottest_strip
from geom.advice.schedule import Schedule
from geom.chemistry import Range
from geom.deposit import plate
from geom.electrode.laws import Limited, Linear
from geom.field import Field
from geom.findings import Finding, Severity
from geom.job.job import Supply

STOP, WARNING, NOTE = Severity.STOP, Severity.WARNING, Severity.NOTE
ERRORS = {
    "voltage": 1e-3,
    "current": 1e-3,
    "thinnest": 1e-2,
    "hottest": 2e-2,
    **dict.fromkeys(["p1", "p10", "p50", "p90", "p99"], 1e-2),
    "mean of face A (+z)": 1e-2,
}
SURE = Accuracy(0.02, ERRORS, frozenset(ERRORS), (2000, 5000))
BRIGHT = Range(100.0, 300.0, 500.0)


def even(density: float, voltage: float = 1.0) -> Field:
    """An even flow over the link, in a bath that is bright from 1 to 5 A/dm²."""
    first = small_plan().fields[0]
    field = flowing(first.cell, first.panels, np.full(first.panels.part_count, density), voltage)
    return with_bath(field, current_density=BRIGHT, limiting_current_density=None)


def findings(
    field: Field,
    *,
    supply: Supply = Supply(None, None),  # noqa: B008
    strip: float | None = None,
    time: float = 1200.0,
    significant: np.ndarray | None = None,
    accuracy: Accuracy = SURE,
    stirred: bool | None = None,
) -> dict[str, Finding]:
    """Findings by code, but for the note on the anodes that every plan without their law has."""
    chosen = np.ones(field.panels.part_count, dtype=np.bool_) if significant is None else significant
    deposit = plate([field], [time], ["as hung"], chosen)
    hottest = hottest_strip(field) if strip is None else Strip(1e-3, strip)
    found = plan_findings(supply, field, deposit, hottest, Schedule(time, 0.0, time, None), accuracy, stirred)
    assert len({f.code for f in found}) == len(found)
    return {f.code: f for f in found if f.code != "anode-polarization-left-out"}


def test_a_plan_amid_every_range_says_nothing() -> None:
    assert findings(even(300.0), supply=Supply(10.0, 10.0)) == {}


@pytest.mark.parametrize(
    ("strip", "severity"), [(499.0, None), (504.0, None), (520.0, WARNING), (749.0, WARNING), (760.0, STOP)]
)
def test_an_edge_over_the_bright_range_warns_and_far_over_it_stops(strip: float, severity: Severity | None) -> None:
    found = findings(even(300.0), strip=strip).get("edge-over-range")
    assert (found and found.severity) == severity
    if found:
        assert f"{strip / 100:.2g} A/dm²" in found.message
        assert "5 A/dm²" in found.message


def test_a_mean_over_the_bright_range_stops() -> None:
    assert findings(even(520.0))["mean-over-range"].severity == STOP
    assert "mean-over-range" not in findings(even(499.0))


def test_a_mean_under_the_bright_range_warns() -> None:
    assert findings(even(90.0))["mean-under-range"].severity == WARNING
    assert "mean-under-range" not in findings(even(101.0))


def test_an_edge_near_the_limiting_current_warns() -> None:
    limited = with_bath(even(300.0), limiting_current_density=Range(400.0, 500.0, 600.0))
    assert findings(limited)["edge-near-limiting-current"].severity == WARNING
    roomy = with_bath(even(300.0), limiting_current_density=Range(400.0, 700.0, 900.0))
    assert "edge-near-limiting-current" not in findings(roomy)


def test_a_plan_made_for_half_the_limiting_current_is_not_warned_of_it() -> None:
    solved = with_bath(even(300.0), limiting_current_density=Range(400.0, 597.0, 900.0))  # 0.5 % off, as solved
    assert "edge-near-limiting-current" not in findings(solved)


def test_who_stirs_is_not_told_to_stir() -> None:
    limited = with_bath(even(300.0), limiting_current_density=Range(400.0, 500.0, 600.0))
    still, moved = (findings(limited, stirred=s)["edge-near-limiting-current"].message for s in (None, True))
    assert still.startswith("stir the bath")
    assert "unstirred" not in moved
    assert "stirred, the bath carries at most about 5 A/dm²" in moved


def test_an_edge_near_the_limiting_current_of_the_law_warns() -> None:
    for limiting, warned in ((550.0, True), (650.0, False)):
        field = with_bath(even(300.0), law=Limited(Linear(1e-4), limiting))
        assert ("edge-near-limiting-current" in findings(field)) is warned


def test_more_than_the_supply_gives_stops() -> None:
    field = even(300.0, voltage=2.0)
    assert findings(field, supply=Supply(None, 0.9 * field.current))["over-supply-current"].severity == STOP
    assert findings(field, supply=Supply(1.9, None))["over-supply-voltage"].severity == STOP
    assert findings(field, supply=Supply(2.0, field.current)) == {}


def test_a_voltage_that_is_dangerous_to_touch_stops() -> None:
    assert findings(even(300.0, voltage=61.0))["voltage-dangerous"].severity == STOP
    assert findings(even(300.0, voltage=59.0)) == {}


@pytest.mark.parametrize(("celsius", "warned"), [(20.0, True), (45.0, False), (55.0, False), (75.0, True)])
def test_a_temperature_outside_the_usual_range_warns(celsius: float, warned: bool) -> None:
    field = with_bath(even(300.0), temperature=celsius + 273.15)
    assert ("temperature-out-of-range" in findings(field)) is warned


def test_hours_on_end_warn() -> None:
    assert findings(even(300.0), time=7 * 3600.0)["very-long"].severity == WARNING
    assert "very-long" not in findings(even(300.0), time=5 * 3600.0)


def test_what_takes_long_is_told_apart_a_slow_bath_from_a_place_that_is_shut_off() -> None:
    field = even(20.0)
    assert "slow everywhere" in findings(field, time=7 * 3600.0)["very-long"].message
    first = small_plan().fields[0]
    densities = np.full(first.panels.part_count, 300.0)
    densities[first.panels.part.tag == 0] = 20.0  # one whole broad face
    shut = with_bath(flowing(first.cell, first.panels, densities, 1.0), current_density=BRIGHT)
    assert "shut off" in findings(shut, time=7 * 3600.0)["very-long"].message


@pytest.mark.parametrize(("minutes", "warned"), [(5.0, False), (7.0, True)])
def test_thickness_from_a_strike_bath_warns(minutes: float, warned: bool) -> None:
    field = with_bath(even(300.0), run_time=Range(30.0, 120.0, 360.0))
    found = findings(field, time=60.0 * minutes)
    assert ("strike-too-long" in found) is warned
    if warned:
        assert found["strike-too-long"].severity == WARNING
        assert "0.5 to 6 min" in found["strike-too-long"].message


def test_metal_that_goes_where_none_is_asked_for_is_noted() -> None:
    field = even(300.0)
    few = np.zeros(field.panels.part_count, dtype=np.bool_)
    few[:20] = True
    assert findings(field, significant=few)["little-is-significant"].severity == NOTE


def test_anodes_without_a_law_are_noted_and_those_with_one_are_not() -> None:
    field = even(300.0)
    deposit = plate([field], [60.0], ["as hung"], np.ones(field.panels.part_count, dtype=np.bool_))
    schedule = Schedule(60.0, 0.0, 60.0, None)

    def codes(field: Field) -> set[str]:
        return {f.code for f in plan_findings(Supply(None, None), field, deposit, None, schedule, SURE)}

    assert "anode-polarization-left-out" in codes(field)
    anodes = tuple(replace(anode, law=Linear(1e-4)) for anode in field.cell.anodes)
    assert "anode-polarization-left-out" not in codes(replace(field, cell=replace(field.cell, anodes=anodes)))


def left(error: float, wanted: float = 0.02, spent: str = "16000 panels") -> Accuracy:
    """What is left to be wished when the thinnest place stays less sure than all else."""
    errors = {**dict.fromkeys(ERRORS, 0.001), "thinnest": error}
    return replace(SURE, wanted=wanted, errors=errors, spent=spent)


@pytest.mark.parametrize(
    ("error", "wanted", "severity"),
    [
        (0.02, 0.02, None),
        (0.021, 0.02, NOTE),
        (0.039, 0.02, NOTE),
        (0.041, 0.02, WARNING),
        (0.03, 0.01, WARNING),
        (0.2, 0.02, NOTE),  # another finding warns of it
    ],
)
def test_an_accuracy_that_was_not_reached_is_told(error: float, wanted: float, severity: Severity | None) -> None:
    found = findings(even(300.0), accuracy=left(error, wanted))
    told = found.get("accuracy-not-reached")
    assert (told and told.severity) == severity
    assert ("numerical-error-large" in found) == (error > 0.06)


def test_an_accuracy_that_was_not_reached_names_figure_error_budget_and_what_to_do() -> None:
    message = findings(even(300.0), accuracy=left(0.034))["accuracy-not-reached"].message
    assert (
        "accuracy asked for, 2 %, was not reached, and the next finer panels would be over the 16000 allowed" in message
    )
    assert "the thinnest significant place (and so the time) may still be off by 3.4 %" in message
    assert "raise [solve] most_panels" in message
    message = findings(even(300.0), accuracy=left(0.034, spent="60 s"))["accuracy-not-reached"].message
    assert "the next finer panels would take more than the 60 s allowed" in message
    assert "raise [solve] most_time" in message
    errors = {**ERRORS, "mean of face A (+z)": 0.05}
    message = findings(even(300.0), accuracy=replace(SURE, errors=errors))["accuracy-not-reached"].message
    assert "the mean of face A (+z) may still be off by 5 %" in message
    assert "[solve]" not in message


def test_two_findings_on_the_same_error_say_different_things() -> None:
    found = findings(even(300.0), accuracy=left(0.2))
    told = [found[code].message for code in ("accuracy-not-reached", "numerical-error-large")]
    clauses = [clause.strip() for message in told for clause in message.replace(":", ";").split(";")]
    assert len(set(clauses)) == len(clauses)
    assert "finer panels" in told[0]
    assert "budget" not in told[1]


def test_a_figure_that_hangs_on_the_panels_warns_and_is_named() -> None:
    unsure = replace(SURE, errors={**ERRORS, "thinnest": 0.2, "mean of face A (+z)": 0.09})
    message = findings(even(300.0), supply=Supply(10.0, 10.0), accuracy=unsure)["numerical-error-large"].message
    assert "the time by 20 %" in message
    assert "face A (+z) by 9 %" in message
    assert "percentiles" not in message
