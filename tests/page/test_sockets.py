"""Rows S6, S7, S9 and S12 of the reliability bar on real sockets: who reaches the page, and who may keep it busy."""

import contextlib
import os
import resource
import socket
import time
from pathlib import Path

import pytest
from helpers.page_server import Served, answer_on, is_closed, served
from helpers.page_work import CUBE

from geom.cli.page import address_of, door_of
from geom.errors import PageError
from geom.page import server

SHORT = 0.6  # s
CONNECTIONS = 1000


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory):
    short = {"HEAD_TIME": SHORT, "BODY_GRACE": SHORT, "WRITE_TIME": 1.5, "IDLE_TIME": SHORT, "TICK": 0.1}
    with pytest.MonkeyPatch.context() as patched:
        for name, value in short.items():
            patched.setattr(server, name, value)
        with served(tmp_path_factory.mktemp("page")) as made:
            yield made


# S6: where it listens


def test_it_listens_on_this_machine_alone():
    sockets = server.sockets_for(None, 0)
    try:
        addresses = {one.getsockname()[0] for one in sockets}
        assert addresses <= {"127.0.0.1", "::1"}
        assert "127.0.0.1" in addresses
        assert len({one.getsockname()[1] for one in sockets}) == 1
    finally:
        for one in sockets:
            one.close()


