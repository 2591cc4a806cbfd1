"""Batches: taken up again where they were killed, one bad job never stops the rest, the same bytes on any crew."""

import csv
import json
import os
import random
import shutil
import signal
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner
from helpers.batch_work import quick_outcome

from geom.batch import run as batch_run
from geom.batch.crews import local_crew
from geom.batch.journal import JOURNAL, Journal
from geom.batch.run import TABLE, plan_folder, run_batch
from geom.batch.sweep import Crew
from geom.batch.tickets import Ticket, parcel_of, tickets_of
from geom.batch.work import COLUMNS, Request, planned_outcome
from geom.cli.main import commands
from geom.errors import JobError, OutputError

ROOT = Path(__file__).parents[2]
JOB = """
[part]
shape = "bar"
length = "40 mm"
width = "{width} mm"
thickness = "3 mm"

[bath]
name = "watts-nickel"

[target]
thickness = "5 um"

[solve]
accuracy = "20 %"
most_panels = 2000
"""


def silent(stage: str, share: float) -> None:
    pass


@contextmanager
def threads(workers: int) -> Iterator[Executor]:
    with ThreadPoolExecutor(workers) as pool:
        yield pool


THREADS = Crew(threads, 2, 4)
ONE = Crew(threads, 1, 2)  # the kernels do not bear two threads at a time in one process
TICKETS = tuple(Ticket(f"shelf {n % 3}/job {n}.toml", f"job {n}.toml", f"{n:064x}") for n in range(60))


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    """Three jobs that can be planned, one of them with a mesh beside it, one that cannot, and two files that are no jobs."""
    folder = tmp_path / "jobs"
    (folder / "shelf").mkdir(parents=True)
    (folder / "wide.toml").write_text(JOB.format(width=20))
    (folder / "shelf" / "narrow.toml").write_text(JOB.format(width=12))
    (folder / "broken.toml").write_text(JOB.format(width=-3))
    (folder / "readings.toml").write_text('[cell]\nvolume = "1 L"\n')
    (folder / "notes.txt").write_text("not a job")
    return folder


def test_a_batch_killed_fifty_times_loses_and_doubles_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_run, "planned_outcome", quick_outcome)
    folder = tmp_path / "out"
    rng = random.Random(20)
    kills = 0
    tickets = tuple(Ticket(f"job {n}.toml", "", f"{n:064x}") for n in range(1500))
    while kills < 50:
        child = os.fork()
        if child == 0:
            try:
                run_batch(tickets, folder, Request(), THREADS, silent)
            finally:
                os._exit(0)
        time.sleep(rng.uniform(0.0, 0.06))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            break
        kills += 1
    assert kills == 50
    with Journal(folder) as journal:
        assert 50 < len(journal.rows) < len(tickets)
        before = dict(journal.rows)
    done = run_batch(tickets[:400], folder, Request(), THREADS, silent)
    lines = (folder / JOURNAL).read_bytes().splitlines()
    assert done.damaged == 0
    assert done.kept == sum(ticket.digest in before for ticket in tickets[:400])
    assert len(lines) == len({json.loads(line.split(b" ", 1)[1])["digest"] for line in lines})
    assert [row["title"] for row in done.rows] == [ticket.digest for ticket in tickets[:400]]
    for ticket in tickets[:400]:
        kept = folder / "plans" / plan_folder(ticket.name, ticket.digest)
        assert (kept / "plan.json").read_bytes() == ticket.digest.encode()


def test_only_jobs_are_found_and_their_digest_follows_what_they_read(jobs: Path) -> None:
    mesh = jobs / "part.stl"
    mesh.write_bytes(b"one")
    (jobs / "meshed.toml").write_text('[part]\nmesh = "part.stl"\nunit = "mm"\n[bath]\nname = "watts-nickel"\n')
    first = {ticket.name: ticket.digest for ticket in tickets_of(jobs, "")}
    assert list(first) == ["broken.toml", "meshed.toml", "shelf/narrow.toml", "wide.toml"]
    mesh.write_bytes(b"two")
    second = {ticket.name: ticket.digest for ticket in tickets_of(jobs, "")}
    assert [name for name in first if first[name] != second[name]] == ["meshed.toml"]
    assert not set(second.values()) & {ticket.digest for ticket in tickets_of(jobs, "fine")}


