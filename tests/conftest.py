"""Shared by all tests: the option for the built wheel, and the settings of property tests."""

from __future__ import annotations

import contextlib
import gc
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import hypothesis
import pytest
from one_first import one_first
from warm_program import WarmProgram

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator

TREE = Path(__file__).resolve().parent.parent

LONGEST = ("test_blind_cases.py", "test_live_input.py", "test_offline.py")
"""Files with a test that takes long, or whose tests wait for sound or a cut line: begun last, they'd leave the processor idle."""

ONE_FIRST = pytest.StashKey[bool]()
"""Whether one test process collects before the others."""

# Seeds: here at random, each run looking elsewhere (pytest-randomly prints the seed at the top, hypothesis a failing
# example and how to run it again); on a CI machine a fixed search, so that a change is judged by the change, and beside
# it `--hypothesis-profile=short` at random. A shared machine makes single examples slow without any fault of the code.
COMMON = hypothesis.settings(deadline=None, print_blob=True)
hypothesis.settings.register_profile("local", COMMON)
hypothesis.settings.register_profile("fixed", COMMON, derandomize=True, database=None)
hypothesis.settings.register_profile("short", COMMON, max_examples=20)
hypothesis.settings.load_profile("fixed" if os.environ.get("CI") else "local")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Offer `--wheel`: also build the wheel, install it into an environment of its own and use it there."""
    parser.addoption("--wheel", action="store_true", help="also build, install and use the wheel (a minute)")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave the wheel's tests out unless they are asked for."""
    if collection_path == TREE / "tests" / "wheel" and not config.getoption("--wheel"):
        return True
    return None


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Tell each test process whether anything is compiled: if nothing is, all would compile the same at the same time."""
    first = not sys.dont_write_bytecode and not any(TREE.glob("tests/*/__pycache__/test_*"))
    node.workerinput["one_first"] = node.config.stash.setdefault(ONE_FIRST, first)


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Generator[None, object, object]:
    """Search for no garbage while modules are imported and tests are collected: nearly all of it stays."""
    gc.disable()
    compiled = not getattr(session.config, "workerinput", {}).get("one_first")
    turn = Path(session.config.option.basetemp or "").parent / "collected"  # beside the folders of all test processes
    with contextlib.nullcontext() if compiled else one_first(turn):
        return (yield)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest, or the other processes would wait for it at the end."""
    items.sort(key=lambda item: item.path.name not in LONGEST)


def pytest_collection_finish() -> None:
    """Take what was imported and collected out of Python's search for garbage: it is there to the end of the run.

    The rest is searched as seldom as the command does it (`gainwright.__main__`): a twentieth of the tests' time otherwise.
    """
    gc.freeze()
    gc.set_threshold(100_000)
    gc.enable()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the tables that tests recorded, so that a run shows them and not only that they passed."""
    for report in terminalreporter.getreports("passed") + terminalreporter.getreports("failed"):
        for name, text in getattr(report, "user_properties", []):
            if name == "table":
                terminalreporter.write_sep("-", report.nodeid)
                terminalreporter.write_line(str(text))


@pytest.fixture(scope="session")
def docs_site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the documentation site of this tree, built (in a third of a second)."""
    from docs_site import build_site

    out = tmp_path_factory.mktemp("docs") / "site"
    build_site(TREE, out, version="0")
    return out


@pytest.fixture(scope="session")
def program() -> Iterator[WarmProgram]:
    """What starts servers and commands in half the time; the sound-library and dropout tests start them as a person does."""
    warm = WarmProgram()
    yield warm
    warm.close()


@pytest.fixture(scope="session")
def tree() -> Path:
    """Return the top folder of the source tree."""
    return TREE
