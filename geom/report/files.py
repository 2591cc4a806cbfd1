"""The files of a folder of results."""

from geom.plan import Plan
from geom.report.card import card_pdf
from geom.report.csvfile import thickness_csv
from geom.report.figures import features_figure, part_figure, png
from geom.report.folder import RESULTS
from geom.report.jsonfile import as_json
from geom.report.sheet import plan_html
from geom.report.tankfigure import tank_figure
from geom.report.vtu import part_vtu


def result_files(plan: Plan, text: str) -> dict[str, bytes]:
    """Return the content of each result file by name; ``text`` is the plan as text."""
    contents = (
        plan_html(plan).encode(),
        card_pdf(plan),
        as_json(plan).encode(),
        text.encode(),
        png(part_figure(plan)),
        png(features_figure(plan)),
        png(tank_figure(plan)),
        thickness_csv(plan).encode(),
        part_vtu(plan).encode(),
    )
    return dict(zip(RESULTS, contents, strict=True))
