"""What the page answers: forms, plans, their files; and rows S9 to S11 of the reliability bar as far as one request goes."""

import json
import os
from pathlib import Path
from urllib.parse import quote

import pytest
from helpers.page_work import CUBE, Page, bar, page

from geom.errors import JobError, SolveError
from geom.page import uploads
from geom.page.app import FILE_TYPES, MOST_UPLOADS
from geom.page.plans import MOST_WAITING, NAMES

NOWHERE = "0123456789abcdef"


@pytest.fixture
def ours(tmp_path: Path):
    with page(tmp_path) as made:
        yield made


def off(ours: Page, name: str = "block.off", content: bytes = CUBE) -> str:
    """Upload a block; return its id."""
    return str(ours.send("/api/files", content, x_file_name=quote(name)).tree["file"])


# the page itself


def test_the_page_brings_the_token_of_this_run_and_no_script_in_its_markup(ours):
    answer = ours.get("/")
    text = answer.body.decode()
    assert f'content="{ours.door.token}"' in text
    assert "{{" not in text
    assert "<script>" not in text
    assert " style=" not in text
    assert answer.headers["cache-control"] == "no-store"


def test_every_file_of_the_page_is_served_by_its_name_and_not_sent_twice(ours):
    for name, kind in (("page.js", "text/javascript"), ("page.css", "text/css"), ("plotly.min.js", "text/javascript")):
        answer = ours.get(f"/static/{name}")
        assert answer.status == 200
        assert answer.headers["content-type"].startswith(kind)
        again = ours.get(f"/static/{name}", if_none_match=answer.headers["etag"])
        assert (again.status, again.body) == (304, b"")


def test_the_form_is_offered_baths_ways_of_hanging_and_a_set_up_to_begin_with(ours):
    tree = ours.get("/api/start").tree
    assert {"name", "title", "metal"} == set(tree["baths"][0])
    assert tree["defaults"]["bath"] in {bath["name"] for bath in tree["baths"]}
    assert tree["defaults"]["pose"] in tree["poses"]
    assert "token" not in json.dumps(tree)


TRAVERSALS = [
    "/static/../app.py",
    "/static/..%2fapp.py",
    "/static/%2e%2e/app.py",
    "/static/%2e%2e%2fapp.py",
    "/static/..%5capp.py",
    "/static/page.js%00.css",
    "/static//etc/passwd",
    "/static/%2fetc%2fpasswd",
    "/static/%2f%2fserver%2fshare",
    "/static/\\\\server\\share",
    "/static/C:%5cwindows%5cwin.ini",
    "/static/%c0%ae%c0%ae%c0%afapp.py",
    "/static/%ef%bc%8e%ef%bc%8e%ef%bc%8fapp.py",
    "/static/%e2%88%95etc%e2%88%95passwd",
    "/static/page.js/",
    "/static/PAGE.JS",
    "/static/index.html",
    "/static/",
    "/../geom/page/app.py",
    "/api/plans/../../etc/passwd",
    "/api/plans/..%2f..%2fetc%2fpasswd",
    "/api/plans/%2e%2e/answer",
    "/api/plans/./answer",
    f"/api/plans/{NOWHERE}",
    f"/api/plans/{NOWHERE}/answer",
    f"/api/plans/{NOWHERE}%00/answer",
]
FILE_TRAVERSALS = [
    "..%2frecord",
    "%2e%2e%2frecord",
    "record",
    "view",
    "..",
    "%2e",
    "plan.json%00",
    "plan.json%20",
    "PLAN.JSON",
    "./plan.json",
    "files/plan.json",
    "%2fetc%2fpasswd",
    "..%5crecord",
    "plan%e2%80%a4json",
    "job.toml::$DATA",
    "part.png",
]


@pytest.mark.parametrize("path", TRAVERSALS)
def test_a_path_leads_nowhere_but_to_what_has_a_name(ours, path: str):
    answer = ours.get(path)
    assert answer.status == 404
    assert answer.slug in ("page-nowhere", "page-no-plan")


def test_a_plan_has_its_own_files_and_no_others(ours):
    plan = ours.plan()
    for file in FILE_TRAVERSALS:
        answer = ours.get(f"/api/plans/{plan}/files/{file}")
        assert answer.status == 404, file
    assert set(FILE_TYPES) == set(NAMES)


