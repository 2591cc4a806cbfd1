"""``geom page`` as it is begun and ended from a terminal."""

import json
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from geom.cli.page import has_screen


def begun(folder: Path, *more: str) -> subprocess.Popen[str]:
    """Begin a page in a process of its own."""
    command = [sys.executable, "-m", "geom", "page", "--no-browser", "--folder", str(folder), *more]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def got(url: str, **headers: str) -> bytes:
    request = urllib.request.Request(url, headers=headers)
    with urllib.request.urlopen(request, timeout=20) as answer:
        return bytes(answer.read())


def test_it_serves_until_it_is_ended_and_keeps_its_folder_to_itself(tmp_path: Path):
    first = begun(tmp_path / "page", "--port", "0", "--quiet")
    try:
        assert first.stdout is not None
        url = first.stdout.readline().strip()
        assert url.startswith("http://localhost:")
        assert b"<html" in got(url)
        plans = json.loads(got(f"{url}api/plans", **{"Sec-Fetch-Site": "same-origin"}))
        assert plans["plans"] == []
        second = begun(tmp_path / "page", "--port", "0")
        assert second.communicate(timeout=30)[1].startswith("error: page-folder-taken")
        assert second.returncode == 2
        began = time.monotonic()
        first.send_signal(signal.SIGINT)
        out, err = first.communicate(timeout=20)
        assert (first.returncode, out, err) == (0, "", "")
        assert time.monotonic() - began < 6
        with pytest.raises(urllib.error.URLError):
            got(url)
    finally:
        first.kill()


def test_processes_it_began_end_with_it_however_it_ends(tmp_path: Path):
    page = begun(tmp_path / "page", "--port", "0", "--quiet")
    assert page.stdout is not None
    page.stdout.readline()
    children = Path(f"/proc/{page.pid}/task/{page.pid}/children")
    if not children.exists():
        page.kill()
        pytest.skip("this system does not list the children of a process")
    found = [int(pid) for pid in children.read_text().split()]
    assert len(found) >= 2
    page.kill()
    page.communicate(timeout=20)
    until = time.monotonic() + 10
    while any(is_running(pid) for pid in found) and time.monotonic() < until:
        time.sleep(0.05)
    assert not any(is_running(pid) for pid in found)


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize(
    ("options", "slug"),
    [(["--address", "evil.example"], "page-address"), (["--address", "192.0.2.7"], "page-address")],
)
def test_what_cannot_be_served_is_told(tmp_path: Path, options: list[str], slug: str):
    page = begun(tmp_path / "page", *options)
    err = page.communicate(timeout=30)[1]
    assert page.returncode == 2
    assert err.startswith(f"error: {slug}")


def test_a_browser_is_opened_only_where_there_is_a_screen(monkeypatch: pytest.MonkeyPatch):
    if sys.platform in ("win32", "darwin"):
        pytest.skip("there is always one")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    assert not has_screen()
    monkeypatch.setenv("DISPLAY", ":0")
    assert has_screen()
    assert os.environ["DISPLAY"] == ":0"