def test_a_list_names_jobs_from_where_it_lies(jobs: Path) -> None:
    listed = jobs / "monday.txt"
    listed.write_text("# Monday\n\nwide.toml\nshelf/narrow.toml\nwide.toml\nmissing.toml\n")
    assert [ticket.name for ticket in tickets_of(listed, "")] == ["wide.toml", "shelf/narrow.toml", "missing.toml"]


@pytest.mark.parametrize("name", ["nowhere", "wide.toml", "empty", "bytes.txt"])
def test_what_is_neither_folder_nor_list_is_refused(jobs: Path, name: str) -> None:
    (jobs / "empty").mkdir()
    (jobs / "bytes.txt").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(JobError) as caught:
        tickets_of(jobs / name, "")
    assert caught.value.slug == ("batch-empty" if name == "empty" else "batch-missing")


def test_one_bad_job_stops_nothing_and_the_table_opens_in_ordinary_tools(jobs: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    first = CliRunner().invoke(commands, ["batch", str(jobs), "--out", str(out), "--workers", "1", "--json"])
    assert first.exit_code == 1, first.output
    tree = json.loads(first.stdout)
    with (out / TABLE).open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["outcome"] for row in rows] == ["refused", "planned", "planned"]
    assert list(rows[0]) == list(COLUMNS)
    assert "-3 mm" in rows[0]["message"]
    for row, told in zip(rows[1:], tree["jobs"][1:], strict=True):
        plan = json.loads((out / "plans" / plan_folder(row["job"], "") / "plan.json").read_text())
        assert float(row["current_A"]) == pytest.approx(plan["recommendation"]["current_A"], rel=1e-9, abs=0)
        assert float(row["current_A"]) == pytest.approx(told["current_A"], rel=1e-9, abs=0)
    again = CliRunner().invoke(commands, ["batch", str(jobs), "--out", str(out), "--workers", "1", "--json"])
    assert json.loads(again.stdout) == {**tree, "kept": 3}


def test_a_folder_of_something_else_is_left_alone(jobs: Path, tmp_path: Path) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "dear.txt").write_text("dear")
    with pytest.raises(OutputError) as caught:
        run_batch(TICKETS, tmp_path / "letters", Request(), THREADS, silent)
    assert caught.value.slug == "output-foreign"


def test_results_stay_below_the_folder_whatever_a_list_names() -> None:
    names = ["a.toml", "b/a.toml", "../a.toml", "/etc/a.toml", "../../x/../a.toml"]
    places = [plan_folder(name, f"{n}" * 64) for n, name in enumerate(names)]
    assert len(set(places)) == len(names)
    assert not any(place.is_absolute() or ".." in place.parts for place in places)


def test_a_parcel_is_planned_as_the_job_is_where_it_lies(jobs: Path, tmp_path: Path) -> None:
    """Byte for byte: its mesh and the tables it names travel with it."""
    shutil.copy(ROOT / "samples" / "clamp" / "clamp.stl", jobs / "clamp.stl")
    text = JOB.format(width=20).replace('shape = "bar"\nlength = "40 mm"\nwidth = "20 mm"\nthickness = "3 mm"', "")
    text = text.replace("[part]", '[part]\nmesh = "../clamp.stl"\nunit = "mm"').replace("2000", "4000")
    (jobs / "shelf" / "meshed.toml").write_text(text)
    ticket = next(ticket for ticket in tickets_of(jobs, "") if ticket.name == "shelf/meshed.toml")
    here = planned_outcome(ticket, Request())
    parcel = parcel_of(ticket)
    assert set(parcel.files) == {"shelf/meshed.toml", "clamp.stl"}
    shutil.rmtree(jobs)
    there = planned_outcome(ticket, Request(), parcel)
    assert here.row["outcome"] == "planned", here.row["message"]
    assert {**there.row, "seconds": 0} == {**here.row, "seconds": 0}
    assert there.files == here.files


def test_processes_of_this_machine_find_the_same_bytes_as_this_one(jobs: Path, tmp_path: Path) -> None:
    run_batch(tickets_of(jobs, ""), tmp_path / "one", Request(), ONE, silent)
    run_batch(tickets_of(jobs, ""), tmp_path / "two", Request(), local_crew(2), silent)
    for name in ("wide-plan", "shelf/narrow-plan"):
        one, two = ((tmp_path / where / "plans" / name / "plan.json").read_bytes() for where in ("one", "two"))
        assert one == two
