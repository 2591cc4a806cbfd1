"""The log of runs: what is written is read again, what is no log is refused, the efficiency is that of Faraday's law."""

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.bench.fit import LEVEL
from geom.bench.readings import METER_TO, Coupon
from geom.calibrate.coupon import efficiency
from geom.cli.main import commands
from geom.electrode.faraday import equivalent
from geom.errors import RunLogError
from geom.report.runlog import log_document
from geom.report.text import as_text
from geom.runlog.book import HEADS, add_run, log_path, read_log
from geom.runlog.compare import compared
from geom.runlog.efficiency import refined, weighed
from geom.runlog.run import Planned, Run
from geom.tables.read import metal

NICKEL = equivalent(metal("Ni"))
BATH = "watts-nickel"
PLANNED = Planned(BATH, 1.3, 1.5, 1200.0, 0.45e-3, 1560.0, 0.95, 8e-6, 8e-6, NICKEL)


def run(efficiency: float = 0.95, current: float = 1.3, minutes: float = 20.0, bath: str = BATH) -> Run:
    gain = efficiency * current * 60 * minutes * NICKEL
    return Run("2026-05-09T10:00", bath, current, 1.5, 60 * minutes, 0.048, 0.048 + gain, 1e-6, 1.0, NICKEL)


def test_one_ampere_hour_of_nickel_weighs_what_the_handbooks_say() -> None:
    """1.095 g per ampere-hour at an efficiency of 1 (Nickel Plating Handbook, Nickel Institute 2014, from memory)."""
    one = weighed(Run("2026-05-09", BATH, 1.0, None, 3600.0, 0.05, 0.05 + 1.095e-3, 1e-6, 1.0, NICKEL), 1)
    assert one is not None
    assert one.efficiency == pytest.approx(1.0, rel=1e-3)


def test_a_run_that_was_not_weighed_has_no_efficiency() -> None:
    for missing in ("current", "time", "mass_before", "mass_after", "equivalent"):
        assert weighed(replace(run(), **{missing: None}), 1) is None


def test_what_goes_into_thieves_is_not_asked_of_the_part() -> None:
    half = replace(run(0.475), share=0.5)
    one = weighed(half, 1)
    assert one is not None
    assert one.efficiency == pytest.approx(0.95, rel=1e-12)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """200 baths of known efficiency, four weighed runs each, a meter anywhere within 2 % for all four (binomial, 3 sigma)."""
    draw = np.random.default_rng(20261125)
    hits = 0
    for _ in range(200):
        truth, meter = draw.uniform(0.3, 0.9), 1 + METER_TO * draw.uniform(-1, 1)
        runs = [replace(run(truth * (1 + 0.03 * draw.standard_normal())), current=1.3 / meter) for _ in range(4)]
        found = refined(runs, BATH)
        assert found is not None
        hits += found.low <= truth <= found.high
    assert abs(hits / 200 - LEVEL) <= 3 * np.sqrt(LEVEL * (1 - LEVEL) / 200)


def test_logged_runs_and_coupons_of_the_same_masses_show_the_same_efficiency() -> None:
    runs = [run(share) for share in (0.81, 0.84, 0.79)]
    coupons = [Coupon(r.current or 0.0, r.time or 0.0, r.gain or 0.0, 1e-6) for r in runs]
    found, other = refined(runs, BATH), efficiency(coupons, metal("Ni"))
    assert found is not None
    known = other.figure.range
    assert (found.low, found.efficiency, found.high) == pytest.approx((known.low, known.typical, known.high), rel=1e-9)
    assert found.scatter == pytest.approx(other.scatter, rel=1e-9)


def test_an_interval_never_goes_past_all_of_the_charge_and_says_where_it_would_end() -> None:
    found = compared([run(0.99)] * 3, PLANNED)
    assert found.refined is not None
    assert found.refined.high == 1.0 < found.refined.reach
    text = as_text(log_document("Link", [run(0.99)] * 3, found))
    assert " to 100 %, 95 % interval" in text
    assert f"would end at {100 * found.refined.reach:.0f} %" in " ".join(text.split())
    below = as_text(log_document("Link", [run(0.8)] * 3, compared([run(0.8)] * 3, PLANNED)))
    assert "would end" not in below


def test_more_runs_make_the_efficiency_surer() -> None:
    draw = np.random.default_rng(3)
    runs = [run(0.8 + 0.05 * draw.standard_normal()) for _ in range(16)]
    few, many = refined(runs[:3], BATH), refined(runs, BATH)
    assert few is not None
    assert many is not None
    assert many.high - many.low < few.high - few.low


def test_runs_in_another_bath_do_not_count() -> None:
    found = refined([run(0.5, bath="acetate-nickel"), run(0.9)], BATH)
    assert found is not None
    assert [one.run for one in found.runs] == [2]
    assert found.efficiency == pytest.approx(0.9, rel=1e-9)


def test_a_run_is_compared_by_its_charge() -> None:
    found = compared([run(0.95, minutes=10)], PLANNED)
    assert found.expected_gain == pytest.approx(PLANNED.mass / 2, rel=1e-12)
    assert found.least_thickness == pytest.approx(4e-6, rel=0.02)
    assert found.more_time == pytest.approx(600.0, rel=0.03)


def test_too_much_and_too_little_metal_are_told() -> None:
    assert "run-too-heavy" in {f.code for f in compared([run(1.3)], PLANNED).findings}
    assert "run-too-light" in {f.code for f in compared([run(0.01)], PLANNED).findings}
    codes = {f.code for f in compared([run(0.6)] * 3, PLANNED).findings}
    assert codes == {"log-other-efficiency"}
    assert compared([run(0.95)] * 3, PLANNED).findings == ()


def test_what_was_weighed_goes_before_what_was_expected() -> None:
    found = compared([run(0.475)], PLANNED)
    assert found.by_weight
    gain = 0.475 * 1560.0 * NICKEL
    assert found.least_thickness == pytest.approx(8e-6 * gain / 0.45e-3, rel=1e-9)
    bare = compared([replace(run(0.475), mass_after=None)], PLANNED)
    assert not bare.by_weight
    assert bare.least_thickness == pytest.approx(8e-6, rel=1e-9)


def test_past_the_target_no_time_is_missing() -> None:
    assert compared([run(0.95, minutes=30)], PLANNED).more_time == 0.0


@pytest.mark.parametrize("key", ["current", "voltage", "time"])
def test_a_twentieth_off_the_plan_is_worth_a_word_and_less_is_not(key: str) -> None:
    for by, is_told in ((1.04, False), (0.96, False), (1.06, True), (0.94, True)):
        off = replace(run(), **{key: by * getattr(PLANNED, key)})
        told = [f.message for f in compared([off], PLANNED).findings if f.code == "run-off-plan"]
        assert [text.startswith(f"the {key} was {by:.2f} times") for text in told] == [True] * is_told


@pytest.mark.parametrize(
    ("efficiency", "balance", "is_told"),
    [(1.015, 1e-6, False), (1.03, 1e-6, True), (1.1, 1e-4, False), (1.25, 1e-4, True)],
)
def test_more_metal_than_the_charge_gives_is_told_where_meter_and_balance_do_not_explain_it(
    efficiency: float, balance: float, is_told: bool
) -> None:
    """0.47 g at most: a balance in steps of 0.1 g is off by 9 % of it, one of a milligram by nothing."""
    codes = {f.code for f in compared([replace(run(efficiency), balance=balance)], PLANNED).findings}
    assert ("run-too-heavy" in codes) is is_told


def test_the_share_into_the_part_is_what_it_gains_over_what_the_charge_deposits() -> None:
    """Half of it goes into thieves."""
    assert replace(PLANNED, mass=0.5 * 0.95 * 1560.0 * NICKEL).share == pytest.approx(0.5, rel=1e-12)


def test_the_units_of_a_log_are_those_of_its_heads(tmp_path) -> None:
    path = tmp_path / "a-log.csv"
    line = "2026-05-09,watts-nickel,1.3,1.5,20,48.12,48.55,0.01,0.9,0.3041,bright"
    path.write_text(f"{','.join(HEADS)}\n{line}\n", encoding="utf-8")
    (found,) = read_log(path)
    assert (found.time, found.share, found.look) == (1200.0, 0.9, "bright")
    masses = found.mass_before, found.mass_after, found.balance
    assert masses == pytest.approx((0.04812, 0.04855, 1e-5), rel=1e-12)
    assert found.equivalent == pytest.approx(NICKEL, rel=1e-3)
    assert (found.current, found.voltage) == (1.3, 1.5)


