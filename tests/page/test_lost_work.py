"""A worker process that is killed, called off, hangs or fails leaves the page alive, and the next plan is made."""

import os
import signal
from pathlib import Path

import pytest
from helpers.page_work import Page, bar, page

from geom.page.worker import Worker

DESK = "helpers.page_desk:Desk"


@pytest.fixture(scope="module")
def solver():
    with Worker(desk=DESK, seconds=2.0) as made:
        yield made


@pytest.fixture
def ours(tmp_path: Path, solver: Worker, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(solver, "close", lambda: None)  # the next test has it too
    with page(tmp_path, solver=solver) as made:
        yield made


def begun(ours: Page, title: str) -> str:
    """Have a plan begun that does what its title says."""
    return str(ours.post("/api/plans", {"answers": bar(title=title)}).tree["plan"])


def is_alive(ours: Page) -> bool:
    """Is the next plan made?"""
    return bool(ours.wait(begun(ours, "link"))["state"] == "done")


def test_a_plan_that_crashes_its_process_fails_alone(ours: Page):
    now = ours.wait(begun(ours, "crash"))
    assert (now["state"], now["error"]["slug"]) == ("failed", "work-died")
    assert now["error"]["hint"]
    assert is_alive(ours)


def test_a_process_that_is_killed_from_outside_is_replaced(ours: Page, solver: Worker):
    name = begun(ours, "hang")
    ours.wait(name, "solving")
    while ours.get(f"/api/plans/{name}").tree["stage"] != "solving":
        pass
    assert solver.pid is not None
    os.kill(solver.pid, signal.SIGKILL)
    assert ours.wait(name)["error"]["slug"] == "work-died"
    assert is_alive(ours)


def test_a_plan_that_hangs_is_called_off_at_once(ours: Page):
    name = begun(ours, "hang")
    ours.wait(name, "solving")
    ours.post(f"/api/plans/{name}/cancel")
    assert ours.wait(name)["state"] == "cancelled"
    assert is_alive(ours)


def test_a_plan_that_takes_too_long_is_ended_by_the_clock(ours: Page):
    now = ours.wait(begun(ours, "hang"))
    assert (now["state"], now["error"]["slug"]) == ("failed", "work-time")
    assert is_alive(ours)


def test_a_defect_in_the_process_is_told_without_its_innards(ours: Page):
    now = ours.wait(begun(ours, "defect"))
    assert (now["state"], now["error"]["slug"]) == ("failed", "work-defect")
    assert "secret" not in now["error"]["message"]
    assert is_alive(ours)


def test_a_what_if_after_its_process_was_killed_is_answered_by_the_new_one(ours: Page, solver: Worker):
    name = begun(ours, "link")
    ours.wait(name)
    before = ours.get(f"/api/plans/{name}/answer").tree["process"]
    assert solver.pid == before
    os.kill(before, signal.SIGKILL)
    answers = [ours.post(f"/api/plans/{name}/what-if", {"answers": {"current": "0.7 A"}}) for _ in range(2)]
    assert answers[1].status == 200
    assert answers[1].tree["process"] != before