def test_a_link_put_in_the_place_of_a_file_is_not_followed(ours, tmp_path: Path):
    plan = ours.plan()
    ours.get(f"/api/plans/{plan}/files/plan.json")
    secret = tmp_path / "secret"
    secret.write_bytes((tmp_path / "plans" / plan / "files" / "plan.json").read_bytes())
    (tmp_path / "plans" / plan / "files" / "plan.json").unlink()
    (tmp_path / "plans" / plan / "files" / "plan.json").symlink_to(secret)
    assert ours.get(f"/api/plans/{plan}/files/plan.json").status == 410


# forms

BODIES = {
    "nothing": (b"", 400),
    "no JSON": (b"bar=100", 400),
    "half of it": (b'{"answers": {"bar": "100', 400),
    "no record": (b"[]", 400),
    "a text": (b'"answers"', 400),
    "null": (b"null", 400),
    "no UTF-8": (b'{"answers": "\xff"}', 400),
    "no number": (b'{"answers": NaN}', 400),
    "endless": (b'{"answers": -Infinity}', 400),
    "a name twice": (b'{"answers": {}, "answers": {}}', 400),
    "nested without end": (b'{"answers": ' + b"[" * 200_000, 400),
    "a number of many digits": (b'{"answers": ' + b"9" * 10_000 + b"}", 400),
    "something behind it": (b'{"answers": {}} x', 400),
    "no answers": (b"{}", 400),
    "answers that are a list": (b'{"answers": []}', 400),
    "an answer that is a number": (b'{"answers": {"bar": 100}}', 400),
    "an answer that is a record": (b'{"answers": {"bar": {"length": 1}}}', 400),
    "an answer that is null": (b'{"answers": {"bar": null}}', 400),
    "a hole that is a number": (b'{"answers": {"hole": [1]}}', 400),
    "larger than any form": (b'{"answers": "' + b"x" * 1_100_000 + b'"}', 413),
}


@pytest.mark.parametrize("place", ["/api/plans", "/api/look"])
@pytest.mark.parametrize(("body", "status"), BODIES.values(), ids=BODIES)
def test_a_body_that_is_no_form_is_refused_and_said_why(ours, place: str, body: bytes, status: int):
    answer = ours.send(place, body)
    assert answer.status == status
    error = answer.tree["error"]
    assert error["slug"] in ("page-json", "page-answers", "page-too-large")
    assert error["message"]
    assert error["hint"]
    assert ours.work.done == []


def test_a_body_is_counted_as_it_comes_in_whatever_its_length_is_said_to_be(ours):
    answer = ours.send("/api/plans", (b" " * 100_000 for _ in range(20)), content_length="10")
    assert answer.status == 413


def test_a_body_that_breaks_off_is_no_form(ours):
    answer = ours.send("/api/plans", b'{"answers": {}}', cut_off=True)
    assert (answer.status, answer.slug) == (400, "page-cut-off")


def test_mistakes_stand_beside_the_fields_that_made_them(ours):
    answer = ours.post("/api/look", {"answers": bar(bar="90 x 20", target="8 parsecs", tank="1 x 1 x 1 mm")})
    assert answer.status == 422
    fields = {one["field"] for one in answer.tree["error"]["mistakes"]}
    assert {"bar", "target"} <= fields


def test_a_field_that_nobody_knows_is_named(ours):
    answer = ours.post("/api/plans", {"answers": bar(vessel="bucket")})
    assert answer.slug == "job-answer-unknown"
    assert "vessel" in answer.tree["error"]["message"]


def test_an_error_of_the_solver_stands_beside_its_field_too(ours):
    ours.looks.failure = JobError("part-holes-meet", "two holes meet", where="part.holes[0]")
    answer = ours.post("/api/look", {"answers": bar()})
    assert answer.tree["error"] | {"mistakes": 0} == {
        "slug": "part-holes-meet",
        "message": "two holes meet",
        "hint": "",
        "field": "hole",
        "mistakes": 0,
    }


def test_a_look_says_what_is_assumed(ours):
    tree = ours.post("/api/look", {"answers": bar()}).tree
    assert tree["area_mm2"] == 100.0
    assert any("tank" in line for line in tree["assumed"])


