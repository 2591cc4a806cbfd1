"""``pytest --write-validation`` writes the tables of docs/validation.md; a plain run compares with them."""

import shutil
import signal
from typing import Any

import pytest
from helpers import timing, validation

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-validation",
        action="store_true",
        help="write the figures that the tests record into docs/validation.md instead of comparing them",
    )
    parser.addoption("--write-speed", action="store_true", help="write the times of `-m benchmark` into docs/speed.md")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "browser: drives a real Chromium; skipped where there is none")
    if config.getoption("--write-validation"):
        validation.begin_writing()
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        # a shell that starts us in the background leaves Ctrl-C ignored, in every child too
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """What is measured or written is done in one process, whatever pyproject.toml asks for."""
    alone = any(config.getoption(name) for name in ("--write-validation", "--write-speed"))
    if alone or config.getoption("markexpr") == "benchmark":
        config.option.numprocesses, config.option.dist, config.option.tx = 0, "no", []


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any, error: object) -> None:
    """Take over from a process of its own which rows of docs/validation.md its tests recorded."""
    validation.also_seen(getattr(node, "workeroutput", {}).get("rows", ()))


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the path of this machine's Chromium."""
    found = [path for name in BROWSERS if (path := shutil.which(name))]
    if not found:
        pytest.skip(f"no Chromium is installed here ({', '.join(BROWSERS)})")
    return found[0]


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["rows"] = validation.seen()
        return
    if exitstatus != 0:
        return
    if session.config.getoption("--write-speed"):
        timing.write()
    whole = _whole(session)
    if session.config.getoption("--write-validation"):
        validation.write(whole=whole)
    elif whole and validation.stale():
        left = "\n".join(validation.stale())
        session.exitstatus = 1
        raise pytest.UsageError(f"rows of docs/validation.md that no test records any more:\n{left}")


def _whole(session: pytest.Session) -> bool:
    """All tests were asked for, and none was left out for want of files."""
    config = session.config
    asked = config.args_source == pytest.Config.ArgsSource.TESTPATHS and not config.getoption("keyword")
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    return asked and reporter is not None and not reporter.stats.get("skipped")
