"""The one check: ruff, mypy, import-linter, pytest; stops at the first that fails.

``python tests/check.py`` runs all of it; further words go to pytest (``python tests/check.py tests/bem -x``).
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
LINT_IMPORTS = "from importlinter.cli import lint_imports_command; lint_imports_command()"


def steps(extra: list[str]) -> list[tuple[str, list[str]]]:
    """Return each step's name and what Python is asked to run."""
    return [
        ("ruff", ["-m", "ruff", "check", "geom", "tests", "samples"]),
        ("mypy", ["-m", "mypy"]),
        ("lint-imports", ["-c", LINT_IMPORTS]),
        ("pytest", ["-m", "pytest", *extra]),
    ]


def main(extra: list[str]) -> int:
    """Run the steps in turn; return the exit code of the first that fails, else 0."""
    for name, arguments in steps(extra):
        print(f"== {name}", flush=True)
        code = subprocess.run([sys.executable, *arguments], cwd=ROOT, check=False).returncode
        if code != 0:
            print(f"== {name} failed", flush=True)
            return code
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
