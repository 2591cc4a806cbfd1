"""`Desk`: the tasks of the page, as its worker process does them; the last plans are kept with their panels."""

from collections import OrderedDict
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from geom.cell.build import build_cell
from geom.cell.wetted import wetted_areas
from geom.errors import GeomError, PageError
from geom.hanging.hanging import hanging_of
from geom.hanging.words import hanging_findings
from geom.job.hung import prepared_part
from geom.job.job import Job
from geom.job.read import parse_job
from geom.kept import Kept, in_poses, make_kept, what_if
from geom.page.view import plain, rounded, view_of
from geom.part.contacts import contact_findings
from geom.part.part import Part
from geom.report.card import card_pdf
from geom.report.csvfile import thickness_csv
from geom.report.jsonfile import as_json
from geom.report.scene import cell_scene
from geom.report.sheet.page import plan_html

Say = Callable[[str, float], None]

MEMORY = 2 * 2**30  # bytes of operators that are kept
PARTS = 3  # that were looked at last
SQUARE_MILLI = 1e6  # of a square metre


class Shelf:
    """Plans with their panels by name; the ones used last, as many as there is memory for, and always the very last."""

    def __init__(self, memory: int) -> None:
        self.memory = memory
        self._plans: OrderedDict[str, Kept] = OrderedDict()

    def put(self, name: str, kept: Kept) -> None:
        """Lay a plan down; what was not used for the longest makes room."""
        self._plans.pop(name, None)
        self._plans[name] = kept
        self.tidy()

    def get(self, name: str) -> Kept:
        """Return a plan; raises ``work-forgotten``."""
        if name not in self._plans:
            text = "the panels of this plan are not kept any more"
            raise PageError("work-forgotten", text, hint="plan it again", status=409)
        self._plans.move_to_end(name)
        return self._plans[name]

    def tidy(self) -> None:
        """Make room: poses that were asked for meanwhile take some too."""
        while len(self._plans) > 1 and sum(kept.size for kept in self._plans.values()) > self.memory:
            self._plans.popitem(last=False)

    def __len__(self) -> int:
        return len(self._plans)


class Desk:
    """What `geom.page.work.Work` asks for; ``say`` tells how far it is."""

    def __init__(self, memory: int = MEMORY) -> None:
        self.shelf = Shelf(memory)
        self._parts: OrderedDict[int, tuple[Job, Part]] = OrderedDict()

    def plan(self, name: str, text: str, folder: Path, say: Say) -> dict[str, Any]:
        """Return the view of a new plan, and keep its panels under ``name``."""
        kept = make_kept(_job(text, folder), progress=say)
        self.shelf.put(name, kept)
        return view_of(kept.plan)

    def what_if(self, name: str, text: str, folder: Path, say: Say) -> dict[str, Any]:
        """Return the view of a kept plan under another job with the same part."""
        view = view_of(what_if(self.shelf.get(name), _job(text, folder)))
        self.shelf.tidy()
        return view

    def poses(self, name: str, texts: Sequence[str], folder: Path, say: Say) -> list[dict[str, Any] | GeomError]:
        """Return a view, or what is wrong, for each of several jobs with the same part."""
        kept = self.shelf.get(name)
        found: list[dict[str, Any] | GeomError] = []
        for number, text in enumerate(texts):
            say(f"pose {number + 1} of {len(texts)}", number / len(texts))
            try:
                (plan,) = in_poses(kept, [_job(text, folder)])
            except GeomError as error:
                found.append(error)
                continue
            found.append(plan if isinstance(plan, GeomError) else view_of(plan))
        self.shelf.tidy()
        return found

    def look(self, text: str, folder: Path, say: Say) -> dict[str, Any]:
        """Return the part in its tank with its wetted area, features and what is odd about it, without a solve."""
        job = _job(text, folder)
        part = self._part(job)
        cell = build_cell(
            part,
            job.bath,
            tank=job.tank,
            anodes=job.anodes,
            pose=job.pose,
            rack=job.rack,
            shields=job.shields,
            thieves=job.thieves,
        )
        part, wetted = cell.part, wetted_areas(cell)
        wet = [(one.name, float(area)) for one, area in zip(part.features, wetted, strict=True) if one.is_plated]
        found = (
            *job.findings,
            *part.findings,
            *cell.findings,
            *contact_findings(part.features, wetted),
            *hanging_findings(hanging_of(cell), part.area_of_each),
        )
        seen = {
            "area_mm2": rounded(SQUARE_MILLI * sum(area for _, area in wet), 4),
            "features": [{"name": name, "area_mm2": rounded(SQUARE_MILLI * area, 4)} for name, area in wet],
            "notes": [{"severity": str(one.severity), "slug": one.code, "message": one.message} for one in found],
        }
        return {**plain(seen), "scene": cell_scene(cell)}

    def files(self, name: str, say: Say) -> dict[str, bytes]:
        """Return the result files of a kept plan by name."""
        plan = self.shelf.get(name).plan
        return {
            "plan.html": plan_html(plan).encode(),
            "card.pdf": card_pdf(plan),
            "thickness.csv": thickness_csv(plan).encode(),
            "plan.json": as_json(plan).encode(),
        }

    def _part(self, job: Job) -> Part:
        """Return the part of a job, made anew only if it is another one than those looked at last."""
        words = (job.shape, job.masks, job.threads, job.roughness)
        for key, (old, part) in self._parts.items():
            if (old.shape, old.masks, old.threads, old.roughness) == words:
                self._parts.move_to_end(key)
                return part
        part = prepared_part(job)
        self._parts[max(self._parts, default=0) + 1] = (job, part)
        while len(self._parts) > PARTS:
            self._parts.popitem(last=False)
        return part


def _job(text: str, folder: Path) -> Job:
    """Return the job in a text; its paths start at the folder."""
    return parse_job(text, path=folder / "job.toml")
