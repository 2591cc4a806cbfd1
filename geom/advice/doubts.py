"""Findings that a finished plan must carry: what is out of range, and what should stop the user."""

from geom.advice.accuracy import Accuracy
from geom.advice.limit import CLEAR
from geom.advice.measures import Strip
from geom.advice.schedule import Schedule
from geom.advice.sureness import finer_panels, in_words
from geom.cell.bodies import anode_title
from geom.constants import ZERO_CELSIUS
from geom.deposit import Deposit
from geom.electrode.laws import Limited
from geom.field import Field
from geom.findings import Finding, Severity
from geom.job.job import Supply

SAFE_VOLTAGE = 60.0  # extra-low voltage, smooth direct current, dry hands (IEC 61140, from memory) [V]
LARGE_CHANGE = 0.06  # numerical error of a figure that is worth a warning, whatever was asked
MISSED = 2.0  # times the accuracy asked for: worth a warning too
ANODE_MOST = {"Ni": 300.0, "Cu": 250.0}  # mean current density of an anode [A/m²]; common practice, no source
SLACK = 1.02  # a plan made for a share of the limiting current keeps to it only as closely as it is solved
LONG = 6 * 3600.0  # a plan over this is worth asking why [s]
SHUT_OFF = 3.0  # times the thinnest place, the mean of a part with no place shut off stays under
BURNS = 1.5  # times the top of the bright range at the hottest strip: do not plate


def plan_findings(
    supply: Supply,
    first: Field,
    deposit: Deposit,
    strip: Strip | None,
    schedule: Schedule,
    accuracy: Accuracy,
    stirred: bool | None = None,
) -> list[Finding]:
    """Return every finding about current, voltage, temperature and time; ``stirred`` as the job states it."""
    return [
        *_range_findings(first, strip),
        *_limiting_findings(first, strip, stirred),
        *_supply_findings(supply, first),
        *_anode_findings(first),
        *_bath_findings(first),
        *_time_findings(schedule, deposit),
        *_strike_findings(first, schedule),
        *_not_reached(accuracy),
        *_large_errors(accuracy),
    ]


def _range_findings(first: Field, strip: Strip | None) -> list[Finding]:
    bright = first.cell.bath.current_density
    out = []
    if strip is not None and strip.current_density > 1.01 * bright.high:
        severity = Severity.STOP if strip.current_density > BURNS * bright.high else Severity.WARNING
        out.append(
            Finding(
                severity,
                "edge-over-range",
                (
                    f"the hottest edge carries {strip.current_density / 100:.2g} A/dm², over the bath's bright range "
                    f"(up to {bright.high / 100:.2g} A/dm²): burnt, dark or powdery edges are likely"
                ),
            )
        )
    mean = first.mean_current_density
    if mean > 1.01 * bright.high:
        out.append(
            Finding(
                Severity.STOP,
                "mean-over-range",
                (
                    f"the mean current density {mean / 100:.2g} A/dm² is over the bath's bright range "
                    f"(up to {bright.high / 100:.2g} A/dm²)"
                ),
            )
        )
    if mean < bright.low:
        out.append(
            Finding(
                Severity.WARNING,
                "mean-under-range",
                (
                    f"the mean current density {mean / 100:.2g} A/dm² is under the bath's usual range "
                    f"(from {bright.low / 100:.2g} A/dm²): efficiency and cover are uncertain there"
                ),
            )
        )
    return out


def _limiting_findings(first: Field, strip: Strip | None, stirred: bool | None) -> list[Finding]:
    """Warn of an edge near the limiting current: that of the polarization law in use, or the bath's own."""
    bath = first.cell.bath
    law, usual = bath.law, bath.limiting_current_density
    at_most = [usual.typical] if usual is not None else []
    at_most += [law.limiting] if isinstance(law, Limited) else []
    if strip is None or not at_most or strip.current_density <= SLACK * CLEAR * min(at_most):
        return []
    begin, end = (
        ("stirred, the bath carries", "Keep to about")
        if stirred
        else ("stir the bath: unstirred it carries", "Without stirring keep to about")
    )
    return [
        Finding(
            Severity.WARNING,
            "edge-near-limiting-current",
            (
                f"{begin} at most about {min(at_most) / 100:.2g} A/dm², and the hottest edge "
                f"runs at {strip.current_density / 100:.2g} A/dm². {end} "
                f"{CLEAR * min(at_most) / strip.current_density * first.total_current:.2g} A, half of that limit at the hottest edge"
            ),
        )
    ]


def _supply_findings(supply: Supply, first: Field) -> list[Finding]:
    out = []
    if supply.max_current is not None and first.total_current > 1.001 * supply.max_current:
        out.append(
            Finding(
                Severity.STOP,
                "over-supply-current",
                (f"the plan needs {first.total_current:.3g} A; the supply gives {supply.max_current:.3g} A"),
            )
        )
    if supply.max_voltage is not None and first.voltage > 1.001 * supply.max_voltage:
        out.append(
            Finding(
                Severity.STOP,
                "over-supply-voltage",
                (f"the plan needs {first.voltage:.3g} V; the supply gives {supply.max_voltage:.3g} V"),
            )
        )
    if first.voltage > SAFE_VOLTAGE:
        out.append(
            Finding(
                Severity.STOP,
                "voltage-dangerous",
                (
                    f"{first.voltage:.3g} V between anode and part is over {SAFE_VOLTAGE:.0f} V, the most that is safe to "
                    "touch; a better conducting bath, a nearer or larger anode or a lower current needs less"
                ),
            )
        )
    if all(anode.law is None for anode in first.cell.anodes):
        out.append(
            Finding(
                Severity.NOTE,
                "anode-polarization-left-out",
                (
                    "the anodes are taken to dissolve without polarization; a real anode adds roughly 0.1 to 0.4 V "
                    "(common practice, no source)"
                ),
            )
        )
    return out


