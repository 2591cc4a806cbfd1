"""One page for all tests with a browser, started as a user starts it, and one browser for each file of tests."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from helpers.browser import FLAGS, Visit, served


@pytest.fixture(scope="session")
def page_address(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("page")) as address:
        yield address


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    # not of the session: while it is open no other test of this process can run a loop of its own
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield opened
        opened.close()


@pytest.fixture
def visit(browser: Any, page_address: str) -> Iterator[Callable[..., Visit]]:
    """Open a tab; whatever it complained of fails the test."""
    visits: list[Visit] = []

    def opened(**options: Any) -> Visit:
        visits.append(Visit(browser, page_address, **options))
        return visits[-1]

    yield opened
    for one in visits:
        one.close()


@pytest.fixture(scope="session")
def clamp() -> Path:
    return Path(__file__).parents[2] / "samples" / "clamp" / "clamp.stl"
