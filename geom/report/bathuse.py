"""What a run does to bath and anodes, in words and as plain trees."""

from typing import Any

from geom.advice.anodes import AnodeUse
from geom.advice.bath_use import MOST_LOADING, USES, BathUse
from geom.bench.gas import FLAMMABLE
from geom.chemistry import Range
from geom.report.amounts import amount, current, current_density, minutes
from geom.report.tree import Row, Section, Table


def bath_use_section(found: BathUse | None) -> Section:
    """Return the section about heat and metal of the bath."""
    if found is None:
        return Section("What the run does to the bath")
    warm = found.warming
    rows = [
        Row("bath", f"{amount(found.volume, 'L')}, {amount(found.volume_per_area * 10, '', 2)} L for each dm² plated"),
        Row(
            "loading",
            f"{amount(found.loading / 1e3, '', 2)} A/L; up to {MOST_LOADING / 1e3:.0f} A/L without cooling (common practice, no source)",
        ),
        Row(
            "heat of the current",
            f"{amount(warm.power, 'W')}, of it {amount(warm.net, 'W', 2)} beyond what holds the bath warm",
        ),
        Row("loss", f"{_between(warm.loss, 2)} W/K{_room(found)}"),
        Row(
            "rise over the run", f"{_between(warm.rise, 2)} K; in the end, if it went on, {_between(warm.steady, 2)} K"
        ),
    ]
    if found.drift is not None:
        rows.append(Row("conductivity by then", f"{100 * found.drift:+.1f} %"))
    change = "gains" if found.net >= 0 else "loses"
    rows.append(
        Row(
            "metal in a run",
            f"{amount(found.dissolved, 'g')} given by the anodes, {amount(found.deposited, 'g')} deposited: the bath {change} "
            f"{amount(abs(found.net), 'g', 2)}, {found.strength:+.2g} g/L; {found.after_uses:+.2g} g/L over {USES} such runs",
        )
    )
    rows.append(
        Row(
            "hydrogen",
            f"up to {amount(found.hydrogen, 'L', 2)} in a run, from the current that deposits nothing: keep the bath open to moving air "
            f"(from {100 * FLAMMABLE:.0f} % in air on it burns)",
        )
    )
    return Section("What the run does to the bath", tuple(_making(found)), tuple(rows))


def _room(found: BathUse) -> str:
    given = "" if found.room_is_given else ", estimated from the tank"
    return f" to air of {amount(found.air, '°C')}{given}"


def _making(found: BathUse) -> list[str]:
    made = found.making
    if made is None:
        return []
    text = (
        f"To bring the bath from {made.start:.3g} to {made.end:.3g} g/L, {amount(made.mass, 'g')} must dissolve and stay: "
        f"{amount(made.least_charge, 'Ah')} by Faraday's law alone, {_between(made.charge.scaled(1 / 3600), 2)} Ah with what plates out at "
        f"the making-up cathode meanwhile (an estimate, no source); {_between(made.anode_mass.scaled(1e3), 2)} g of anode go."
    )
    if made.time is not None and made.current is not None:
        text += f" At {current(made.current)} that takes {_between(made.time.scaled(1 / 3600), 2)} h."
    return [text]


def _between(known: Range, digits: int) -> str:
    values = (known.low, known.typical, known.high)
    low, typical, high = (amount(v, "", digits) for v in values)
    return typical if low == high else f"{typical} ({low} to {high})"


def anode_section(uses: tuple[AnodeUse, ...], placing: tuple[str, ...]) -> Section:
    """Return the section about what is eaten of the anodes."""
    lines = tuple(
        (
            use.title,
            current(use.current),
            current_density(use.current_density),
            amount(use.mass, "g") if use.dissolves else "-",
            amount(use.eaten, "g") if use.dissolves else "does not dissolve",
            _life(use),
            str(use.count) if use.dissolves else "-",
        )
        for use in uses
    )
    notes = [
        "Current and density are as first hung; there is the mass of the wetted metal. lasts: until the 5 mm slice that is eaten "
        "fastest over the schedule is gone, evenly from its wetted sides, at 100 % anode efficiency; right at the liquid line anodes "
        "often go faster (common practice, no source). needed: how many like it, so that none loses more than half anywhere (common "
        "practice, no source).",
        *placing,
    ]
    heads = ("anode", "current", "mean density", "there", "eaten", "lasts", "needed")
    return Section("Anodes", tuple(notes), (), Table(heads, lines, (2,)))


def _life(use: AnodeUse) -> str:
    if not use.dissolves or use.life > 1e7:
        return "-"
    return minutes(use.life) + (" (liquid line)" if use.at_liquid_line else "")


def bath_use_tree(found: BathUse | None) -> dict[str, Any] | None:
    """Return it as plain JSON values."""
    if found is None:
        return None
    warm, made = found.warming, found.making
    return {
        "volume_L": 1e3 * found.volume,
        "loading_A_L": found.loading / 1e3,
        "volume_per_area_L_dm2": 10 * found.volume_per_area,
        "power_W": warm.power,
        "net_power_W": warm.net,
        "loss_W_K": _three(warm.loss),
        "rise_K": _three(warm.rise),
        "steady_rise_K": _three(warm.steady),
        "room_C": found.air - 273.15,
        "conductivity_growth": found.drift,
        "deposited_g": 1e3 * found.deposited,
        "dissolved_g": 1e3 * found.dissolved,
        "strength_change_g_L": found.strength,
        "strength_change_over_ten_g_L": found.after_uses,
        "hydrogen_L": 1e3 * found.hydrogen,
        "make_up": None
        if made is None
        else {
            "metal_g": 1e3 * made.mass,
            "least_charge_Ah": made.least_charge / 3600,
            "charge_Ah": _three(made.charge.scaled(1 / 3600)),
            "anode_g": _three(made.anode_mass.scaled(1e3)),
            "time_h": None if made.time is None else _three(made.time.scaled(1 / 3600)),
        },
    }


def anode_tree(uses: tuple[AnodeUse, ...]) -> list[dict[str, Any]]:
    """Return the anodes as plain JSON values."""
    return [
        {
            "title": use.title,
            "area_mm2": 1e6 * use.area,
            "current_A": use.current,
            "current_density_A_dm2": use.current_density / 100,
            "dissolves": use.dissolves,
            "mass_g": 1e3 * use.mass,
            "eaten_g": 1e3 * use.eaten,
            "lasts_min": use.life / 60,
            "worst_share_eaten": use.worst,
            "strips_needed": use.count,
            "fastest_at_mm": 1e3 * use.life_at,
            "at_liquid_line": use.at_liquid_line,
        }
        for use in uses
    ]


def _three(known: Range) -> dict[str, float]:
    return {"low": known.low, "typical": known.typical, "high": known.high}
