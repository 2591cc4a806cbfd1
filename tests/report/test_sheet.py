"""The report as one file: it holds what the other renderers hold, loads nothing, and its pictures are to scale."""

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose
from shapely.geometry import Polygon

from geom.cell.cell import BoxTank, SheetAnode
from geom.plan import Plan
from geom.report.content import document
from geom.report.scene import scene_of
from geom.report.sheet import plan_html
from geom.report.sheet.charts import histogram_of
from geom.report.sheet.cuts import cuts_of
from geom.report.sheet.page import ABOVE

MOST_BYTES = 8_000_000
NAMESPACE = "http://www.w3.org/2000/svg"


class Read(HTMLParser):
    """Tags with their attributes, and the text outside scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {key: value or "" for key, value in attrs}))
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.open):
            self.words.append(data)

    def all(self, tag: str, of: str | None = None) -> list[dict[str, str]]:
        """The attributes of every such element, of a class."""
        return [a for name, a in self.tags if name == tag and (of is None or of in a.get("class", "").split())]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def html() -> str:
    return plan_html(small_plan())


@pytest.fixture(scope="module")
def read(html: str) -> Read:
    return Read(html)


def squeezed(words: str) -> str:
    return " ".join(words.split())


def test_it_is_small_enough_to_be_sent(html: str) -> None:
    assert 100_000 < len(html.encode()) < MOST_BYTES


def test_nothing_in_it_is_loaded_from_anywhere(read: Read) -> None:
    """Scripts and styles stand in it, pictures are data, links lead within it; and its policy lets nothing else in."""
    assert all("src" not in a for a in read.all("script"))
    assert read.all("link") == read.all("iframe") == read.all("object") == read.all("form") == []
    assert all(a["src"].startswith("data:image/png;base64,") for a in read.all("img"))
    assert all(a["href"].startswith("#") for a in read.all("a"))
    (policy,) = [a["content"] for a in read.all("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")


def test_every_link_in_it_has_its_aim(read: Read) -> None:
    names = {a["id"] for _, a in read.tags if "id" in a}
    aims = {a["href"][1:] for a in read.all("a")}
    assert len(aims) >= 8
    assert aims <= names


@pytest.mark.parametrize("plan", [small_plan, rack_plan])
def test_all_that_the_text_says_stands_in_it(plan: Callable[[], Plan]) -> None:
    """Every heading, every cell of every table, every line of every section: one tree, several renderers."""
    tree, told = document(plan()), Read(plan_html(plan())).text
    sections = [section for section in tree.sections if section.title != ABOVE]
    assert len(sections) > 10
    for section in sections:
        cells = (
            [] if section.table is None else [*section.table.heads, *(c for line in section.table.lines for c in line)]
        )
        rows = [words for row in section.rows for words in (row.label, row.value, row.origin)]
        missing = [words for words in (section.title, *section.sentences, *cells, *rows) if squeezed(words) not in told]
        assert missing == []


def test_what_to_see_to_stands_with_the_answer(read: Read) -> None:
    (section,) = [section for section in document(small_plan()).sections if section.title == ABOVE]
    told = read.text[: read.text.index("The part ")].lower()
    assert section.sentences
    assert all(squeezed(words.partition(": ")[2]).lower() in told for words in section.sentences)


def test_no_word_of_a_job_becomes_markup() -> None:
    evil = "</script></title><img src=x onerror=alert(1)><!--"
    plan = small_plan()
    text = plan_html(replace(plan, job=replace(plan.job, title=evil)))
    read = Read(text)
    assert squeezed(evil) in read.text
    assert all(a.get("src", "").startswith("data:") for a in read.all("img"))
    assert len(read.all("script")) == len(Read(plan_html(plan)).all("script"))


def test_the_bars_of_the_histogram_hold_all_the_area_and_its_mean() -> None:
    """The mean of the bars, each at its middle, is the mean of the deposit to half a bar; 1 of area is in them."""
    plan = small_plan()
    bars, mean = histogram_of(plan)
    assert_allclose(sum(share for *_, share in bars), 1.0, rtol=1e-12, atol=0)
    assert_allclose(mean, plan.thickness["mean"] * 1e6, rtol=1e-3, atol=0)
    half = (bars[0][1] - bars[0][0]) / 2
    middle = sum(0.5 * (low + high) * share for low, high, share in bars[:-1]) + bars[-1][2] * bars[-1][0]
    assert mean - half < middle < mean + half


def test_the_faces_carry_the_figures_of_the_plan() -> None:
    """Thickness by area and charge by area add up to the mean thickness and the current to set."""
    plan = small_plan()
    scene = scene_of(plan)
    areas, values = plan.fields[0].areas, scene["values"]
    plated = [k for k, bare in enumerate(scene["part"]["bare"]) if not bare]
    thick = np.array([values["thickness_um"][k] for k in plated])
    dense = np.array([values["current_density_A_per_dm2"][k] for k in plated])
    assert_allclose(thick @ areas / areas.sum(), plan.thickness["mean"] * 1e6, rtol=1e-3, atol=0)
    assert_allclose(dense @ areas * 100, plan.current, rtol=1e-3, atol=0)


def test_the_stretches_of_the_time_line_are_as_long_as_the_stages(read: Read) -> None:
    plan = small_plan()
    stages = [float(a["width"].rstrip("%")) for a in read.all("rect", "stage")]
    times = [stage.time for stage in plan.deposit.stages]
    assert len(stages) == len(times) == 2
    assert_allclose(np.array(stages) / 100, np.array(times) / sum(times), rtol=0.02, atol=0)
    assert_allclose(sum(stages), 100, rtol=1e-3, atol=0)


def test_the_limit_that_binds_has_the_shortest_bar_and_reaches_the_line_of_the_current(html: str) -> None:
    chart = html.split("How much current each allows")[0].rsplit('class="bars"', 1)[1]
    lengths = [float(v) for v in re.findall(r'<rect x="0" y="2" width="([\d.]+)%"', chart)]
    marks = {float(v) for v in re.findall(r'<line x1="([\d.]+)%"[^>]*class="mark set"', chart)}
    first = re.search(r'class="bar( binds)?"', chart)
    assert first is not None
    assert first.group(1)
    assert lengths == sorted(lengths)
    assert_allclose(lengths[0], marks.pop(), rtol=1e-3, atol=0)
    assert not marks


def test_a_cut_through_a_bore_shows_the_metal_on_both_sides_of_it() -> None:
    """Of a bar 20 mm wide and 3 mm thick with bores of 8 and 6 mm: by hand (20 - 8) x 3 = 36 and (20 - 6) x 3 = 42 mm²."""
    found = {cut.name: sum(Polygon(loop).area for loop in cut.loops) * 1e6 for cut in cuts_of(small_plan())}
    areas = sorted(found.values())
    assert len(areas) == 2
    assert_allclose(areas, [36.0, 42.0], rtol=0.01, atol=0)  # the bore is a polygon, and the plane just beside its axis


def test_the_tank_from_above_is_to_scale(html: str) -> None:
    """The path of the anode is as long and as far from that of the part as the job has them, in mm."""
    plan: Plan = small_plan()
    drawing = html.split('class="chart tank"')[1].split("</svg>")[0]
    (anode,) = plan.cell.anodes
    assert isinstance(anode, SheetAnode)
    assert isinstance(plan.cell.tank, BoxTank)
    boxes = {}
    for kind in ("anode-body", "part-body", "liquid"):
        (path,) = re.findall(rf'<path d="([^"]+)"[^>]*class="{kind}"', drawing)
        points = np.array(re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path), dtype=float)
        boxes[kind] = points.min(axis=0), points.max(axis=0)
    size = {kind: high - low for kind, (low, high) in boxes.items()}
    assert_allclose(size["liquid"], [plan.cell.tank.length * 1e3, plan.cell.tank.width * 1e3], rtol=1e-3, atol=0)
    assert_allclose(size["anode-body"], [anode.length * 1e3, anode.width * 1e3], rtol=1e-3, atol=0)
    hung = plan.fields[0].panels.hung.bounds * 1e3
    assert_allclose(boxes["part-body"][0][0], hung[0, 0], rtol=0, atol=0.02)
    assert_allclose(boxes["part-body"][1][0], hung[1, 0], rtol=0, atol=0.02)


def test_each_figure_carries_where_it_comes_from(html: str) -> None:
    origins = html.split('id="where-the-numbers-come-from"')[1].split("</section>")[0]
    told = Read(origins).text
    assert "assumed" in told
    assert "line 6" in told  # of the job: the width


def test_the_cautions_stand_in_it_with_who_says_so(read: Read) -> None:
    tree = document(small_plan())
    (section,) = [section for section in tree.sections if "aution" in section.title]
    assert squeezed(section.title) in read.text
    assert "NIOSH" in read.text or "OSHA" in read.text or "HSE" in read.text
