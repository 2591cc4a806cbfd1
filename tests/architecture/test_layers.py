"""The layers of pyproject.toml hold: the contract is a test."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
RUN = "from importlinter.cli import lint_imports_command; lint_imports_command()"


def test_the_layers_contract_holds():
    done = subprocess.run(
        [sys.executable, "-c", RUN, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout
