"""Ways to hang a part: each kind once, ordered as told, a winner only past the numerical error."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.testing import assert_allclose

from geom.cell.cell import Pose
from geom.cli.main import commands
from geom.errors import JobError
from geom.job.job import Job
from geom.job.read import parse_job
from geom.kept import Kept, make_kept, what_if
from geom.poses.candidates import Candidate, candidates, quarter_turns
from geom.poses.compared import Compared, _hung, compared_poses

SOLVE = '\n[solve]\naccuracy = "20 %"\nmost_panels = 2000\n'
REST = '[bath]\nname = "watts-nickel"\n[target]\nthickness = "5 um"\n[tank]\nshape = "box"\nlength = "160 mm"\nwidth = "160 mm"\ndepth = "160 mm"\n'
ANODE = '[[anode]]\nshape = "sheet"\nlength = "2 mm"\nwidth = "80 mm"\nheight = "100 mm"\nat = ["-70 mm", "{y} mm", "80 mm"]\n'
POSE = '[pose]\nat = ["10 mm", "0 mm", "80 mm"]\nturn = ["0 deg", "0 deg", "0 deg"]\n'
BAR = '[part]\nshape = "bar"\nlength = "40 mm"\nwidth = "24 mm"\nthickness = "8 mm"\n'
HOLED = BAR + 'holes = [{ diameter = "8 mm", at = ["9 mm", "0 mm"] }]\n'
CORNERED = BAR + 'holes = [{ diameter = "8 mm", at = ["9 mm", "4 mm"] }]\n'
CUBE = '[part]\nshape = "bar"\nlength = "20 mm"\nwidth = "20 mm"\nthickness = "20 mm"\n'
ROD = '[part]\nshape = "rod"\ndiameter = "16 mm"\nlength = "40 mm"\n'


def kept_of(part: str, y: float = 0.0) -> Kept:
    return make_kept(parse_job(part + REST + ANODE.format(y=y) + POSE + SOLVE))


def found(kept: Kept) -> tuple[Candidate, ...]:
    return candidates(kept.plan.cell, kept.plan.fields[0].panels, kept.plan.deposit.significant)


def silent(stage: str, share: float) -> None:
    pass


@pytest.fixture(scope="module")
def holed() -> Kept:
    return kept_of(HOLED)


def test_quarter_turns_are_the_rotations_of_a_cube() -> None:
    matrices = np.stack(list(quarter_turns().values()))
    assert len(matrices) == 24
    assert_allclose(np.linalg.det(matrices), 1.0, rtol=1e-12, atol=0)
    assert len({np.round(m).astype(int).tobytes() for m in matrices}) == 24


@pytest.mark.parametrize(
    ("part", "kinds"),
    [
        # orbit counting by hand: 24 rotations over those that lead a pose to an equal one. The tank is a box with one
        # sheet amid its wall, so it has one mirror; with the half turn that a plan weighs by itself, so has the other wall
        (CUBE, 1),  # all 24 are one
        (BAR, 6),  # which of three lengths is up, which to the anode
        (ROD, 3),  # upright, lying along the sheet, lying end to it
        (HOLED, 8),  # as the bar, but that of its length up there are two: the hole up, the hole down
    ],
)
def test_each_kind_of_pose_is_there_once(part: str, kinds: int) -> None:
    assert len(found(kept_of(part))) == kinds


def test_a_sheet_off_the_middle_takes_its_mirror_away() -> None:
    """A part without any symmetry has all 24 poses but for half turns, mirrored or not: and no fewer without the mirror."""
    assert len(found(kept_of(CORNERED, y=0.0))) <= len(found(kept_of(CORNERED, y=30.0))) == 12


def test_poses_of_one_kind_take_equally_long(holed: Kept) -> None:
    """Solved, not argued: every one of the 24 poses finds a candidate that takes as long, within the numerical error."""
    times = []
    weighed = [_hung(holed, one, own_panels=k == 0) for k, one in enumerate(found(holed))]
    known = np.array([one.time for one in weighed if one.plan is not None])
    for name, turn in (("", turn) for turn in quarter_turns()):
        one = _hung(holed, Candidate(name, Pose(turn, holed.plan.cell.pose.at)), own_panels=False)
        assert one.plan is not None, one.why_not
        times.append(float(np.abs(known / one.time - 1).min()))
    assert max(times) < 2 * holed.plan.accuracy.thinnest


@pytest.fixture(scope="module")
def compared(holed: Kept) -> Compared:
    return compared_poses(holed.job, silent)


def test_the_order_is_the_one_that_is_told(compared: Compared) -> None:
    keys = [(one.plan is None, one.is_stopped, one.trapped > 0, one.time) for one in compared.hung]
    assert keys == sorted(keys)


def test_a_winner_beats_all_others_by_more_than_the_error_or_there_is_none(compared: Compared) -> None:
    first, *others = (one for one in compared.hung if one.plan is not None)
    clear = all(
        (one.is_stopped, one.trapped > 0) > (first.is_stopped, first.trapped > 0)
        or first.time * (1 + first.error + one.error) < one.time
        for one in others
    )
    assert (compared.winner == 0) == clear
    assert (len(compared.rivals) == 1) == clear


def test_none_on_the_front_is_bettered_and_every_other_is(compared: Compared) -> None:
    for k, one in enumerate(compared.hung):
        if one.plan is None:
            continue
        bettered = any(
            other.plan is not None
            and other is not one
            and other.is_stopped <= one.is_stopped
            and all(a <= b * (1 + one.error + other.error) for a, b in zip(other.costs, one.costs, strict=True))
            and any(a * (1 + one.error + other.error) < b for a, b in zip(other.costs, one.costs, strict=True))
            for other in compared.hung
        )
        assert (k in compared.front) == (not bettered)


def test_flat_faces_upright_and_to_the_anode_beat_level_ones(holed: Kept) -> None:
    """Common practice, no source: hang flat parts upright, broad side to the anode."""
    job = holed.job
    upright = replace(holed.plan.cell.pose, turn=(0.0, np.pi / 2, 0.0))
    level = replace(holed.plan.cell.pose, turn=(0.0, 0.0, 0.0))
    tank = {"tank": holed.plan.cell.tank, "anodes": holed.plan.cell.anodes}
    one, other = (what_if(holed, replace(job, pose=pose, **tank)) for pose in (upright, level))
    assert one.time < other.time


def test_shared_time_is_never_longer_than_the_best_alone(compared: Compared) -> None:
    assert compared.mixed is None or compared.mixed.time <= compared.hung[0].time


def test_a_pose_that_does_not_fit_is_told_and_the_others_are_weighed() -> None:
    long = BAR.replace("40 mm", "120 mm")
    job = parse_job(long + REST.replace('length = "160 mm"', 'length = "110 mm"') + SOLVE)
    result = compared_poses(job, silent)
    assert any(one.plan is None and one.why_not for one in result.hung)
    assert result.hung[0].plan is not None


def test_a_rack_is_refused() -> None:
    rack = '[rack]\ncopies = [1, 2, 1]\npitch = ["0 mm", "40 mm", "0 mm"]\n'
    try:
        job: Job = parse_job(BAR + REST + rack + SOLVE)
    except JobError:
        pytest.skip("racks are written otherwise")
    with pytest.raises(JobError) as caught:
        compared_poses(job, silent)
    assert caught.value.slug == "poses-rack"


def test_the_command_prints_its_verdict_first_and_draws(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    turns = "".join(
        f'[[schedule.pose]]\nname = "{name}"\nturn = ["0 deg", "{y} deg", "0 deg"]\n' for name, y in (("end up", 90),)
    )
    (tmp_path / "tab.toml").write_text(HOLED + REST + ANODE.format(y=0) + POSE + turns + SOLVE)
    words = ["poses", "tab.toml", "--asked-only", "--accuracy", "20 %"]
    result = CliRunner().invoke(commands, words)
    assert result.exit_code == 0, result.output
    head = result.stdout.splitlines()[3]
    assert head.startswith(("Hang it", "No clear winner"))
    assert "end up" in result.stdout
    assert (tmp_path / "tab-poses.png").read_bytes().startswith(b"\x89PNG")
