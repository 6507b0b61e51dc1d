"""A JupyterLab server and one notebook open in it, driven as an owner would."""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PRIVATE = (
    "JUPYTER_CONFIG_DIR",
    "JUPYTER_DATA_DIR",
    "JUPYTER_RUNTIME_DIR",
    "IPYTHONDIR",
    "JUPYTERLAB_SETTINGS_DIR",
    "JUPYTERLAB_WORKSPACES_DIR",
)
IDLE = """() => {
  const panel = window.jupyterapp && window.jupyterapp.shell.currentWidget;
  const session = panel && panel.sessionContext;
  const kernel = session && session.session && session.session.kernel;
  return !!(kernel && panel.context.isReady && session.isReady
            && kernel.connectionStatus === 'connected' && kernel.status === 'idle');
}"""
PROMPTS = "[...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].map(e => e.textContent)"
TROUBLE = ", ".join(
    f'.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.{kind}"]' for kind in ("stderr", "error")
)
CLEARED = f"() => {PROMPTS}.every(t => !/\\d/.test(t))"
RAN = f"""() => {{
  const prompts = {PROMPTS};
  if (!prompts.length || prompts.some(t => t.includes('*'))) return false;
  return prompts.every(t => /\\d/.test(t)) || !!document.querySelector('{TROUBLE}');
}}"""


@dataclass(frozen=True)
class Lab:
    """Where the server listens and which folder it shows."""

    url: str
    token: str
    folder: Path

    def ask(self, path: str, method: str = "GET") -> Any:
        """One call to the server; what it answers, read as JSON."""
        head = {"Authorization": f"token {self.token}"}
        request = urllib.request.Request(f"{self.url}/api{path}", headers=head, method=method)
        with urllib.request.urlopen(request, timeout=20) as answer:
            text = answer.read()
        return json.loads(text) if text else None

    def end_kernels(self) -> None:
        """End every kernel: the same path would get the same one in the next test."""
        for session in self.ask("/sessions"):
            self.ask(f"/sessions/{session['id']}", "DELETE")


@contextmanager
def serve(folder: Path) -> Iterator[Lab]:
    """JupyterLab over ``folder/papers`` until the block ends."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    served = Lab(f"http://127.0.0.1:{port}", secrets.token_hex(16), folder / "papers")
    with (folder / "server.log").open("wb") as log:
        command, env = _command(served, port), _surroundings(folder)
        server = subprocess.Popen(command, env=env, stdout=log, stderr=subprocess.STDOUT, cwd=folder)
        try:
            _wait_for(served, server, folder / "server.log")
            yield served
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()


def _surroundings(folder: Path) -> dict[str, str]:
    """Settings of its own, so that nobody's JupyterLab is touched; and no news pop-up."""
    env = dict(os.environ)
    for name in PRIVATE:
        (folder / name.lower()).mkdir()
        env[name] = str(folder / name.lower())
    news = folder / "jupyterlab_settings_dir" / "@jupyterlab" / "apputils-extension"
    news.mkdir(parents=True)
    (news / "notification.jupyterlab-settings").write_text('{"fetchNews": "false", "checkForUpdates": false}')
    return env


def _command(served: Lab, port: int) -> list[str]:
    return [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--expose-app-in-browser"),
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={served.folder}",
        f"--IdentityProvider.token={served.token}",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
        "--KernelManager.transport_encryption=auto",
    ]


def _wait_for(served: Lab, server: subprocess.Popen[bytes], log: Path, seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end and server.poll() is None:
        try:
            served.ask("/status")
            return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError(f"JupyterLab did not start\n{log.read_text(errors='replace')}")


class NotebookPage:
    """One notebook open in the browser."""

    def __init__(self, page: Any, lab: Lab, name: str) -> None:
        self.page = page
        page.goto(f"{lab.url}/lab/workspaces/{name}/tree/notebooks/{name}.ipynb?token={lab.token}&reset")
        page.wait_for_selector(".jp-Notebook .jp-Cell")
        self.wait_idle()

    def wait_idle(self, seconds: float = 60) -> None:
        """The kernel connected and at rest; the page's own mark says so too early."""
        self.page.wait_for_function(IDLE, timeout=seconds * 1000)

    def command(self, name: str) -> None:
        """A command by its id: menus change with version and language; not awaited on purpose."""
        self.page.evaluate("name => { window.jupyterapp.commands.execute(name); }", name)

    def run_all(self, seconds: float = 180) -> list[str]:
        """Run every cell from the top; the errors and warnings shown."""
        self.command("notebook:clear-all-cell-outputs")  # or the old numbers would look like a run
        self.page.wait_for_function(CLEARED)
        self.command("notebook:run-all-cells")
        self.page.wait_for_function(RAN, timeout=seconds * 1000)
        self.wait_idle(seconds)
        shown = self.page.eval_on_selector_all(TROUBLE, "found => found.map(e => e.innerText)")
        return [str(text) for text in shown]

    def cell_number(self, tag: str) -> int:
        """Place of the cell that carries a tag."""
        script = """tag => window.jupyterapp.shell.currentWidget.content.widgets.findIndex(
            cell => (cell.model.getMetadata('tags') || []).includes(tag))"""
        return int(self.page.evaluate(script, tag))

    def show(self, tag: str) -> Any:
        """Scroll the tagged cell into view (JupyterLab draws only what is near) and give its place."""
        number = self.cell_number(tag)
        assert number >= 0, f"no cell tagged {tag}"
        scroll = """n => { const book = window.jupyterapp.shell.currentWidget.content;
            book.activeCellIndex = n; book.scrollToItem(n, 'smart'); }"""
        self.page.evaluate(scroll, number)
        cell = self.page.locator(f'.jp-Notebook .jp-Cell[data-windowed-list-index="{number}"]')
        cell.wait_for(state="visible")
        return cell

    def output(self, tag: str) -> str:
        """What the tagged cell shows below itself."""
        cell = self.show(tag)
        cell.locator(".jp-OutputArea-output").first.wait_for(state="visible")
        return "\n".join(cell.locator(".jp-OutputArea-output").all_inner_texts())

    def retype(self, tag: str, start: str, text: str) -> None:
        """Click at the line that begins with ``start`` and type another in its place."""
        lines = self.show(tag).locator(".cm-line")
        number = next(k for k, old in enumerate(lines.all_inner_texts()) if old.startswith(start))
        lines.nth(number).click()
        for key in ("Home", "Shift+End"):
            self.page.keyboard.press(key)
        self.page.keyboard.type(text)
        self.page.keyboard.press("Escape")
        assert lines.nth(number).inner_text().rstrip() == text