def _anode_findings(first: Field) -> list[Finding]:
    """Warn of anodes that are too small for their current: thin wires inside a part above all."""
    most = ANODE_MOST.get(first.cell.bath.metal.symbol, float("inf"))
    over = [number for number, density in enumerate(first.anode_densities, 1) if density > 1.01 * most]
    if not over:
        return []
    names = ", ".join(anode_title(number, first.cell.anodes[number - 1]) for number in over)
    hottest = max(first.anode_densities[number - 1] for number in over)
    text = (
        f"{names}: up to {hottest / 100:.2g} A/dm² on average; over about {most / 100:.2g} A/dm² an anode of "
        f"{first.cell.bath.metal.name} tends to go passive and to give off gas instead of dissolving (common practice, "
        "no source): a thicker or longer anode, or less current, helps"
    )
    return [Finding(Severity.WARNING, "anode-over-range", text)]


def _bath_findings(first: Field) -> list[Finding]:
    bath = first.cell.bath
    usual = bath.temperature_range
    if usual is None or usual.low - 0.5 <= bath.temperature <= usual.high + 0.5:
        return []
    return [
        Finding(
            Severity.WARNING,
            "temperature-out-of-range",
            (
                f"{bath.temperature - ZERO_CELSIUS:.0f} °C is outside the bath's usual {usual.low - ZERO_CELSIUS:.0f} to "
                f"{usual.high - ZERO_CELSIUS:.0f} °C; range and efficiency of the table hold for the usual temperature"
            ),
        )
    ]


def _time_findings(schedule: Schedule, deposit: Deposit) -> list[Finding]:
    out = []
    metal = deposit.thickness * deposit.true_areas
    share = float(metal[~deposit.significant].sum() / metal.sum())
    if share > 0.5:
        out.append(
            Finding(
                Severity.NOTE,
                "little-is-significant",
                (f"{100 * share:.0f} % of the metal goes where no minimum thickness is asked for"),
            )
        )
    if schedule.time > LONG:
        out.append(Finding(Severity.WARNING, "very-long", f"{schedule.time / 3600:.1f} hours: {_why_long(deposit)}"))
    return out


def _why_long(deposit: Deposit) -> str:
    """Return whether the bath is slow or a place is shut off, and what to do about it."""
    least = float(deposit.local_thickness[deposit.significant].min())
    mean = float((deposit.thickness * deposit.true_areas).sum() / deposit.true_areas.sum())
    if mean > SHUT_OFF * least:
        return (
            "some place of the significant surface is nearly shut off from the current; change the pose, add an anode, or "
            "leave that place out with [target] significant"
        )
    return (
        "at this current the bath is slow everywhere; ask for less thickness, or take a bath that bears more current "
        "(geom baths)"
    )


def _strike_findings(first: Field, schedule: Schedule) -> list[Finding]:
    """Warn of building thickness in a bath that is only meant to cover."""
    usual = first.cell.bath.run_time
    if usual is None or schedule.time <= usual.high:
        return []
    source = first.cell.bath.sources.get("run_time")
    text = (
        f"{first.cell.bath.title} is to cover, not to build thickness: {usual.low / 60:.2g} to {usual.high / 60:.2g} min are "
        f"usual{f' ({source.text})' if source else ''}, this plan takes {schedule.time / 60:.2g} min; go on in another bath after that"
    )
    return [Finding(Severity.WARNING, "strike-too-long", text)]


def _not_reached(accuracy: Accuracy) -> list[Finding]:
    """Say which figure is less sure than was asked, and what ended the refining.

    A note where the figure is not far off, or where `_large_errors` warns of it anyway.
    """
    if accuracy.reached:
        return []
    figure, error = accuracy.worst
    severity = Severity.WARNING if MISSED * accuracy.wanted < error <= LARGE_CHANGE else Severity.NOTE
    key = "most_panels" if "panels" in accuracy.spent else "most_time"
    ended, more = "", "ask for less with --accuracy"
    if accuracy.spent:
        ended, more = f", and {finer_panels(accuracy.spent)}", f"raise [solve] {key}, or {more}"
    text = (
        f"the accuracy asked for, {_share(accuracy.wanted)}, was not reached{ended}: {in_words(figure)} may still be off "
        f"by {_share(error)} for numerical reasons; {more}"
    )
    return [Finding(severity, "accuracy-not-reached", text)]


def _share(value: float) -> str:
    return f"{100 * value:.2g} %" if value < 0.0995 else f"{100 * value:.0f} %"


def _large_errors(accuracy: Accuracy) -> list[Finding]:
    """Say near the answer when the numbers themselves are unsure, not only the bath."""
    unsure = {
        "the time": accuracy.thinnest,
        "the current density of the edges": accuracy.hottest,
        f"the mean of {accuracy.worst_feature}": accuracy.features,
        "the percentiles": accuracy.percentiles,
    }
    large = [f"{name} by {100 * change:.0f} %" for name, change in unsure.items() if change > LARGE_CHANGE]
    if not large:
        return []
    return [
        Finding(
            Severity.WARNING,
            "numerical-error-large",
            f"the panels may put {', '.join(large)} wrong: take these numbers with as much doubt",
        )
    ]