def test_a_defect_is_owned_up_to_without_its_innards(ours):
    ours.looks.failure = ZeroDivisionError("secret path /srv/x")
    answer = ours.post("/api/look", {"answers": bar()})
    assert (answer.status, answer.slug) == (500, "page-defect")
    assert b"secret" not in answer.body
    assert answer.headers["x-content-type-options"] == "nosniff"


# plans


def test_a_plan_goes_from_form_to_answer_and_files(ours):
    answer = ours.post("/api/plans", {"answers": bar()})
    assert answer.status == 202
    plan = answer.tree["plan"]
    now = ours.wait(plan)
    assert (now["state"], now["share"], now["error"]) == ("done", 1.0, None)
    view = ours.get(f"/api/plans/{plan}/answer").tree
    assert view["answers"] == bar()
    assert view["kept"] is True
    assert 'length = "90 mm"' in view["text"]
    for name in NAMES:
        file = ours.get(f"/api/plans/{plan}/files/{name}")
        assert file.status == 200
        assert file.headers["content-type"] == FILE_TYPES[name]
        assert file.headers["content-disposition"] == f'attachment; filename="{name}"'
        assert file.body.startswith(b"# A job" if name == "job.toml" else f"{name} of a plan".encode())


def test_files_are_made_once_and_not_before_they_are_asked_for(ours):
    plan = ours.plan()
    assert [task for task, _ in ours.work.done] == ["plan"]
    ours.get(f"/api/plans/{plan}/files/card.pdf")
    ours.get(f"/api/plans/{plan}/files/plan.html")
    assert [task for task, _ in ours.work.done] == ["plan", "files"]


def test_how_far_it_is_is_told_while_it_is_worked_out(ours):
    ours.work.go.clear()
    plan = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
    assert ours.work.begun.wait(5)
    now = ours.get(f"/api/plans/{plan}").tree
    assert (now["state"], now["stage"], now["share"]) == ("solving", "solving", 0.5)
    assert now["left_seconds"] is None
    assert ours.get(f"/api/plans/{plan}/answer").status == 409


def test_one_plan_is_worked_out_at_a_time_and_the_queue_is_bounded(ours):
    ours.work.go.clear()
    first = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
    ours.wait(first, "solving")
    waiting = [ours.post("/api/plans", {"answers": bar()}) for _ in range(MOST_WAITING)]
    assert [answer.status for answer in waiting] == [202] * MOST_WAITING
    refused = ours.post("/api/plans", {"answers": bar()})
    assert (refused.status, refused.slug) == (429, "page-busy")
    places = [ours.get(f"/api/plans/{answer.tree['plan']}").tree["place"] for answer in waiting]
    assert places == list(range(1, MOST_WAITING + 1))
    ours.work.go.set()
    for answer in waiting:
        ours.wait(answer.tree["plan"])
    assert ours.work.most_at_once == 1


def test_a_plan_is_called_off_while_it_runs_and_while_it_waits(ours):
    ours.work.go.clear()
    running = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
    ours.wait(running, "solving")
    assert ours.work.begun.wait(5)
    waiting = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
    assert ours.post(f"/api/plans/{waiting}/cancel").tree["state"] == "cancelled"
    ours.post(f"/api/plans/{running}/cancel")
    assert ours.wait(running)["state"] == "cancelled"
    ours.work.go.set()
    assert ours.wait(ours.post("/api/plans", {"answers": bar()}).tree["plan"])["state"] == "done"
    assert ours.post(f"/api/plans/{running}/cancel").tree["state"] == "cancelled"


def test_a_plan_that_fails_says_so_and_the_next_one_runs(ours):
    ours.work.failure = SolveError("solve-stalled", "the solve stands still", hint="make the panels finer")
    failed = ours.wait(ours.post("/api/plans", {"answers": bar()}).tree["plan"])
    assert failed["state"] == "failed"
    assert failed["error"]["slug"] == "solve-stalled"
    ours.work.failure = RuntimeError("odd")
    assert ours.wait(ours.post("/api/plans", {"answers": bar()}).tree["plan"])["error"]["slug"] == "page-defect"
    ours.work.failure = None
    assert ours.wait(ours.post("/api/plans", {"answers": bar()}).tree["plan"])["state"] == "done"


