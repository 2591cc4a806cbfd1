"""The same job gives the same bytes in another process, whatever the seed of Python's hashes."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
MAKE = """
import sys
sys.path.insert(0, "tests")
from helpers.demands import few_panels
from helpers.small_plan import LINK
from geom.job.read import parse_job
from geom.plan import make_plan
from geom.report.content import document
from geom.report.jsonfile import as_json
from geom.report.text import as_text
plan = make_plan(few_panels(parse_job(LINK), 1200))
sys.stdout.reconfigure(encoding="utf-8")
print(as_json(plan), as_text(document(plan)))
"""


def made(seed: str) -> bytes:
    environment = {**os.environ, "PYTHONHASHSEED": seed}
    return subprocess.run(
        [sys.executable, "-c", MAKE], cwd=ROOT, env=environment, capture_output=True, check=True
    ).stdout


def test_two_processes_give_the_same_json_and_text() -> None:
    first, second = made("1"), made("2")
    assert len(first) > 5000
    assert first == second
