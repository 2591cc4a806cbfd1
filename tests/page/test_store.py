"""What is kept on disk: whole or not at all, damaged things shown as such, bounded, and there again after a restart."""

import json
import os
from pathlib import Path

import pytest
from helpers.page_work import CUBE, bar, page

from geom.errors import PageError
from geom.page import store as module
from geom.page.store import Kept, NewerError, Store, read_kept, write_kept


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "page"


def again(folder: Path, name: str) -> dict:
    """Return how a plan is after the program was begun anew."""
    with page(folder) as ours:
        return ours.get(f"/api/plans/{name}").tree


def test_plans_answers_and_files_are_there_after_a_restart(folder: Path):
    with page(folder) as first:
        name = first.plan(title="link of the east jetty")
        answer = first.get(f"/api/plans/{name}/answer").body
        card = first.get(f"/api/plans/{name}/files/card.pdf").body
    with page(folder) as second:
        assert second.get("/api/plans").tree["plans"][0]["plan"] == name
        assert second.get(f"/api/plans/{name}/answer").body == answer
        assert second.get(f"/api/plans/{name}/files/card.pdf").body == card
        assert second.work.done == []


def test_files_not_made_yet_are_made_after_a_restart(folder: Path):
    with page(folder) as first:
        name = first.plan()
    with page(folder) as second:
        assert second.get(f"/api/plans/{name}/files/plan.html").body == b"plan.html of a plan"
        assert [task for task, _ in second.work.done] == ["plan", "files"]


def test_a_file_of_a_part_is_there_after_a_restart(folder: Path):
    with page(folder) as first:
        part = first.send("/api/files", CUBE, x_file_name="link.off").tree["file"]
    with page(folder) as second:
        assert second.post("/api/look", {"answers": {"part": part, "unit": "mm"}}).status == 200


def test_a_plan_that_was_being_worked_out_is_said_to_have_been_ended(folder: Path):
    with page(folder) as first:
        first.work.go.clear()
        running = first.post("/api/plans", {"answers": bar()}).tree["plan"]
        first.wait(running, "solving")
        waiting = first.post("/api/plans", {"answers": bar()}).tree["plan"]
        records = {name: (folder / "plans" / name / "record").read_bytes() for name in (running, waiting)}
    for name, record in records.items():  # as a power cut would leave them
        (folder / "plans" / name / "record").write_bytes(record)
        now = again(folder, name)
        assert now["state"] == "failed"
        assert now["error"]["slug"] == "page-stopped"
        assert now["answers"] == bar()


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-3])


def _flip(path: Path) -> None:
    body = bytearray(path.read_bytes())
    body[-10] ^= 1
    path.write_bytes(body)


def _other_version(path: Path) -> None:
    head, _, body = path.read_bytes().partition(b"\n")
    told = json.loads(head)
    told["geom-page"] = 2
    path.write_bytes(json.dumps(told).encode() + b"\n" + body)


def _other_fields(path: Path) -> None:
    body = json.loads(read_kept(path))
    write_kept(path, json.dumps({**body, "surprise": 1}).encode())


def _no_record(path: Path) -> None:
    write_kept(path, b"[1, 2]")


def _folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


DAMAGE = {
    "cut short": (_cut, "damaged"),
    "one bit": (_flip, "damaged"),
    "empty": (lambda path: path.write_bytes(b""), "damaged"),
    "other bytes": (lambda path: path.write_bytes(os.urandom(500)), "damaged"),
    "of a later version": (_other_version, "newer"),
    "with other fields": (_other_fields, "damaged"),
    "no record": (_no_record, "damaged"),
    "gone": (lambda path: path.unlink(), "damaged"),
    "a folder": (_folder, "damaged"),
    "a pipe": (_pipe, "damaged"),
}


@pytest.mark.parametrize(("damage", "state"), DAMAGE.values(), ids=DAMAGE)
def test_a_damaged_record_is_shown_and_never_guessed(folder: Path, damage, state: str):
    with page(folder) as first:
        hurt, whole = first.plan(), first.plan()
    damage(folder / "plans" / hurt / "record")
    with page(folder) as second:
        now = second.get(f"/api/plans/{hurt}").tree
        assert (now["state"], now["answers"]) == (state, None)
        assert now["error"]["slug"] == "page-damaged"
        assert now["error"]["message"]
        assert second.get(f"/api/plans/{whole}").tree["state"] == "done"
        assert second.get(f"/api/plans/{hurt}/answer").status == 409
        assert {row["plan"] for row in second.get("/api/plans").tree["plans"]} == {hurt, whole}