def test_a_what_if_takes_over_the_answers_that_are_not_changed(ours):
    plan = ours.plan(target="12 um")
    answer = ours.post(f"/api/plans/{plan}/what-if", {"answers": {"current": "0.7 A"}})
    assert answer.status == 200
    assert answer.tree["answers"] == bar(target="12 um", current="0.7 A")
    assert answer.tree["kept"] is True
    assert 'current = "0.7 A"' in answer.tree["text"]
    assert ours.get(f"/api/plans/{plan}/answer").tree["answers"] == bar(target="12 um")


def test_a_what_if_of_a_plan_that_the_solver_has_forgotten_is_planned_again_first(ours):
    plan = ours.plan()
    ours.work.kept.clear()
    assert ours.post(f"/api/plans/{plan}/what-if", {"answers": {"current": "0.7 A"}}).status == 200
    assert [task for task, _ in ours.work.done] == ["plan", "plan", "what-if"]


def test_a_what_if_waits_for_no_plan(ours):
    plan = ours.plan()
    ours.plans.patience = 60.0  # longer than an answer is waited for
    ours.work.go.clear()
    other = ours.post("/api/plans", {"answers": bar()}).tree["plan"]
    ours.wait(other, "solving")
    answer = ours.post(f"/api/plans/{plan}/what-if", {"answers": {"current": "0.7 A"}})
    assert (answer.status, answer.slug) == (429, "page-busy")


def test_ways_of_hanging_are_compared_and_one_that_cannot_be_says_why(ours):
    plan, poses = ours.plan(), ours.get("/api/start").tree["poses"][:3]
    rows = ours.post(f"/api/plans/{plan}/poses", {"poses": poses}).tree["poses"]
    assert [row["pose"] for row in rows] == poses
    assert rows[0]["view"]["answers"]["pose"] == poses[0]
    assert rows[1]["error"]["slug"] == "solve-stalled"


@pytest.mark.parametrize("poses", [None, [], "upright", [1], ["upright"] * 13])
def test_poses_are_a_few_names(ours, poses):
    plan = ours.plan()
    assert ours.post(f"/api/plans/{plan}/poses", {"poses": poses}).slug == "page-answers"


def test_all_plans_are_listed_the_newest_first(ours):
    names = [ours.plan(title=f"link {k}") for k in range(3)]
    tree = ours.get("/api/plans").tree
    assert [row["plan"] for row in tree["plans"]] == names[::-1]
    assert tree["removed"] == 0


# files of parts

UPLOADS = {
    "empty": (b"", {}, 400, "page-file-empty"),
    "of a kind that is not read": (CUBE, {"x_file_name": "part.exe"}, 415, "page-file-kind"),
    "without a name": (CUBE, {"x_file_name": None}, 415, "page-file-kind"),
    "without an ending": (CUBE, {"x_file_name": "part"}, 415, "page-file-kind"),
    "with an ending alone": (CUBE, {"x_file_name": ".off"}, 415, "page-file-kind"),
    "said to be too large": (b"x", {"content_length": "200000001"}, 413, "page-too-large"),
    "said to be larger than any number": (b"x", {"content_length": "9" * 400}, 413, "page-too-large"),
    "too large in one piece": (b"x" * 3001, {}, 413, "page-too-large"),
    "too large in pieces": ([b"x" * 1000] * 4, {"transfer_encoding": "chunked"}, 413, "page-too-large"),
    "larger than it says": ([b"x" * 1000] * 4, {"content_length": "10"}, 413, "page-too-large"),
}


@pytest.mark.parametrize(("body", "headers", "status", "slug"), UPLOADS.values(), ids=UPLOADS)
def test_an_upload_that_is_refused_leaves_nothing(ours, tmp_path, monkeypatch, body, headers, status, slug):
    if "content_length" not in headers or headers["content_length"] == "10":
        monkeypatch.setattr(uploads, "MOST_BYTES", 3000)
    answer = ours.send("/api/files", body, **{"x_file_name": "part.off", **headers})
    assert (answer.status, answer.slug) == (status, slug)
    assert answer.tree["error"]["field"] == "part"
    assert os.listdir(tmp_path / "parts") == []


def test_an_upload_that_breaks_off_leaves_nothing(ours, tmp_path: Path):
    answer = ours.send("/api/files", CUBE, cut_off=True, x_file_name="part.off")
    assert (answer.status, answer.slug) == (400, "page-cut-off")
    assert os.listdir(tmp_path / "parts") == []


