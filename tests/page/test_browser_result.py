"""What comes after the button Plan, in a real browser: the plan, its map, what if, comparing, growing, taking it along."""

import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers.browser import Visit, barriers, children, drawn, hovered, serving, trace, until
from numpy.testing import assert_allclose

from geom.job.hung import prepared_part
from geom.job.read import read_job

pytestmark = pytest.mark.browser
Open = Callable[..., Visit]
MAP = "map-picture"
LESS_THAN_A_MINUTE = 60.0


class Bench:
    """The page, its process, and one plan that was typed and planned there."""

    def __init__(self, address: str, process: int) -> None:
        self.address, self.process = address, process
        self.plan, self.seconds = "", 0.0


def typed(page: Any, length: str = "60") -> None:
    """Type a bar with two holes, as someone would who reads nothing."""
    drawn(page, "look-picture")
    page.get_by_label("Length mm").first.fill(length)
    page.get_by_label("Hole 1, along").fill("-18")
    page.get_by_label("Hole 2, along").fill("18")


def planning(page: Any) -> None:
    page.locator("#plan-button").click()
    page.locator("#running").wait_for()


@pytest.fixture(scope="module")
def bench(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with serving(tmp_path_factory.mktemp("bench")) as (address, process):
        bench = Bench(address, process)
        began = time.monotonic()
        tab = Visit(browser, address)
        page = tab.open()
        typed(page)
        planning(page)
        page.locator("#result").wait_for()
        drawn(page, MAP)
        bench.seconds = time.monotonic() - began
        bench.plan = page.evaluate("location.hash")
        tab.close()
        yield bench


@pytest.fixture
def visit(browser: Any, bench: Bench) -> Iterator[Open]:
    visits: list[Visit] = []

    def opened(**options: Any) -> Visit:
        visits.append(Visit(browser, bench.address, **options))
        return visits[-1]

    yield opened
    for one in visits:
        one.close()


def at_plan(tab: Visit, bench: Bench) -> Any:
    """Open the plan in a new tab: what a reload does."""
    page = tab.open("#" + bench.plan.lstrip("#") if "?" not in tab.address else "&" + bench.plan)
    page.locator("#result").wait_for()
    drawn(page, MAP)
    return page


def fetched(page: Any, name: str, folder: Path) -> Path:
    """Take one of the files along."""
    with page.expect_download() as given:
        page.locator(f"#downloads a[download='{name}']").click()
    given.value.save_as(folder / name)
    return folder / name


def thickness(page: Any) -> Any:
    return np.array(trace(page, MAP, "intensity"), dtype=float)


def asked(page: Any, deed: Callable[[], Any]) -> dict[str, Any]:
    """Change something of what-if and wait until the map has followed; the server's answer is returned."""
    page.evaluate(f"delete document.getElementById('{MAP}').dataset.whatIfMs")
    with page.expect_response(lambda reply: "what-if" in reply.url) as reply:
        deed()
    until(page, f"document.getElementById('{MAP}').dataset.whatIfMs")
    return dict(reply.value.json())


def test_a_plan_is_reached_in_less_than_a_minute(bench: Bench) -> None:
    """From opening the page to the map of thickness on the screen; typing takes a script no time."""
    assert bench.seconds < LESS_THAN_A_MINUTE


def test_what_is_taken_along_is_the_plan_on_the_screen(visit: Open, bench: Bench, tmp_path: Path) -> None:
    page = at_plan(visit(accept_downloads=True), bench)
    plan = json.loads(fetched(page, "plan.json", tmp_path).read_text())
    assert_allclose(thickness(page), plan["faces"]["thickness_um"], rtol=2e-3, atol=0)
    assert f"{plan['recommendation']['current_A']:.3g} A" in page.locator("#sentences").inner_text()
    job = read_job(fetched(page, "job.toml", tmp_path))
    assert prepared_part(job).title == "bar 60 x 20 x 3 mm, 2 holes"
    assert fetched(page, "card.pdf", tmp_path).read_bytes().startswith(b"%PDF-")
    assert fetched(page, "plan.html", tmp_path).read_text().startswith("<!doctype html>")
    head, *lines = fetched(page, "thickness.csv", tmp_path).read_text().splitlines()
    assert "thickness_um" in head
    assert len(lines) == len(plan["faces"]["thickness_um"])


def test_a_place_that_is_pointed_at_says_what_it_gets(visit: Open, bench: Bench) -> None:
    words = hovered(at_plan(visit(), bench), MAP)
    assert "µm" in words
    assert "A/dm²" in words
    assert any(name in words for name in ("face", "edge", "end", "bore"))


def test_the_map_follows_what_is_changed_and_goes_back(visit: Open, bench: Bench) -> None:
    page = at_plan(visit(), bench)
    planned = thickness(page)
    answer = asked(page, lambda: page.locator("[name='what-target']").fill("16"))
    assert_allclose(thickness(page), answer["scene"]["values"]["thickness_um"], rtol=2e-3, atol=0)
    assert_allclose(thickness(page), 2 * planned, rtol=0.01, atol=0)  # Faraday: at the same current, twice the time
    other = page.locator("[name='what-bath'] option").nth(1).get_attribute("value")
    answer = asked(page, lambda: page.locator("[name='what-bath']").select_option(other))
    assert_allclose(thickness(page), answer["scene"]["values"]["thickness_um"], rtol=2e-3, atol=0)
    assert page.locator("#other-note").is_visible()
    page.locator("#back-to-plan").click()
    until(page, "document.getElementById('other-note').hidden")
    assert_allclose(thickness(page), planned, rtol=1e-9, atol=0)


def test_another_current_and_another_way_of_hanging_are_seen(visit: Open, bench: Bench) -> None:
    page = at_plan(visit(), bench)
    given = float(page.locator("[name='what-current']").input_value())
    answer = asked(page, lambda: page.locator("[name='what-current']").fill(f"{given / 2:.4g}"))
    assert_allclose(answer["numbers"]["current_A"], given / 2, rtol=3e-3, atol=0)
    assert "longer" in page.locator("#what-words").inner_text()
    page.locator("#back-to-plan").click()
    way = page.locator("[name='what-pose'] option").nth(1).get_attribute("value")
    answer = asked(page, lambda: page.locator("[name='what-pose']").select_option(way))
    shown = [v for v in answer["scene"]["values"]["thickness_um"] if v is not None]
    assert_allclose(thickness(page), shown, rtol=2e-3, atol=0)


def test_a_wrong_what_if_is_told_beside_its_field(visit: Open, bench: Bench) -> None:
    page = at_plan(visit(), bench)
    page.locator("[name='what-current']").fill("-2")
    page.locator("#what-fault-current:not([hidden])").wait_for()
    assert page.locator("[name='what-current']").get_attribute("aria-invalid") == "true"


def test_the_deposit_grows_from_nothing_to_that_of_the_plan(visit: Open, bench: Bench) -> None:
    """In proportion to the time within a stage, and all of it at the end."""
    page = at_plan(visit(), bench)
    whole, slide = thickness(page), page.locator("#minute")
    most = float(slide.get_attribute("max"))
    slide.fill("0")
    assert "before the current is on" in page.locator("#minute-now").inner_text()
    assert np.abs(thickness(page)).max() == 0.0
    stages = page.evaluate(
        "Array.from(document.querySelectorAll('#stages li'), (one) => parseFloat(one.style.flexGrow))"
    )
    assert_allclose(sum(stages), most, rtol=1e-6, atol=0)
    first = stages[0]
    seen = []
    for share in (0.25, 0.5):
        slide.fill(str(share * first))
        seen.append(thickness(page))
    assert_allclose(seen[1], 2 * seen[0], rtol=0.01, atol=1e-3)
    slide.fill(str(most))
    assert_allclose(thickness(page), whole, rtol=2e-3, atol=0)


def test_ways_of_hanging_stand_side_by_side(visit: Open, bench: Bench) -> None:
    page = at_plan(visit(), bench)
    boxes = page.locator("#compare-poses input")
    for k in range(boxes.count()):
        boxes.nth(k).set_checked(k < 2)
    page.get_by_role("button", name="Compare", exact=True).click()
    page.locator("#compare-table:not([hidden])").wait_for()
    until(page, "document.querySelectorAll('#compared canvas').length >= 2")
    assert page.locator("#compared .way").count() == 2
    assert page.locator("#compare-table tbody tr").count() == 2
    assert page.locator("#compare-table").inner_text().count("soonest") == 1


def test_a_plan_can_be_reached_by_the_keyboard_alone(visit: Open, bench: Bench) -> None:
    page = at_plan(visit(), bench)
    reached = set()
    for _ in range(80):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                "document.activeElement.id || document.activeElement.name || document.activeElement.textContent"
            )
        )
        if "Everything as data" in reached:
            break
    assert {"colour", "play", "minute", "what-current", "what-bath", "compared", "Compare", "Report"} <= reached


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 360)])
def test_the_plan_keeps_nobody_out(visit: Open, bench: Bench, scheme: str, width: int) -> None:
    page = at_plan(visit(color_scheme=scheme, viewport={"width": width, "height": 760}), bench)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert barriers(page) == []


