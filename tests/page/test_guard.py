"""Rows S7 and S8 of the reliability bar: whose host, whose page, which token."""

from pathlib import Path

import pytest
from helpers.page_work import OWN, PORT, bar, page, pairs

from geom.page.guard import Door


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory):
    with page(tmp_path_factory.mktemp("page")) as made:
        yield made


@pytest.fixture
def opened(tmp_path: Path):
    door = Door(PORT, frozenset({"localhost", "127.0.0.1", "::1", "192.0.2.7"}), is_open=True)
    with page(tmp_path, door) as made:
        yield made


def asked(made, method: str, path: str, headers: list[tuple[bytes, bytes]], kind: str = "http"):
    """Send one request with these headers alone; return status, headers and body."""
    answer = made.client.ask(method, path, headers, b"{}", kind=kind)
    return answer.status, answer.headers, answer.body


OWN_HOSTS = [
    b"localhost:8424",
    b"LOCALHOST:8424",
    b"LocalHost.:8424",
    b"127.0.0.1:8424",
    b"[::1]:8424",
    b"[0:0:0:0:0:0:0:1]:8424",
]
FOREIGN_HOSTS = [
    b"",
    b"localhost",
    b"localhost:",
    b"localhost:80",
    b"localhost:8425",
    b"localhost..:8424",
    b"127.0.0.1.:8424",
    b"127.0.0.2:8424",
    b"127.1:8424",
    b"2130706433:8424",
    b"0x7f.0.0.1:8424",
    b"0.0.0.0:8424",
    b"[::]:8424",
    b"[::ffff:127.0.0.1]:8424",
    b"::1:8424",
    b"[localhost]:8424",
    b"evil.example:8424",
    b"localhost.evil.example:8424",
    b"evil.example@localhost:8424",
    b"localhost:8424, evil.example",
    b"localhost:8424\tevil",
    b"localhost:08424000",
    b"loc\xc3\xa4lhost:8424",
    b"localhost\x00:8424",
]


@pytest.mark.parametrize("host", OWN_HOSTS)
def test_a_name_of_this_machine_is_let_in(ours, host: bytes):
    status, _, body = asked(ours, "GET", "/", [(b"host", host)])
    assert status == 200
    assert b"geom" in body


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
@pytest.mark.parametrize("path", ["/", "/api/start", "/nowhere"])
def test_another_name_is_refused_before_anything_is_routed(ours, host: bytes, path: str):
    status, headers, body = asked(ours, "GET", path, [(b"host", host)])
    assert status == 403
    assert b"page-host" in body
    assert "set-cookie" not in headers
    assert ours.door.token.encode() not in body


def test_a_request_without_a_host_or_with_two_is_refused(ours):
    assert asked(ours, "GET", "/", [])[0] == 403
    twice = [(b"host", b"localhost:8424"), (b"Host", b"evil.example:8424")]
    assert asked(ours, "GET", "/", twice)[0] == 403
    assert asked(ours, "GET", "/", twice[::-1])[0] == 403
    assert asked(ours, "GET", "/", [twice[0], twice[0]])[0] == 403


FORGED = {
    "no origin": {"origin": None},
    "an origin of another site": {"origin": "http://evil.example"},
    "an origin that hides itself": {"origin": "null"},
    "an origin on another port": {"origin": "http://localhost:9999"},
    "an origin by another scheme": {"origin": "https://localhost:8424"},
    "an origin under another of our names": {"origin": "http://127.0.0.1:8424"},
    "an origin with a path": {"origin": f"{OWN}/"},
    "no token": {"x-token": None},
    "another token": {"x-token": "A" * 43},
    "an empty token": {"x-token": ""},
    "a token of odd letters": {"x-token": "tök€n".encode().decode("latin-1")},
    "a browser that says it is cross-site": {"sec-fetch-site": "cross-site"},
    "a browser that says it is of the same site": {"sec-fetch-site": "same-site"},
}


@pytest.mark.parametrize("path", ["/api/plans", "/api/files", "/api/look", "/api/plans/0123456789abcdef/cancel"])
@pytest.mark.parametrize("forged", FORGED.values(), ids=FORGED)
def test_what_changes_something_comes_from_the_page_itself(ours, path: str, forged: dict):
    status, _, body = asked(ours, "POST", path, pairs({**ours.own, **forged}))
    assert status == 403, body
    assert ours.work.done == []
    assert ours.looks.done == []