def test_an_upload_of_the_largest_size_in_small_pieces_is_whole(ours, tmp_path, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_BYTES", 30_000)
    monkeypatch.setattr(uploads, "PIECE", 700)
    answer = ours.send("/api/files", [b"%05d" % k for k in range(6000)], x_file_name="part.off")
    assert (answer.status, answer.tree["size"]) == (201, 30_000)
    written = (tmp_path / "parts" / f"{answer.tree['file']}.off").read_bytes()
    assert written == b"".join(b"%05d" % k for k in range(6000))


def test_only_so_many_files_are_taken_in_at_a_time(ours):
    desk = next(route.endpoint.__self__ for route in ours.app.app.routes if route.path == "/api/files")
    desk._uploads = MOST_UPLOADS
    answer = ours.send("/api/files", CUBE, x_file_name="part.off")
    assert (answer.status, answer.slug) == (429, "page-busy")
    desk._uploads = 0
    assert ours.send("/api/files", CUBE, x_file_name="part.off").status == 201
    assert desk._uploads == 0


NAMES_SENT = {
    "../../etc/passwd.off": "passwd.off",
    "..\\..\\windows\\win.off": "win.off",
    "C:\\parts\\link.off": "link.off",
    "\\\\server\\share\\link.off": "link.off",
    "/absolute/link.off": "link.off",
    "link\0.off": "link?.off",
    "link\n\x1b[31m.off": "link??[31m.off",
    "‥／‥／link.off": "link.off",
    "link∕of⁄the.off": "the.off",
    "<img src=x onerror=alert(1)>.off": "<img src=x onerror=alert(1)>.off",
    "\u202effo.link.off": "?ffo.link.off",
    "=HYPERLINK(1).off": "=HYPERLINK(1).off",
    "LINK.OFF": "LINK.OFF",
}


@pytest.mark.parametrize(("sent", "shown"), NAMES_SENT.items())
def test_the_name_of_a_file_is_for_show_alone(ours, tmp_path: Path, sent: str, shown: str):
    answer = ours.send("/api/files", CUBE, x_file_name=quote(sent))
    assert answer.status == 201
    assert answer.tree["name"] == shown
    assert sorted(os.listdir(tmp_path / "parts")) == sorted([answer.tree["file"], f"{answer.tree['file']}.off"])


def test_a_very_long_name_is_cut_and_keeps_its_ending(ours):
    answer = ours.send("/api/files", CUBE, x_file_name="x" * 5000 + ".off")
    assert len(answer.tree["name"]) <= 200
    assert answer.tree["name"].endswith(".off")


@pytest.mark.parametrize(
    "part", ["../../etc/passwd.off", "/etc/passwd", NOWHERE, "block.off", f"{NOWHERE}.off", "\0", "."]
)
def test_a_part_is_known_by_its_id_alone(ours, part: str):
    answer = ours.post("/api/look", {"answers": {"part": part, "unit": "mm"}})
    assert (answer.status, answer.slug) == (404, "page-no-file")
    assert answer.tree["error"]["field"] == "part"


def test_a_plan_of_a_file_has_the_users_name_for_it_and_its_own_path_nowhere(ours, tmp_path: Path):
    part = off(ours, 'jetty "east".off')
    answer = ours.post("/api/plans", {"answers": {"part": part, "unit": "mm"}})
    assert answer.status == 202, answer.body
    plan = answer.tree["plan"]
    assert ours.wait(plan)["state"] == "done"
    assert f'mesh = "{part}.off"' in ours.work.done[0][1]
    job = ours.get(f"/api/plans/{plan}/files/job.toml").body.decode()
    assert 'mesh = "jetty \\"east\\".off"' in job
    assert part not in job
    assert 'title = "jetty \\"east\\""' in job


def test_a_file_without_a_unit_is_asked_for_one(ours):
    answer = ours.post("/api/look", {"answers": {"part": off(ours)}})
    assert answer.status == 422
    assert answer.tree["error"]["field"] == "unit"


def test_a_broken_file_is_told_by_the_users_name(ours):
    part = off(ours, "bent.off", b"OFF\n8 12 0\n1 2")
    error = ours.post("/api/look", {"answers": {"part": part, "unit": "mm"}}).tree["error"]
    assert error["field"] == "part"
    assert part not in json.dumps(error)
