"""Every law at every current of every bath's range: the answer itself, under current and under voltage.

The cell is a cube of 40 mm in a tank of 150 mm with anodes on two walls, 768 panels, assembled once. Laws and
conductivities are those of the tables; the linear law has the Tafel law's slope at the bath's usual current.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from helpers.electrodes import rows
from helpers.meshes import box_in_box
from helpers.validation import hold, record
from numpy.testing import assert_allclose

from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.chemistry import Bath
from geom.electrode.laws import ButlerVolmer, Limited, Linear, Mirrored, Tafel
from geom.errors import SolveError
from geom.tables import read

EDGE = 0.04
SURFACE = box_in_box(2, EDGE, 0.15)
PART, ANODES = rows(SURFACE, range(6)), rows(SURFACE, [6, 7])
AREA = float(SURFACE.areas[PART].sum())
BATHS = (
    "watts-nickel",
    "sulfamate-nickel",
    "chloride-nickel",
    "acetate-nickel",
    "acid-copper",
    "acid-copper-high-throw",
)
LAWS = ("linear", "Tafel", "Butler-Volmer")
SHARES = np.array([0.01, 0.1, 1.0, 10.0])  # of the bath's usual current density


@cache
def operators() -> Operators:
    return assemble(SURFACE, np.concatenate([PART, ANODES]))


@dataclass(frozen=True)
class Case:
    """Laws of both electrodes in one bath; ``limiting`` 0 has none."""

    bath: Bath
    law: str
    limiting: float
    polarized: bool

    @property
    def cathode(self) -> BoundaryLaw:
        """With the limiting current, if any."""
        base = self._kinetic[self.law]
        return Limited(base, self.limiting) if self.limiting else base

    @property
    def anode(self) -> BoundaryLaw | None:
        """The same couple with its slopes the other way round: nickel and copper dissolve more easily than they plate."""
        law = self._kinetic["Butler-Volmer"]
        return Mirrored(ButlerVolmer(law.exchange, law.anodic_slope, law.cathodic_slope)) if self.polarized else None

    @property
    def _kinetic(self) -> dict[str, Linear | Tafel | ButlerVolmer]:
        own = read.bath(self.bath.name).law
        while isinstance(own, Limited):
            own = own.law
        slope, exchange = own.cathodic_slope, own.exchange
        anodic = own.anodic_slope if isinstance(own, ButlerVolmer) else 0.018
        usual = self.bath.current_density.typical
        return {
            "linear": Linear(slope / usual),
            "Tafel": Tafel(exchange, slope),
            "Butler-Volmer": ButlerVolmer(exchange, slope, anodic),
        }

    def solved(self, control: Voltage | Current, start: BoundarySolution | None = None) -> BoundarySolution:
        return solve(
            operators(),
            anodes=[ElectrodePatch(ANODES, self.anode)],
            cathodes=[ElectrodePatch(PART, self.cathode)],
            conductivity=self.bath.conductivity,
            control=control,
            start=start,
        )


def right(case: Case, found: BoundarySolution) -> None:
    """Laws panel by panel, charge, and the power put in against that spent, at the surfaces by the laws alone."""
    density, flow = found.current_density, found.current_density * SURFACE.areas
    mean = found.cathode_current / AREA
    met = case.cathode.current(found.potential[PART] + found.voltage)
    assert np.abs(met - density[PART]).max() <= 4e-4 * mean
    with_room = density[PART] < 0.99 * (case.limiting or np.inf)  # closer to the limit any drop will do
    by_law = np.where(
        with_room,
        case.cathode.drop(np.where(with_room, density[PART], 0.5 * mean)),
        found.potential[PART] + found.voltage,
    )
    spent = float(by_law @ flow[PART])
    if case.anode is None:
        assert np.all(found.potential[ANODES] == 0.0)
    else:
        miss = np.abs(case.anode.current(found.potential[ANODES]) - density[ANODES]).max()
        assert miss <= 2e-4 * found.anode_current / SURFACE.areas[ANODES].sum()
        spent += float(case.anode.drop(density[ANODES]) @ flow[ANODES])
    assert not np.any(np.delete(density, np.concatenate([PART, ANODES])))
    assert_allclose(found.anode_current, found.cathode_current, rtol=0.012, atol=0)  # of this coarse mesh, at any law
    in_liquid = -float(found.potential @ flow)
    assert in_liquid > 0
    assert_allclose(in_liquid + spent, found.voltage * found.cathode_current, rtol=2e-4, atol=0)


@pytest.mark.parametrize("name", BATHS)
def test_every_law_and_bath_from_a_hundredth_to_ten_times_its_current(name: str) -> None:
    """Under current and back under the voltage found, each begun from nothing."""
    bath = read.bath(name)
    cold: list[tuple[int, int]] = []
    apart = 0.0
    limiting = 10.0 * bath.current_density.typical / 0.9
    for law in LAWS:
        for limit in (0.0, limiting):
            for polarized in (False, True):
                case = Case(bath, law, limit, polarized)
                volts = []
                for share in SHARES:
                    total = share * bath.current_density.typical * AREA
                    asked = case.solved(Current(total))
                    right(case, asked)
                    assert_allclose(asked.cathode_current, total, rtol=1e-9, atol=0)
                    back = case.solved(Voltage(asked.voltage))
                    right(case, back)
                    apart = max(apart, abs(back.cathode_current / total - 1.0))
                    cold += [(len(x.residuals), x.iterations) for x in (asked, back)]
                    volts.append(asked.voltage)
                rates = np.diff(volts) / np.diff(SHARES)
                assert np.all(rates > 0)
    assert apart <= 1e-4
    steps, krylov = np.array(cold).T
    assert steps.max() <= 8
    record("kinetics", bath.title, "solves, all different", len(cold), "48 under current, 48 under voltage")
    record("kinetics", bath.title, "Newton steps, most", steps.max(), "at most 8", bound=20.0)
    record("kinetics", bath.title, "Newton steps, mean", steps.mean(), "at most 8", bound=8.0)
    record("kinetics", bath.title, "Krylov iterations in all steps, mean", krylov.mean(), "at most 40", bound=40.0)
    assert krylov.mean() <= 40
    record("kinetics", bath.title, "voltage asked for the current found", apart, "at most 0.0001", bound=0.004)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("polarized", [False, True])
def test_voltage_is_continuous_in_current_and_the_slope_found_is_the_slope_predicted(law: str, polarized: bool) -> None:
    """dV/dI by a 0.1 % step against the response to one volt that came with the solution."""
    case = Case(read.bath("watts-nickel"), law, 4000.0, polarized)
    for share in (0.01, 1.0, 8.0):
        total = share * case.bath.current_density.typical * AREA
        less, found, more = (case.solved(Current(total * (1.0 + d))) for d in (-1e-3, 0.0, 1e-3))
        predicted = 1.0 / float(SURFACE.areas[PART] @ found.response[PART, 1])
        measured = (more.voltage - less.voltage) / (2e-3 * total)
        assert -predicted > 0
        assert_allclose(measured, -predicted, rtol=0.05, atol=0)
        assert abs(more.voltage - found.voltage) < 2e-3 * found.voltage


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("polarized", [False, True])
def test_near_the_limiting_current_it_converges(law: str, polarized: bool) -> None:
    case = Case(read.bath("watts-nickel"), law, 300.0, polarized)
    steps = []
    volts = []
    for share in (0.5, 0.8, 0.9, 0.95, 0.98, 0.99):
        found = case.solved(Current(share * 300.0 * AREA))
        right(case, found)
        assert found.current_density[PART].max() < 300.0 * (1.0 + 1e-4)
        steps.append(len(found.residuals))
        volts.append(found.voltage)
    assert np.all(np.diff(volts) > 0)
    assert max(steps) <= 8
    label = f"{law}, anodes {'polarized' if polarized else 'ideal'}, 50 to 99 % of the limiting current"
    record("kinetics", label, "Newton steps, most", max(steps), "at most 8", bound=20.0)


@pytest.mark.parametrize("name", BATHS[::3])
@pytest.mark.parametrize("law", LAWS)
def test_from_a_neighbouring_current_few_steps_are_left(name: str, law: str) -> None:
    """A tenth more current, or 2 % more voltage, at the bath's usual current."""
    bath = read.bath(name)
    case = Case(bath, law, 2.0 * bath.current_density.typical, True)
    total = bath.current_density.typical * AREA
    first = case.solved(Current(total))
    steps = []
    for control in (Current(1.1 * total), Voltage(1.02 * first.voltage)):
        fresh, warm = case.solved(control), case.solved(control, start=first)
        assert_allclose(warm.voltage, fresh.voltage, rtol=1e-4, atol=0)
        assert_allclose(warm.cathode_current, fresh.cathode_current, rtol=1e-4, atol=0)
        steps.append(len(warm.residuals))
    assert max(steps) <= 4
    record(
        "kinetics", f"{bath.title}, {law}", "Newton steps from a neighbour, most", max(steps), "at most 4", bound=20.0
    )