def test_a_plain_form_of_another_site_is_refused(ours):
    form = {"origin": "http://evil.example", "content_type": "application/x-www-form-urlencoded", "x_token": None}
    assert ours.send("/api/plans", b"answers=x", **form).status == 403


def test_even_our_own_page_sends_json_as_json(ours):
    answer = ours.send("/api/plans", b"{}", content_type="text/plain")
    assert (answer.status, answer.slug) == (415, "page-json")


def test_a_web_socket_is_closed_at_once(ours):
    answer = ours.client.ask("GET", "/api/plans", [(b"host", b"localhost:8424")], kind="websocket")
    assert answer.raw == [{"type": "websocket.close", "code": 1008}]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(ours, method: str):
    status, headers, _ = asked(ours, method, "/api/plans", [(b"host", b"localhost:8424")])
    assert status == 405
    assert not [name for name in headers if name.startswith("access-control")]


def test_nothing_changes_by_get(ours):
    for path in ("/api/look", "/api/files", "/api/plans/0123456789abcdef/cancel"):
        assert ours.get(path).status == 405


@pytest.mark.parametrize("path", ["/", "/static/page.js", "/api/start", "/nowhere", "/api/plans/0123456789abcdef"])
def test_every_answer_has_the_protecting_headers_and_no_door_for_other_sites(ours, path: str):
    headers = ours.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "*" not in policy
    assert "http" not in policy
    assert "data:" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
    assert not [name for name in headers if name.startswith("access-control")]
    assert "server" not in headers


def test_refusals_have_the_protecting_headers_too(ours):
    _, headers, _ = asked(ours, "GET", "/", [(b"host", b"evil.example")])
    assert headers["x-content-type-options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["content-security-policy"]


def test_the_cookie_is_for_this_page_alone_and_no_script_reads_it(ours):
    cookie = asked(ours, "GET", "/", [(b"host", b"localhost:8424")])[1]["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie
    assert "Domain" not in cookie


def test_what_the_page_knows_is_read_with_its_cookie_or_by_its_own_script(ours):
    bare = [(b"host", b"localhost:8424")]
    assert asked(ours, "GET", "/api/plans", bare)[0] == 403
    cookie = asked(ours, "GET", "/", bare)[1]["set-cookie"].split(";")[0].encode()
    assert asked(ours, "GET", "/api/plans", [*bare, (b"cookie", cookie)])[0] == 200
    assert asked(ours, "GET", "/api/plans", [*bare, (b"cookie", cookie[:-1] + b"!")])[0] == 403
    assert asked(ours, "GET", "/api/plans", [*bare, (b"cookie", cookie), (b"sec-fetch-site", b"cross-site")])[0] == 403


def test_a_link_from_elsewhere_may_open_the_page_and_nothing_else(ours):
    link = {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate", "sec_fetch_dest": "document"}
    assert ours.get("/", **link).status == 200
    assert ours.get("/", **{**link, "sec_fetch_dest": "iframe"}).status == 403
    assert ours.get("/api/plans", **link).status == 403
    assert ours.get("/static/page.js", **{**link, "sec_fetch_dest": "script"}).status == 403


def test_token_and_key_are_new_with_every_run():
    first, second = Door(PORT), Door(PORT)
    assert len({first.token, second.token, first.key, second.key}) == 4
    assert len(first.token) >= 32


def test_an_open_page_wants_the_key_of_its_address(opened):
    bare = [(b"host", b"192.0.2.7:8424")]
    for path in ("/", "/?key=", f"/?key={'A' * 43}", "/static/page.js", "/api/start"):
        status, _, body = asked(opened, "GET", path, bare)
        assert (status, b"page-key" in body) == (403, True), path
    status, headers, _ = asked(opened, "GET", f"/?key={opened.door.key}", bare)
    assert status == 200
    cookie = (b"cookie", headers["set-cookie"].split(";")[0].encode())
    for path in ("/", "/static/page.js", "/api/start"):
        assert asked(opened, "GET", path, [*bare, cookie])[0] == 200


def test_an_open_page_takes_nothing_without_its_cookie(opened):
    assert opened.post("/api/plans", {"answers": bar()}).status == 403
    cookie = opened.get(f"/?key={opened.door.key}").headers["set-cookie"].split(";")[0]
    assert opened.post("/api/plans", {"answers": bar()}, cookie=cookie).status == 202


def test_a_page_that_is_open_on_every_address_still_wants_a_number():
    door = Door(PORT, any_address=True)
    assert door.own_host("192.0.2.7:8424") == "192.0.2.7"
    assert door.own_host("evil.example:8424") is None
