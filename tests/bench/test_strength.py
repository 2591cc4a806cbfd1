"""Metal that a bath holds: making up and use, against Faraday's law by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.bench.strength import MAKING_LOSS, making, strength_after
from geom.electrode.faraday import mass_of_charge
from geom.tables.read import metal

AH = 3600.0


def test_an_ampere_hour_dissolves_1_095_grams_of_nickel() -> None:
    """The electrochemical equivalent of every handbook table: Ni 1.095 g/Ah."""
    assert_allclose(1e3 * mass_of_charge(AH, metal("Ni")), 1.095, rtol=5e-4, atol=0)


def test_a_litre_at_a_tenth_of_a_mole_of_nickel_takes_5_4_ampere_hours_at_the_least() -> None:
    """0.1 mol of Ni(II) is 0.2 mol of electrons: 0.2 x 96485 / 3600 = 5.36 Ah; nickel 58.693 g/mol (IUPAC)."""
    made = making(0.0, 5.8693, 1e-3, metal("Ni"), 1.0)
    assert_allclose(made.least_charge / AH, 0.2 * 96485.332 / 3600.0, rtol=1e-4, atol=0)
    assert_allclose(made.mass, 5.8693e-3, rtol=1e-12, atol=0)
    assert made.time is not None
    assert_allclose((made.time.low / AH, made.time.high / AH), (1.3 * 5.36, 2.0 * 5.36), rtol=1e-3, atol=0)


@given(
    start=st.floats(0.0, 50.0),
    gain=st.floats(0.01, 50.0),
    volume=st.floats(1e-4, 1.0),
    symbol=st.sampled_from(["Ni", "Cu"]),
)
def test_making_up_keeps_mass_and_charge(start: float, gain: float, volume: float, symbol: str) -> None:
    """What dissolves is what stays and what plates out; both follow the charge."""
    made = making(start, start + gain, volume, metal(symbol), None)
    assert made.time is None
    assert_allclose(mass_of_charge(made.least_charge, metal(symbol)), gain * volume, rtol=1e-9, atol=0)
    for factor, dissolved in zip(
        (MAKING_LOSS.low, MAKING_LOSS.typical, MAKING_LOSS.high),
        (made.anode_mass.low, made.anode_mass.typical, made.anode_mass.high),
        strict=True,
    ):
        plated_out = dissolved - made.mass
        assert_allclose(plated_out, (factor - 1.0) * gain * volume, rtol=1e-9, atol=0)


@pytest.mark.parametrize("runs", [1, 10])
def test_what_each_run_gives_adds_up_in_the_bath(runs: int) -> None:
    """5 % of 10 g stay behind in 2 L: 0.25 g/L a run."""
    assert_allclose(strength_after(0.5e-3, 2e-3, runs), 0.25 * runs, rtol=1e-12, atol=0)
