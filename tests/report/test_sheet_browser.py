"""The report opened from disk in a real browser: it asks for nothing, and shows the figures of plan.json."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers.browser import FLAGS, Visit, barriers, drawn, hovered, pixels, trace, until
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.report.jsonfile import as_json
from geom.report.sheet import plan_html

pytestmark = pytest.mark.browser
Open = Callable[..., Any]
VIEW = "drawing"


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("report") / "plan.html"
    place.write_text(plan_html(small_plan()), encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    return dict(json.loads(as_json(small_plan())))


@pytest.fixture
def opened(browser: Any, report: Path) -> Iterator[Open]:
    """Open the report in a tab; a complaint in its console, or a question to anywhere, fails the test."""
    visits: list[Visit] = []

    def tab(**options: Any) -> Any:
        visit = Visit(browser, report.as_uri(), **options)
        visits.append(visit)
        visit.page.goto(report.as_uri())
        return visit.page

    yield tab
    for visit in visits:
        visit.close()
        assert visit.asked == [report.as_uri()]


def ready(page: Any) -> Any:
    until(page, "document.documentElement.classList.contains('drawn')")
    drawn(page, VIEW)
    return page


def test_the_colours_are_the_figures_of_the_plan(opened: Open, told: dict[str, Any]) -> None:
    page = ready(opened())
    assert_allclose(trace(page, VIEW, "intensity"), told["faces"]["thickness_um"], rtol=1e-3, atol=0)
    page.get_by_role("radio", name="Current density").check()
    assert_allclose(trace(page, VIEW, "intensity"), told["faces"]["current_density_A_dm2"], rtol=1e-3, atol=0)
    assert page.locator(".legend:visible").inner_text().count("A/dm²") >= 1
    picture = pixels(page, VIEW)
    assert np.mean(np.ptp(picture - picture[0, 0], axis=-1) > 0.05) > 0.05  # the rest is paper


def test_a_place_that_is_pointed_at_tells_its_thickness_its_current_density_and_its_name(
    opened: Open, told: dict[str, Any]
) -> None:
    words = hovered(ready(opened()), VIEW)
    faces = told["faces"]
    known = {
        (f"{thick} µm", f"{dense} A/dm²", faces["features"][which])
        for thick, dense, which in zip(
            faces["thickness_um"], faces["current_density_A_dm2"], faces["feature"], strict=True
        )
    }
    assert any(all(piece in words for piece in one) for one in known), words


def test_both_sides_are_seen_at_once_and_change_places(opened: Open) -> None:
    page = ready(opened())
    words = page.locator(".side-word:visible")
    assert words.all_inner_texts() == ["anode side", "far side"]
    near = np.array(list(page.evaluate("document.getElementById('drawing').layout.scene.camera.eye").values()))
    page.get_by_role("button", name="Far side").click()
    until(page, "document.querySelector('.side-word').textContent === 'far side'")
    far = np.array(list(page.evaluate("document.getElementById('drawing').layout.scene.camera.eye").values()))
    assert near[:2] @ far[:2] < 0


def test_on_paper_stand_still_pictures_and_every_section_whole(opened: Open) -> None:
    page = ready(opened())
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator(f"#{VIEW}").is_hidden()
    assert page.locator(".stills img").first.is_visible()
    assert page.locator("details:not([open])").count() == 0
    assert page.pdf(format="A4")[:5] == b"%PDF-"


def test_without_scripts_the_part_and_all_words_are_there(opened: Open) -> None:
    page = opened(java_script_enabled=False)
    assert page.locator(".stills img").first.is_visible()
    assert page.locator(f"#{VIEW}").is_hidden()
    assert page.locator("h1").inner_text() == small_plan().job.title


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_it_keeps_nobody_out(opened: Open, scheme: str, width: int) -> None:
    page = ready(opened(color_scheme=scheme, viewport={"width": width, "height": 800}))
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert barriers(page) == []


def test_a_link_to_a_folded_section_opens_it(opened: Open) -> None:
    page = ready(opened())
    section = page.locator("#numerical-error details")
    assert section.get_attribute("open") is None
    page.locator("a[href='#numerical-error']").first.click()
    until(page, "document.querySelector('#numerical-error details').open")