@pytest.mark.parametrize("share", [1.0, 1.01, 2.0, 100.0])
@pytest.mark.parametrize("law", LAWS)
def test_over_the_limiting_current_the_refusal_names_it(law: str, share: float) -> None:
    case = Case(read.bath("watts-nickel"), law, 300.0, True)
    with pytest.raises(SolveError) as caught:
        case.solved(Current(share * 300.0 * AREA))
    assert caught.value.slug == "solve-not-converged"
    assert f"limiting current of the cathodes is {300.0 * AREA:.4g} A" in caught.value.message
    assert caught.value.residuals
    assert "current" in caught.value.hint


def test_over_the_limiting_current_of_the_anodes_the_refusal_names_that() -> None:
    there = float(SURFACE.areas[ANODES].sum())
    law = Mirrored(Limited(Tafel(1e-3, 0.02), 100.0))
    with pytest.raises(SolveError) as caught:
        solve(
            operators(),
            anodes=[ElectrodePatch(ANODES, law)],
            cathodes=[ElectrodePatch(PART, Tafel(1e-3, 0.05))],
            conductivity=8.0,
            control=Current(1.2 * 100.0 * there),
        )
    assert f"limiting current of the anodes is {100.0 * there:.4g} A" in caught.value.message
    assert caught.value.residuals