@pytest.mark.parametrize("name", ["view", "files/plan.html"])
def test_a_damaged_answer_or_file_is_told(folder: Path, name: str):
    with page(folder) as ours:
        plan = ours.plan()
        ours.get(f"/api/plans/{plan}/files/plan.html")
        _flip(folder / "plans" / plan / name)
        answer = ours.get(f"/api/plans/{plan}/{'answer' if name == 'view' else name}")
        assert (answer.status, answer.slug) == (410, "page-damaged")


def test_only_so_many_plans_are_kept_and_the_oldest_go_with_all_they_have(folder: Path):
    with page(folder) as ours:
        ours.store.keep = 3
        names = [ours.plan(title=f"link {k}") for k in range(5)]
        listed = ours.get("/api/plans").tree
        assert [row["plan"] for row in listed["plans"]] == names[:1:-1]
        assert listed["removed"] == 2
        assert "2 older ones" in listed["note"]
        assert sorted(os.listdir(folder / "plans")) == sorted(names[2:])
        assert ours.get(f"/api/plans/{names[0]}").slug == "page-no-plan"


def test_a_plan_that_waits_is_never_the_one_that_goes(folder: Path):
    with page(folder) as ours:
        ours.store.keep = 1
        ours.work.go.clear()
        running = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
        ours.wait(running, "solving")
        ours.post("/api/plans", {"answers": bar()})
        assert ours.get(f"/api/plans/{running}").tree["state"] == "solving"


def test_only_so_many_files_are_kept_but_those_of_plans_stay(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "KEPT_PARTS", 2)
    with page(folder) as ours:
        parts = [ours.send("/api/files", CUBE, x_file_name="link.off").tree["file"]]
        answers = {"part": parts[0], "unit": "mm"}
        ours.wait(ours.post("/api/plans", {"answers": answers}).tree["plan"])
        parts += [ours.send("/api/files", CUBE, x_file_name="link.off").tree["file"] for _ in range(4)]
        left = {name for name in os.listdir(ours.store.parts_folder) if "." not in name}
        assert left == {parts[0], *parts[-2:]}


def test_all_files_together_are_bounded(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "MOST_PART_BYTES", 2 * len(CUBE) + 10)
    with page(folder) as ours:
        parts = [ours.send("/api/files", CUBE, x_file_name="link.off").tree["file"] for _ in range(4)]
        left = {name for name in os.listdir(ours.store.parts_folder) if "." not in name}
        assert left == set(parts[-2:])


def test_what_an_interrupted_upload_left_is_removed(folder: Path):
    Store(folder).close()
    (folder / "parts" / "0123456789abcdef.off.part").write_bytes(b"x")
    (folder / "plans" / ".gone-0123456789abcdef-00").mkdir()
    Store(folder).close()
    assert os.listdir(folder / "parts") == []
    assert os.listdir(folder / "plans") == []


def test_a_folder_is_of_one_program_at_a_time(folder: Path):
    first = Store(folder)
    with pytest.raises(PageError) as error:
        Store(folder)
    assert error.value.slug == "page-folder-taken"
    first.close()
    Store(folder).close()


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(PageError) as error:
        Store(tmp_path / "file" / "page")
    assert error.value.slug == "page-unwritable"
    assert "--folder" in error.value.hint


def test_a_full_disk_leaves_no_plan_waiting_without_end(folder: Path, monkeypatch: pytest.MonkeyPatch):
    def full(path: Path, body: bytes) -> None:
        raise OSError(28, "No space left on device")

    with page(folder) as ours:
        monkeypatch.setattr(module, "write_kept", full)
        answer = ours.post("/api/plans", {"answers": bar()})
        assert (answer.status, answer.slug) == (507, "page-unwritable")
        assert ours.get("/api/plans").tree["plans"] == []
        monkeypatch.undo()
        ours.work.go.clear()
        name = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
        ours.wait(name, "solving")
        monkeypatch.setattr(module, "write_kept", full)
        ours.work.go.set()
        now = ours.wait(name)
        assert (now["state"], now["error"]["slug"]) == ("failed", "page-unwritable")


def test_a_write_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "record"
    write_kept(path, b"old")

    def fails(handle: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(OSError, match="Input"):
        write_kept(path, b"new")
    assert read_kept(path) == b"old"
    assert os.listdir(tmp_path) == ["record"]


def test_a_file_of_a_later_version_is_not_read(tmp_path: Path):
    write_kept(tmp_path / "record", b"x")
    _other_version(tmp_path / "record")
    with pytest.raises(NewerError):
        read_kept(tmp_path / "record")


@pytest.mark.parametrize(
    "name", ["..", "../parts", "/etc", "0123456789ABCDEF", "0123456789abcde", "0123456789abcdef\n"]
)
def test_no_name_but_an_id_becomes_a_path(folder: Path, name: str):
    store = Store(folder)
    with pytest.raises(ValueError, match="not an id"):
        store.change(Kept(name))
    store.close()
