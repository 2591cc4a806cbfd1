"""The journal: what is in it is on the disk; torn and damaged lines cost their own job alone."""

import multiprocessing
from pathlib import Path

import pytest

from geom.batch.journal import JOURNAL, Journal
from geom.errors import OutputError

ROWS = {f"{n:064x}": {"job": f"job {n}", "current_A": n / 7, "title": 'é "\n'} for n in range(5)}


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    with Journal(tmp_path) as journal:
        for digest, row in ROWS.items():
            journal.add(digest, row)
    return tmp_path


def test_what_was_added_is_there_again(filled: Path) -> None:
    with Journal(filled) as journal:
        assert journal.rows == ROWS
        assert journal.damaged == 0


def test_a_line_cut_off_anywhere_costs_only_its_own_job(filled: Path) -> None:
    content = (filled / JOURNAL).read_bytes()
    whole = content.rstrip(b"\n").rfind(b"\n") + 1
    for length in range(whole, len(content)):
        (filled / JOURNAL).write_bytes(content[:length])
        with Journal(filled) as journal:
            assert list(journal.rows) == list(ROWS)[:4]
            assert journal.damaged == 0
            journal.add("f" * 64, {"job": "next"})
        with Journal(filled) as journal:
            assert journal.rows == {**dict(list(ROWS.items())[:4]), "f" * 64: {"job": "next"}}


def test_a_flipped_byte_costs_its_line_and_is_told(filled: Path) -> None:
    content = (filled / JOURNAL).read_bytes()
    first = content.index(b"\n")
    for at in range(0, first, 3):
        (filled / JOURNAL).write_bytes(content[:at] + bytes([content[at] ^ 4]) + content[at + 1 :])
        with Journal(filled) as journal:
            assert list(journal.rows) == list(ROWS)[1:]
            assert journal.damaged == 1


def _try(folder: str, answer: "multiprocessing.Queue[str]") -> None:
    try:
        Journal(Path(folder)).close()
        answer.put("had it")
    except OutputError as error:
        answer.put(error.slug)


def test_only_one_run_at_a_time_has_it(filled: Path) -> None:
    pytest.importorskip("fcntl")
    context = multiprocessing.get_context("spawn")
    answer = context.Queue()
    with Journal(filled):
        with pytest.raises(OutputError) as caught:
            Journal(filled)
        assert caught.value.slug == "batch-busy"
        other = context.Process(target=_try, args=(str(filled), answer))
        other.start()
        assert answer.get(timeout=30) == "batch-busy"
        other.join()