amounts = st.none() | st.floats(1e-3, 1e3)
words = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=40)


@settings(deadline=None)  # each run is synced to the disk, which may be slow
@given(st.lists(st.tuples(amounts, amounts, words), min_size=1, max_size=4))
def test_what_is_written_is_read_again(tmp_path_factory: pytest.TempPathFactory, rows: list[tuple]) -> None:
    path = tmp_path_factory.mktemp("log") / "a-log.csv"
    runs = tuple(Run("2026-05-09T10:00", BATH, current, time=time, look=look) for current, time, look in rows)
    for one in runs:
        add_run(path, one)
    for one, back in zip(runs, read_log(path), strict=True):
        assert back.look == one.look
        for name in ("current", "time"):
            wanted = getattr(one, name)
            assert getattr(back, name) == (None if wanted is None else pytest.approx(wanted, rel=1e-8))


@pytest.mark.parametrize(
    ("text", "slug", "words"),
    [
        ("a,b\n1,2\n", "log-heads", "line 1"),
        (",".join(HEADS) + "\n2026-05-09,x\n", "log-line", "2 cells"),
        (",".join(HEADS) + "\n2026-05-09,x,1;3,,,,,,,,\n", "log-line", "current_A"),
        (",".join(HEADS) + "\n9 May,x,1.3,,,,,,,,\n", "log-line", "no date"),
        (",".join(HEADS) + "\n2026-05-09,x,-1,,,,,,,,\n", "log-line", "current_A"),
        (",".join(HEADS) + "\n2026-05-09,x,nan,,,,,,,,\n", "log-line", "current_A"),
        (",".join(HEADS) + '\n2026-05-09,"x,1.3,,,,,,,,\n', "log-line", "no CSV"),
    ],
)
def test_what_is_no_log_is_refused_and_kept(tmp_path, text: str, slug: str, words: str) -> None:
    path = tmp_path / "a-log.csv"
    path.write_text(text)
    with pytest.raises(RunLogError) as caught:
        read_log(path)
    assert caught.value.slug == slug
    assert words in str(caught.value)
    assert path.read_text() == text


def test_a_log_that_is_no_text_is_refused(tmp_path) -> None:
    path = tmp_path / "a-log.csv"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RunLogError, match="UTF-8"):
        read_log(path)


def test_a_missing_end_of_line_is_put_right(tmp_path) -> None:
    path = tmp_path / "a-log.csv"
    add_run(path, run())
    path.write_text(path.read_text().rstrip("\n"))
    add_run(path, run())
    assert len(read_log(path)) == 2


JOB = """
[part]
shape = "bar"
length = "40 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "watts-nickel"
[target]
thickness = "8 um"
[solve]
accuracy = "10 %"
most_panels = 3000
"""


@pytest.fixture
def job(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "bar.toml"
    path.write_text(JOB)
    return path


def test_the_command_adds_a_run_and_compares_it(job) -> None:
    asked = ["log", "bar.toml", "--current", "400 mA", "--time", "30 min", "--before", "20 g", "--after", "20.2 g"]
    done = CliRunner().invoke(commands, [*asked, "--look", "=cmd()"])
    assert done.exit_code == 0, done.output
    assert "1 run logged" in done.output
    (one,) = read_log(log_path(job))
    assert one.current == pytest.approx(0.4, rel=1e-12)
    assert one.look == "'=cmd()"  # no formula for a spreadsheet
    again = CliRunner().invoke(commands, ["log", "bar.toml", "--json"])
    assert '"number": 1' in again.stdout
    assert len(read_log(log_path(job))) == 1


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--before", "20 g", "--after", "19 g"], "run-lost-mass"),
        (["--current", "3"], "option-amount"),
        (["--time", "0 min"], "option-amount"),
        (["--date", "yesterday"], "option-amount"),
    ],
)
def test_a_run_that_cannot_be_is_not_written(job, options: list[str], words: str) -> None:
    done = CliRunner().invoke(commands, ["log", "bar.toml", *options])
    assert done.exit_code == 2
    assert words in done.output
    assert not log_path(job).exists()
