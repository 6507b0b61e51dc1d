"""What-if as an owner meets it: served on this machine, moved by mouse and keyboard, nothing fetched from elsewhere."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[1]


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Where the alternator is served."""
    pytest.importorskip("voila", reason="the extra 'browser' is not installed")
    shutil.copytree(ROOT / "data" / "alternator", tmp_path / "case")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = [sys.executable, "-m", "repairecon", "what-if", str(tmp_path / "case"), "--port", str(port), "--no-browser"]
    env = dict(os.environ, PYTHONPATH=os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")])))
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    server = subprocess.Popen(words, env=env, start_new_session=True, **quiet)  # type: ignore[call-overload]
    at = f"http://127.0.0.1:{port}/"
    try:
        until = time.monotonic() + 120
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{at}voila/static/voila.js", timeout=2).close()
                break
            except OSError:
                time.sleep(0.3)
        yield at
    finally:
        os.killpg(server.pid, 15)
        server.wait()


def test_mouse_and_keyboard_move_the_advice(address: str, chromium: Any) -> None:
    page = chromium.new_page(viewport={"width": 1280, "height": 1000})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address, timeout=120_000)
    page.wait_for_selector("text=Move a number", timeout=120_000)
    words = page.locator("[aria-live]")
    before = words.inner_text()
    page.locator(".noUi-handle").first.focus()
    for _ in range(25):
        page.keyboard.press("ArrowRight")
    page.wait_for_function("b => document.querySelector('[aria-live]').innerText != b", arg=before, timeout=60_000)
    assert "With these figures" in words.inner_text()
    page.get_by_role("button", name="Reset").click()
    page.wait_for_function("b => document.querySelector('[aria-live]').innerText == b", arg=before, timeout=60_000)
    page.get_by_role("checkbox").first.click()
    page.wait_for_function("b => document.querySelector('[aria-live]').innerText != b", arg=before, timeout=60_000)
    assert page.locator("img").count() == 2
    assert all(url.startswith((address, "blob:", "data:", address.replace("http", "ws"))) for url in asked)
    page.close()