@pytest.mark.parametrize("anodes", [None, 0.1, 10.0], ids=["ideal", "a tenth", "ten times"])
@pytest.mark.parametrize("wagner", [1e3, 1e4, 1e6])
def test_at_a_large_wagner_number_the_current_is_even_and_stays_balanced(wagner: float, anodes: float | None) -> None:
    """The spread falls as 1 / Wa; the balance is that of the mesh, whatever the law: it once drowned in rounding."""
    resistance = wagner * EDGE / 8.0
    there = None if anodes is None else Mirrored(Linear(anodes * resistance))
    for control in (Current(1e-3), Voltage(1.0)):
        found = solve(
            operators(),
            anodes=[ElectrodePatch(ANODES, there)],
            cathodes=[ElectrodePatch(PART, Linear(resistance))],
            conductivity=8.0,
            control=control,
        )
        density = found.current_density[PART]
        spread = float(np.ptp(density) / density.mean())
        assert spread * wagner == pytest.approx(0.141, rel=0.06)
        assert 0.009 < found.anode_current / found.cathode_current - 1.0 < 0.012
        total = resistance / AREA * (1.0 + (anodes or 0.0) * AREA / SURFACE.areas[ANODES].sum())
        assert_allclose(found.voltage / found.cathode_current, total, rtol=0.01, atol=0)
    case = f"Wa = {wagner:.0e}, anodes {'ideal' if anodes is None else f'{anodes:g} times as resistant'}"
    hold("kinetics", case, "spread of i, times Wa", spread * wagner, 0.1411, rtol=0.06, source="limit of even current")


def test_a_start_of_the_wrong_sign_is_no_hindrance() -> None:
    """A Tafel law has no current that flows back: the start is left where it cannot serve."""
    case = Case(read.bath("watts-nickel"), "Tafel", 0.0, False)
    fresh = case.solved(Current(1.0))
    odd = BoundarySolution(
        fresh.potential,
        np.where(np.arange(len(fresh.potential)) % 3 == 0, -1.0, 1.0) * fresh.current_density,
        fresh.voltage,
        fresh.cathode_current,
        fresh.anode_current,
        (),
        0,
        fresh.response,
    )
    assert_allclose(case.solved(Current(1.0), start=odd).voltage, fresh.voltage, rtol=1e-4, atol=0)
