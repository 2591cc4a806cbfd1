"""A real browser on the real page: what it complains of, what it asks for elsewhere, and what its 3-D views show."""

import io
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from matplotlib.image import imread

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
REFUSED = re.compile(r"Failed to load resource: the server responded with a status of 4\d\d")
SERIOUS = ("serious", "critical")
PATIENCE = 60_000  # ms


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Give the address of ``geom page``, started as a user starts it."""
    with serving(folder) as (address, _):
        yield address


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, int]]:
    """Give the address of ``geom page`` and the number of its process."""
    command = [sys.executable, "-m", "geom", "page", "--no-browser", "--quiet", "--port", "0", "--folder", str(folder)]
    root = Path(__file__).parents[2]
    path = os.pathsep.join(filter(None, [str(root), os.environ.get("PYTHONPATH", "")]))
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=folder, env={**os.environ, "PYTHONPATH": path}
    ) as server:
        try:
            assert server.stdout is not None
            address = os.environ.get("GEOM_TRY") or server.stdout.readline().strip()
            assert address.startswith("http://"), "the page did not start"
            yield address, server.pid
        finally:
            server.terminate()


def children(process: int) -> list[int]:
    """Return the numbers of the processes that one has begun and that still run."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            told = place.read_text()
        except OSError:  # it has just ended
            continue
        state, parent = told.rpartition(")")[2].split()[:2]
        if int(parent) == process and state != "Z":
            found.append(int(place.parent.name))
    return found


class Visit:
    """One tab. ``close`` fails where the console had an error, or anything was asked for elsewhere.

    A refused question is logged by Chromium itself: ``may_refuse`` says that one is meant to be.
    """

    def __init__(self, browser: Any, address: str, **options: Any) -> None:
        self.context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        self.page = self.context.new_page()
        self.page.set_default_timeout(PATIENCE)
        self.address, self.may_refuse = address, False
        self.complaints: list[str] = []
        self.elsewhere: list[str] = []
        self.asked: list[str] = []  # all but what the page carries itself
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.context.on("request", self._asked)

    def _heard(self, message: Any) -> None:
        if message.type == "error" and not (self.may_refuse and REFUSED.match(message.text)):
            self.complaints.append(message.text)

    def _asked(self, request: Any) -> None:
        where = urlsplit(request.url)
        if where.scheme not in ("data", "blob"):
            self.asked.append(request.url)
        if where.scheme not in ("data", "blob") and where.netloc != urlsplit(self.address).netloc:
            self.elsewhere.append(request.url)

    def open(self, place: str = "") -> Any:
        """Load the page; return it."""
        self.page.goto(self.address + place)
        until(self.page, "document.querySelector('main > section:not([hidden])') !== null")
        return self.page

    def close(self) -> None:
        """Close the tab, and fail for what it complained of."""
        self.context.close()
        assert self.complaints == []
        assert self.elsewhere == []


def until(page: Any, truth: str) -> None:
    """Wait until a JavaScript expression is true; the page's own policy keeps the driver's wait for that from working."""
    end = time.monotonic() + PATIENCE / 1000
    while not page.evaluate(f"Boolean({truth})"):
        assert time.monotonic() < end, f"never true: {truth}"
        page.wait_for_timeout(50)


def drawn(page: Any, view: str) -> None:
    """Wait until a 3-D view stands still on the screen."""
    page.locator(f"#{view} canvas").first.wait_for()
    before = b""
    for _ in range(40):
        page.wait_for_timeout(150)
        now = page.locator(f"#{view}").screenshot()
        if now == before:
            return
        before = now
    raise AssertionError(f"{view} does not come to rest")


def pixels(page: Any, view: str) -> Any:
    """Return a 3-D view as it is on the screen, as red, green, blue from 0 to 1."""
    drawn(page, view)
    return imread(io.BytesIO(page.locator(f"#{view}").screenshot()))[..., :3]


def coloured(picture: Any, least: float = 0.35) -> float:
    """Return the share of pixels in strong colours: those of the map or of copper, not of paper, lines and anodes."""
    return float(np.mean(picture.max(axis=-1) - picture.min(axis=-1) > least))


def trace(page: Any, view: str, key: str, place: int = 0) -> Any:
    """Return what the drawing library holds of a body that it shows."""
    return np.array(page.evaluate(f"Array.from(document.getElementById({json.dumps(view)}).data[{place}].{key})"))


def span(page: Any, view: str) -> Any:
    """Return the extent of the first body that is shown along x, y, z [mm]."""
    return np.array([np.ptp(trace(page, view, axis)) for axis in "xyz"])


def hovered(page: Any, view: str) -> str:
    """Point at places of a 3-D view until it says something; return what it says."""
    page.locator(f"#{view}").scroll_into_view_if_needed()
    box = page.locator(f"#{view}").bounding_box()
    for up in (0.5, 0.4, 0.6, 0.3, 0.7):
        for along in np.linspace(0.12, 0.88, 20):
            page.mouse.move(box["x"] + along * box["width"], box["y"] + up * box["height"])
            page.wait_for_timeout(30)
            said = page.locator(f"#{view} .hovertext").first
            if said.count():
                return str(said.text_content())
    raise AssertionError(f"{view} says nothing wherever one points")


def barriers(page: Any) -> list[str]:
    """Return what axe-core finds that keeps people out of the page as it stands."""
    place = os.environ.get("GEOM_AXE", "")
    if not Path(place).is_file():
        pytest.skip("GEOM_AXE does not name axe.min.js of axe-core")
    page.evaluate(Path(place).read_text())
    page.wait_for_timeout(250)  # colours may still be on their way
    found = page.evaluate("axe.run(document)")["violations"]
    return [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found
        if one["impact"] in SERIOUS
        for node in one["nodes"]
    ]