def other_addresses() -> list[str]:
    """Return addresses of this machine that others can reach."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(("192.0.2.1", 9))  # sends nothing
        return [asked.getsockname()[0]]
    return []


def test_other_addresses_of_this_machine_are_closed(ours: Served):
    for address in [*other_addresses(), "127.0.0.2"]:
        with pytest.raises(OSError, match=r"."):
            ours.connect(address)


def test_another_address_has_a_key_in_its_link_and_this_machine_has_none():
    door = door_of("192.0.2.7", 8424)
    assert door.is_open
    assert address_of(door, "192.0.2.7") == f"http://192.0.2.7:8424/?key={door.key}"
    for address in (None, "127.0.0.1", "::1"):
        own = door_of(address, 8424)
        assert not own.is_open
        assert own.key not in address_of(own, address)
    assert door_of("0.0.0.0", 8424).is_open
    assert door_of("::", 8424).any_address


@pytest.mark.parametrize("address", ["192.0.2.7", "evil.example", "localhost", "", "127.0.0.1:80", "\0"])
def test_an_address_that_this_machine_has_not_is_refused(address: str):
    with pytest.raises(PageError) as error:
        server.sockets_for(address, 0)
    assert error.value.slug == "page-address"


def test_a_port_that_is_taken_is_told():
    first = server.sockets_for(None, 0)
    try:
        with pytest.raises(PageError) as error:
            server.sockets_for(None, first[0].getsockname()[1])
        assert error.value.slug == "page-port-taken"
    finally:
        for one in first:
            one.close()


# S7: bytes that no client sends

HEADS = {
    "another host": (b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n", b"403"),
    "no host": (b"GET / HTTP/1.1\r\n\r\n", b"400"),
    "no host, of old": (b"GET / HTTP/1.0\r\n\r\n", b"403"),
    "two hosts": (b"GET / HTTP/1.1\r\nHost: localhost:PORT\r\nHost: evil.example\r\n\r\n", b"400"),
    "a whole address as the target": (b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n", b"403"),
    "a tunnel": (b"CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example\r\n\r\n", b"403"),
    "no HTTP": (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", b"400"),
    "a head without end": (b"GET / HTTP/1.1\r\nHost: localhost:PORT\r\nX: " + b"x" * 40_000, b"4"),
    "an upgrade": (
        b"GET /api/plans HTTP/1.1\r\nHost: localhost:PORT\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n",
        b"403",
    ),
}


@pytest.mark.parametrize(("data", "status"), HEADS.values(), ids=HEADS)
def test_odd_heads_are_refused(ours: Served, data: bytes, status: bytes):
    answer = ours.ask(data.replace(b"PORT", str(ours.port).encode()))
    assert answer[9:].startswith(status), answer[:200]
    assert ours.page.door.token.encode() not in answer


def test_the_right_host_is_let_in_on_both_kinds_of_address(ours: Served):
    for address, host in (("127.0.0.1", "127.0.0.1"), ("::1", "[::1]")):
        with contextlib.suppress(OSError), ours.connect(address) as connection:
            connection.sendall(f"GET / HTTP/1.1\r\nHost: {host}:{ours.port}\r\n\r\n".encode())
            assert answer_on(connection).startswith(b"HTTP/1.1 200")


# S9: lengths that lie, on the wire


def parts(ours: Served) -> list[str]:
    return [name for name in os.listdir(ours.page.store.parts_folder) if name.endswith(".part")]


def test_a_chunked_upload_is_taken_whole(ours: Served):
    head = ours.head("POST", "/api/files", "X-File-Name: link.off", "Transfer-Encoding: chunked")
    chunks = b"".join(b"%x\r\n%s\r\n" % (len(piece), piece) for piece in (CUBE[:50], CUBE[50:]))
    answer = ours.ask(head + chunks + b"0\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 201")
    assert b'"size":%d' % len(CUBE) in answer


def test_an_upload_shorter_than_it_says_leaves_nothing(ours: Served):
    with ours.connect() as connection:
        connection.sendall(ours.head("POST", "/api/files", "X-File-Name: link.off", "Content-Length: 5000") + CUBE)
        connection.shutdown(socket.SHUT_WR)
        assert not answer_on(connection).startswith(b"HTTP/1.1 201")
    deadline = time.monotonic() + 5
    while parts(ours) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert parts(ours) == []


def test_what_follows_an_upload_longer_than_it_says_is_no_part_of_it(ours: Served):
    head = ours.head("POST", "/api/files", "X-File-Name: link.off", "Content-Length: 20")
    answer = ours.ask(head + CUBE)
    assert answer.startswith(b"HTTP/1.1 201")
    assert b'"size":20' in answer


@pytest.mark.parametrize("length", ["-1", "1e3", "0x10", "20, 30", "", "9" * 30])
def test_a_length_that_is_none_is_refused(ours: Served, length: str):
    answer = ours.ask(ours.head("POST", "/api/files", "X-File-Name: link.off", f"Content-Length: {length}") + CUBE)
    assert answer[9:12] in (b"400", b"413"), answer[:100]


def test_a_broken_chunk_ends_the_upload(ours: Served):
    head = ours.head("POST", "/api/files", "X-File-Name: link.off", "Transfer-Encoding: chunked")
    assert not ours.ask(head + b"zz\r\nabc\r\n0\r\n\r\n").startswith(b"HTTP/1.1 201")
    assert ours.is_up()


# S12: slow, silent and many


def test_a_head_that_comes_letter_by_letter_is_given_up(ours: Served):
    with ours.connect() as connection:
        began = time.monotonic()
        with contextlib.suppress(OSError):
            for letter in ours.head("GET", "/api/plans")[:40]:
                connection.sendall(bytes([letter]))
                time.sleep(0.05)
        assert is_closed(connection, 3.0)
        assert time.monotonic() - began < 5
    assert ours.is_up()


def test_a_connection_that_says_nothing_is_given_up(ours: Served):
    with ours.connect() as connection:
        assert is_closed(connection, 3.0)


def test_a_body_that_trickles_is_given_up(ours: Served):
    with ours.connect() as connection:
        connection.sendall(ours.head("POST", "/api/files", "X-File-Name: link.off", "Content-Length: 100000"))
        with contextlib.suppress(OSError):
            for _ in range(30):
                connection.sendall(b"x")
                time.sleep(0.05)
        assert is_closed(connection, 3.0)
    deadline = time.monotonic() + 5
    while parts(ours) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert parts(ours) == []


def test_an_answer_that_nobody_takes_is_given_up(ours: Served):
    with socket.socket() as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
        connection.settimeout(5)
        connection.connect(("127.0.0.1", ours.port))
        connection.sendall(ours.head("GET", "/static/plotly.min.js"))
        time.sleep(3.0)
        got = 0
        with contextlib.suppress(ConnectionError):
            while piece := connection.recv(1 << 20):
                got += len(piece)
        assert got < 4_000_000  # of 4.5 MB
    assert ours.is_up()


def test_an_answer_that_is_taken_slowly_comes_whole(ours: Served):
    with socket.socket() as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 65536)
        connection.settimeout(5)
        connection.connect(("127.0.0.1", ours.port))
        connection.sendall(ours.head("GET", "/static/plotly.min.js"))
        got, began = b"", time.monotonic()
        while time.monotonic() - began < 4 * SHORT:
            got += connection.recv(24_000)
            time.sleep(0.015)
        got += answer_on(connection, got)
    head, _, body = got.partition(b"\r\n\r\n")
    assert f"content-length: {len(body)}".encode() in head


def test_a_slow_answer_is_no_slow_client(ours: Served):
    ours.page.looks.go.clear()
    body = b'{"answers":{"bar":"90 x 20 x 3 mm"}}'
    head = ours.head("POST", "/api/look", "Content-Type: application/json", f"Content-Length: {len(body)}")
    with ours.connect() as connection:
        connection.sendall(head + body)
        time.sleep(3 * SHORT)
        ours.page.looks.go.set()
        assert answer_on(connection).startswith(b"HTTP/1.1 200")


def test_a_look_that_nobody_waits_for_any_more_is_not_made(ours: Served):
    ours.page.looks.go.clear()
    ours.page.looks.begun.clear()
    ours.page.looks.done.clear()
    body = b'{"answers":{"bar":"90 x 20 x 3 mm"}}'
    head = ours.head("POST", "/api/look", "Content-Type: application/json", f"Content-Length: {len(body)}")
    with ours.connect() as first:
        first.sendall(head + body)
        assert ours.page.looks.begun.wait(5)
        for _ in range(3):
            with ours.connect() as other:
                other.sendall(head + body)
                time.sleep(0.1)
        time.sleep(0.2)
        ours.page.looks.go.set()
        assert answer_on(first).startswith(b"HTTP/1.1 200")
    time.sleep(0.2)
    assert len(ours.page.looks.done) == 1


def test_it_answers_between_a_thousand_connections_that_say_nothing(ours: Served):
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = 2 * CONNECTIONS + 500
    if hard != resource.RLIM_INFINITY and hard < wanted:
        pytest.skip("this system does not give a process so many files")
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, wanted), hard))
    held: list[socket.socket] = []
    try:
        for k in range(CONNECTIONS):
            held.append(ours.connect())
            with contextlib.suppress(OSError):
                held[-1].sendall(b"GET / HTTP/1.1\r\n")
            if k % 250 == 249:
                began = time.monotonic()
                assert ours.is_up()
                assert time.monotonic() - began < 2
        assert sum(not is_closed(one, 0.001) for one in held) <= server.MOST_CONNECTIONS
    finally:
        for one in held:
            one.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    assert ours.is_up()


def test_many_requests_on_one_connection_are_answered_in_turn(ours: Served):
    with ours.connect() as connection:
        for _ in range(30):
            connection.sendall(ours.head("GET", "/api/plans"))
            assert answer_on(connection).startswith(b"HTTP/1.1 200")
            time.sleep(SHORT / 10)


def test_the_page_keeps_no_folder_of_its_own_open_to_others(ours: Served):
    for folder in (ours.page.store.folder, ours.page.store.parts_folder, Path(ours.page.store.folder) / "plans"):
        assert folder.stat().st_mode & 0o077 == 0 or folder == ours.page.store.folder