def test_earlier_plans_are_listed_and_open(visit: Open, bench: Bench) -> None:
    page = visit().open("#plans")
    page.locator("#plan-list a").first.wait_for()
    page.locator(f"#plan-list a[href='{bench.plan}']").click()
    page.locator("#result").wait_for()
    assert page.locator("#sentences").inner_text().startswith("Set")


def test_a_plan_is_cancelled_and_another_can_be_made(visit: Open) -> None:
    page = visit().open()
    typed(page, "85")
    planning(page)
    until(page, "document.getElementById('bar').value > 0")
    page.locator("#cancel").click()
    page.locator("#set-up").wait_for()
    assert page.evaluate("document.activeElement.id") == "plan-button"
    assert page.locator(".fault:visible").count() == 0
    assert page.get_by_label("Length mm").first.input_value() == "85"
    planning(page)
    page.locator("#cancel").click()
    page.locator("#set-up").wait_for()


def test_a_worker_that_is_killed_leaves_the_page_alive(visit: Open, bench: Bench) -> None:
    tab = visit()
    page = tab.open()
    typed(page, "85")
    planning(page)
    until(page, "document.getElementById('bar').value > 0")
    for process in children(bench.process):
        os.kill(process, signal.SIGKILL)
    page.locator("#set-up").wait_for()
    page.locator("#fault-form:not([hidden])").wait_for()
    assert len(page.locator("#fault-form").inner_text()) > 20
    again = at_plan(visit(), bench)  # what was planned before is there, and a what-if has a new worker
    answer = asked(again, lambda: again.locator("[name='what-target']").fill("12"))
    assert answer["numbers"]["minutes"] > 0
