"""Steady hypothesis runs, and JupyterLab in a real browser for the tests marked ``browser``."""

from __future__ import annotations

import gc
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import lab_page
import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"]

# the same examples each time
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")


# thousands of tests stay in memory: looking through them for what nobody needs takes a tenth of the time of a run
def pytest_collection_finish() -> None:
    gc.freeze()
    gc.set_threshold(20_000)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish() -> None:
    gc.freeze()


@pytest.fixture(scope="session")
def quotes_answer() -> Any:
    """The demo's quotes compared, worked out once; what lies around the basket is shared, too."""
    import repairecon

    return repairecon.compare_quotes(repairecon.read_case(ROOT / "data" / "engine_service"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A headless Chromium; without one, or without its driver, the test is skipped."""
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        pytest.skip("no chromium on this machine")
    driver = pytest.importorskip("playwright.sync_api", reason="the extra 'browser' is not installed")
    with driver.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, headless=True, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def lab(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[lab_page.Lab]:
    """JupyterLab on this machine only, over a copy of the notebooks and the demo data."""
    assert chromium is not None  # asked for first: without it no server is started
    folder = tmp_path_factory.mktemp("lab")
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, folder / "papers" / name)
    with lab_page.serve(folder) as served:
        yield served


@pytest.fixture
def open_notebook(chromium: Any, lab: lab_page.Lab) -> Iterator[Callable[[str], lab_page.NotebookPage]]:
    """A function that opens a notebook of the copy by name; its kernel ends with the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 1000})
    context.set_default_timeout(60_000)
    page = context.new_page()
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    yield lambda name: lab_page.NotebookPage(page, lab, name)
    context.close()
    lab.end_kernels()
    assert not broken, broken
