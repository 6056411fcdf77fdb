"""Open notebooks in a real JupyterLab with headless Chromium, use them, and take pictures.

As a library:

    with Workplace("lessons") as workplace:
        with workplace.open("04_the_pair_at_work.ipynb", theme="dark") as notebook:
            notebook.run_all()
            notebook.fault("KF1 controller 1: no power")
            notebook.wait_for_text("KF2 leads alone")
            assert not notebook.errors() and not notebook.console

As a command (pictures of a lesson as a reader sees it, one screen after the other):

    python -m tests.browser lessons/04_the_pair_at_work.ipynb --theme dark --out /tmp/pictures
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from lessons.desk.lab import lab_arguments, lab_environment

__all__ = ["CellError", "Notebook", "Workplace", "chromium", "find_browser"]

ROOT = Path(__file__).resolve().parent.parent
TOKEN = "workbook-tests"
# A busy machine may take this long over a step; one that is right ends its wait at once.
WAIT_S = 30.0
THEMES = {"light": "JupyterLab Light", "dark": "JupyterLab Dark"}

# Without these Chromium talks to its maker at every start.
QUIET = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
)

# What JupyterLab itself logs as an error in every notebook, whatever the lesson does.
NOT_OURS: tuple[re.Pattern[str], ...] = ()

_BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome-stable",
    "google-chrome",
    "microsoft-edge-stable",
    "msedge",
    "chrome",
)
_BROWSER_FILES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)


def find_browser() -> str | None:
    """Return the path of a Chromium on this machine, or None; WORKBOOK_BROWSER names another."""
    named = os.environ.get("WORKBOOK_BROWSER")
    if named:
        return named
    on_path = filter(None, map(shutil.which, _BROWSERS))
    in_place = (file for file in _BROWSER_FILES if Path(file).exists())
    return next(on_path, None) or next(in_place, None)


@dataclass(frozen=True)
class CellError:
    """An error output of a cell: the cell's number from 0, the error's name and what it says."""

    cell: int
    name: str
    value: str


def free_port() -> int:
    """Return a free port below those that the system hands out to whoever asks for any.

    One of these could be a kernel's, started beside us, before the server that is to have it listens.
    """
    for port in range(20_000 + os.getpid() % 10_000, 32_768):
        with socket.socket() as free, suppress(OSError):
            free.bind(("127.0.0.1", port))
            return port
    raise RuntimeError("no port is free")


_shared: list = []


@contextmanager
def chromium() -> Iterator:
    """Start a Chromium, or share the one that this process has: its driver allows no second."""
    if _shared:
        yield _shared[0]
        return
    executable = find_browser()
    if executable is None:
        raise RuntimeError("no Chromium found: install one or set WORKBOOK_BROWSER to its path")
    from playwright.sync_api import sync_playwright

    arguments = list(QUIET)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--no-sandbox")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=arguments)
        _shared.append(browser)
        try:
            yield browser
        finally:
            _shared.clear()
            browser.close()


class Workplace:
    """A JupyterLab on copies of notebooks in a temporary folder, and a browser beside it.

    Parameters
    ----------
    source : path
        A notebook, or a folder whose files are copied. The originals are never written.
    """

    def __init__(self, source: str | os.PathLike[str]):
        self.source = Path(source).resolve()
        # One window for each zoom, kept: loading JupyterLab takes longer than many a test.
        self._windows: dict[float, object] = {}
        # The notebook that was left last, with its kernel: the next test may go on.
        self._left: Notebook | None = None
        self._opened = ExitStack()

    def __enter__(self) -> Workplace:
        self._temporary = tempfile.TemporaryDirectory(
            prefix="workbook-", ignore_cleanup_errors=True
        )
        try:
            self._browser = self._opened.enter_context(chromium())
            self._start_lab(Path(self._temporary.name))
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        for page in self._windows.values():
            page.close()
        self._opened.close()
        if getattr(self, "_lab", None):
            self._stop_lab()
        self._temporary.cleanup()

    def _start_lab(self, temporary: Path) -> None:
        self.folder = temporary / "work"
        if self.source.is_dir():
            shutil.copytree(
                self.source,
                self.folder,
                ignore=shutil.ignore_patterns(".ipynb_checkpoints", "__pycache__"),
            )
        else:
            self.folder.mkdir()
            shutil.copy(self.source, self.folder)
        # Cells outside the screen are otherwise not in the page, and their errors not seen; and what
        # was saved after two minutes would stand in the next window that opens the file.
        settings = {"@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
                    "@jupyterlab/docmanager-extension:plugin": {"autosave": False}}
        overrides = temporary / "config" / "labconfig" / "default_setting_overrides.json"
        overrides.parent.mkdir(parents=True)
        overrides.write_text(json.dumps(settings), encoding="utf-8")
        environment = lab_environment() | {
            "IPYTHONDIR": str(temporary / "ipython"),
            "JUPYTER_CONFIG_DIR": str(temporary / "config"),
            "JUPYTER_DATA_DIR": str(temporary / "data"),
            "JUPYTER_RUNTIME_DIR": str(temporary / "runtime"),
            "JUPYTERLAB_SETTINGS_DIR": str(temporary / "settings"),
        }
        port = free_port()
        self.address = f"http://127.0.0.1:{port}"
        arguments = [
            *lab_arguments(self.folder, browser=False, port=port),
            "--ServerApp.ip=127.0.0.1",
            "--ServerApp.port_retries=0",
            f"--IdentityProvider.token={TOKEN}",
            "--LabApp.expose_app_in_browser=True",
        ]
        self._log = temporary / "lab.log"
        with self._log.open("wb") as log:
            self._lab = subprocess.Popen(
                [sys.executable, "-m", "jupyterlab", *arguments],
                env=environment,
                cwd=self.folder,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        deadline = time.monotonic() + 60
        while True:
            try:
                self.ask("/api/status")
                return
            except (urllib.error.URLError, ConnectionError) as problem:
                if self._lab.poll() is not None or time.monotonic() > deadline:
                    raise RuntimeError(f"JupyterLab did not start:\n{self.log()}") from problem
                time.sleep(0.1)

    def ask(self, path: str, *, method: str = "GET") -> bytes:
        """Return what the lab's server answers to a request for `path`."""
        request = urllib.request.Request(
            self.address + path, method=method, headers={"Authorization": f"token {TOKEN}"}
        )
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.read()

    def log(self) -> str:
        """Return what the lab's server has written so far."""
        return self._log.read_text(encoding="utf-8", errors="replace")

    def _stop_lab(self) -> None:
        try:
            # Asked in this way the server ends its kernels first, on every system.
            self.ask("/api/shutdown", method="POST")
            self._lab.wait(timeout=20)
        except (OSError, subprocess.TimeoutExpired):
            self._lab.terminate()
            try:
                self._lab.wait(timeout=10)
            except subprocess.TimeoutExpired:
                self._lab.kill()
                self._lab.wait()

    def open(
        self,
        name: str,
        *,
        theme: str = "light",
        width: int = 1280,
        height: int = 900,
        zoom: float = 1.0,
        sidebar: bool = True,
    ) -> Notebook:
        """Open a notebook of the folder, alone in its window, and wait for its kernel.

        One that was left there last is taken up again, its outputs cleared: a kernel and a page cost
        seconds. `Notebook.restart_kernel` gives a new kernel.

        Parameters
        ----------
        name : str
            The notebook's path in the folder, with forward slashes.
        theme : {"light", "dark"}
            Theme of JupyterLab.
        width, height : int
            Size of the window in pixels of the screen.
        zoom : float
            Zoom of the browser: 2.0 is 200 %, with half as many pixels of the page on the screen.
        sidebar : bool
            Whether the list of files stays open beside the notebook, as it is at first.
        """
        if zoom not in self._windows:
            self._windows[zoom] = self._browser.new_page(device_scale_factor=zoom)
        page = self._windows[zoom]
        page.set_viewport_size({"width": round(width / zoom), "height": round(height / zoom)})
        try:
            left, self._left = self._left, None
            again = left is not None and (left.page, left.name) == (page, name)
            if left and not again:
                left.throw_away()
            return Notebook(self, page, name, theme=theme, sidebar=sidebar, again=again)
        except BaseException:
            self.forget(page)
            raise

    def leave(self, notebook: Notebook) -> None:
        """Keep a notebook open in its window."""
        self._left = notebook

    def forget(self, page) -> None:
        """Close a window that may be in any state; the next notebook gets a new one."""
        self._windows = {zoom: kept for zoom, kept in self._windows.items() if kept is not page}
        page.close()


class Notebook:
    """A notebook in a browser window; made by `Workplace.open`, left at the end of a `with`.

    It stays in the window until the next one is opened; the window goes with it after an error.

    Attributes
    ----------
    page : playwright Page
        For what this class has no word for.
    console : list of str
        Errors that the page has logged or thrown.
    away : list of str
        Addresses outside this machine that the page asked for.
    """

    def __init__(self, workplace: Workplace, page, name: str, *, theme: str, sidebar: bool,
                 again: bool):
        self.workplace = workplace
        self.page = page
        self.name = name
        self.console: list[str] = []
        self.away: list[str] = []
        self._listeners = {
            "request": self._note_request,
            "console": self._note_message,
            "pageerror": lambda error: self.console.append(f"thrown: {error}"),
        }
        for event, listener in self._listeners.items():
            page.on(event, listener)
        if again:
            self.command("editmenu:clear-all")
        elif page.url == "about:blank":
            page.goto(f"{workplace.address}/lab/tree/{name}?reset&token={TOKEN}")
        else:
            self.command("docmanager:open", path=name)
        self._wait_for_kernel()
        self.set_theme(theme)
        side = "expandLeft" if sidebar else "collapseLeft"
        page.evaluate(f"() => window.jupyterapp.shell.{side}()")

    def __enter__(self) -> Notebook:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        for event, listener in self._listeners.items():
            self.page.remove_listener(event, listener)
        if kind is None:
            self.workplace.leave(self)
        else:
            self.throw_away()
            self.workplace.forget(self.page)

    def throw_away(self) -> None:
        """Close the notebook and end its kernel, which would slow what follows.

        Thrown away, not closed: that would ask whether to save.
        """
        self.page.evaluate(
            """async () => {
                const widget = window.jupyterapp.shell.currentWidget;
                await widget.sessionContext.shutdown();
                widget.dispose();
            }"""
        )

    def _note_request(self, request) -> None:
        if not request.url.startswith((self.workplace.address, "data:", "blob:")):
            self.away.append(request.url)

    def _note_message(self, message) -> None:
        if message.type == "error" and not any(known.search(message.text) for known in NOT_OURS):
            self.console.append(message.text)

    def _wait_for_kernel(self) -> None:
        """Wait for the session's kernel, and count from then on what it was asked.

        The indicator says "idle" before there is a kernel, and also while a question is on its way
        to it; so ask for the session itself, and note each question until its answer was handled.
        """
        self.page.wait_for_function(
            """() => {
                const widget = window.jupyterapp?.shell.currentWidget;
                const kernel = widget?.sessionContext?.session?.kernel;
                if (kernel?.connectionStatus !== 'connected' || !widget.content?.widgets?.length)
                    return false;
                if (kernel.asked) return true;
                kernel.asked = new Set();
                kernel.anyMessage.connect((_, {msg, direction}) => {
                    if (direction === 'send' && msg.channel === 'shell')
                        kernel.asked.add(msg.header.msg_id);
                });
                kernel.iopubMessage.connect((_, msg) => {
                    if (msg.content.execution_state === 'idle')
                        kernel.asked.delete(msg.parent_header.msg_id);
                });
                return true;
            }""",
            timeout=60_000,
        )
        # Widgets are asked of a new kernel first; what a cell made meanwhile could be lost.
        known = self.page.evaluate(
            """async (milliseconds) => {
                const kind = 'application/vnd.jupyter.widget-view+json';
                const { rendermime } = window.jupyterapp.shell.currentWidget.content;
                const end = performance.now() + milliseconds;
                let manager;
                while (performance.now() < end) {
                    if (!manager && rendermime.mimeTypes.includes(kind))
                        manager = await rendermime.createRenderer(kind)._manager.promise;
                    if (manager?.restoredStatus) return true;
                    await new Promise(requestAnimationFrame);
                }
                return false;
            }""",
            60_000,
        )
        if not known:
            raise TimeoutError("the widgets of the kernel are still asked for after 60 s")

    def command(self, name: str, **arguments: object) -> None:
        """Carry out a command of JupyterLab and wait for its end."""
        self.page.evaluate(
            "([name, args]) => window.jupyterapp.commands.execute(name, args).then(() => null)",
            [name, arguments],
        )

    def set_theme(self, theme: str) -> None:
        """Switch to the theme "light" or "dark"."""
        if theme not in THEMES:
            raise ValueError(f"theme must be one of {sorted(THEMES)}, got {theme!r}")
        self.command("apputils:change-theme", theme=THEMES[theme])
        self.page.wait_for_function(
            "light => document.body.dataset.jpThemeLight === light",
            arg=str(theme == "light").lower(),
        )

    def run_all(self, *, timeout_s: float = 120.0) -> None:
        """Clear the stored outputs, run all cells and wait until the last one has ended.

        Raises
        ------
        RuntimeError
            A code cell was not run, as it is after one that failed.
        TimeoutError
            A cell was still running after `timeout_s` seconds.
        """
        self.command("editmenu:clear-all")
        if not self._command_ends("notebook:run-all-cells", timeout_s):
            raise TimeoutError(f"cells still running after {timeout_s:g} s: {self._standing()}")
        not_run = self.page.evaluate(
            """() => window.jupyterapp.shell.currentWidget.content.widgets
                .map((cell, number) => cell.model.type === 'code' && !cell.model.executionCount
                    && cell.model.sharedModel.getSource().trim() ? number : -1)
                .filter(number => number >= 0)"""
        )
        if not_run:
            raise RuntimeError(f"code cells not run: {not_run}; errors: {self.errors()}")

    def run_cell(self, number: int, *, timeout_s: float = 60.0) -> None:
        """Run the cell with this number, counted from 0 over all cells, and wait for its end."""
        self.page.evaluate(
            """number => {
                const notebook = window.jupyterapp.shell.currentWidget.content;
                notebook.deselectAll();
                notebook.activeCellIndex = number;
            }""",
            number,
        )
        if not self._command_ends("notebook:run-cell", timeout_s):
            raise TimeoutError(f"cell {number} still running after {timeout_s:g} s")

    def _standing(self) -> dict[str, object]:
        """Return how kernel and cells stand, for who wonders why something does not end."""
        return self.page.evaluate(
            """() => {
                const { content, sessionContext } = window.jupyterapp.shell.currentWidget;
                const { kernel } = sessionContext.session;
                return {
                    kernel: kernel.status, connection: kernel.connectionStatus,
                    asked: [...kernel.asked],
                    waits: content.widgets.flatMap((cell, number) =>
                        cell.model.type === 'code' && cell.model.executionState === 'running'
                            ? number : []),
                    dialogs: [...document.querySelectorAll('.jp-Dialog')].map(
                        (each) => each.textContent),
                };
            }"""
        )

    def _command_ends(self, name: str, timeout_s: float) -> bool:
        ended = self.page.evaluate(
            """([name, milliseconds]) => Promise.race([
                window.jupyterapp.commands.execute(name).then(() => true),
                new Promise(resolve => setTimeout(resolve, milliseconds, false)),
            ])""",
            [name, 1000 * timeout_s],
        )
        if ended:
            self.rest(timeout_s=timeout_s)
        return ended

    def rest(self, *, timeout_s: float = WAIT_S) -> None:
        """Wait until the kernel has answered all that the page asked, and the page stays as it is.

        A cell ends before its widgets are drawn, and a panel draws anew once it knows its width:
        two frames later a page says what it has to say, and after the answer it looks once more.
        """
        at_rest = self.page.evaluate(
            """async (milliseconds) => {
                const end = performance.now() + milliseconds;
                const {asked} = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
                const frame = () => new Promise(requestAnimationFrame);
                const isDrawn = () => [...document.querySelectorAll(
                    '.jp-OutputArea-output.lm-Panel > *')].every((node) => node.firstElementChild);
                const size = () => document.querySelectorAll('.jp-OutputArea *').length;
                while (performance.now() < end) {
                    const open = asked.size, before = size();
                    await frame();
                    await frame();
                    if (!open && !asked.size && size() === before && isDrawn()) return true;
                }
                return false;
            }""",
            1000 * timeout_s,
        )
        if not at_rest:
            raise TimeoutError(f"page and kernel not at rest within {timeout_s:g} s")

    @contextmanager
    def answers_held(self) -> Iterator[None]:
        """Let no answer of the kernel through until the end: the slowest one that one may meet."""
        socket = "window.jupyterapp.shell.currentWidget.sessionContext.session.kernel._ws"
        self.page.evaluate(f"""() => {{
            const socket = {socket}, hear = socket.onmessage, held = [];
            socket.onmessage = (event) => held.push(event);
            window.letAnswersGo = () => {{ socket.onmessage = hear; held.forEach(hear); }};
        }}""")
        yield
        self.page.evaluate("letAnswersGo()")

    def restart_kernel(self) -> None:
        """Restart the kernel, without a question, and wait for it."""
        self.page.evaluate(
            """async () => {
                const context = window.jupyterapp.shell.currentWidget.sessionContext;
                await context.restartKernel();
                // What the former kernel was asked is answered by nobody.
                context.session.kernel.asked.clear();
            }"""
        )
        self._wait_for_kernel()

    def outputs(self) -> list[list[dict]]:
        """Return the outputs of each cell, read from the notebook and not from the screen."""
        return self.page.evaluate(
            """() => window.jupyterapp.shell.currentWidget.content.widgets
                .map(cell => cell.model.type === 'code' ? cell.model.outputs.toJSON() : [])"""
        )

    def errors(self) -> list[CellError]:
        """Return the error outputs of all cells that were not announced by a tag."""
        expected = self.page.evaluate(
            """() => window.jupyterapp.shell.currentWidget.content.widgets
                .map(cell => (cell.model.getMetadata('tags') ?? []).includes('raises-exception'))"""
        )
        return [
            CellError(number, output["ename"], output["evalue"])
            for number, outputs in enumerate(self.outputs())
            for output in outputs
            if output["output_type"] == "error" and not expected[number]
        ]

    def control(self, label: str, *, nth: int = 0):
        """Return the control that carries a visible label.

        Parameters
        ----------
        label : str
            The whole label as it is read on the screen.
        nth : int
            Which one, from 0, where several carry it, as in two panels of one kind.

        Raises
        ------
        LookupError
            No control that can be seen comes to carry this label.
        """
        panel = self.page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)")
        ways = [*(panel.get_by_role(role, name=label, exact=True)
                  for role in ("checkbox", "switch", "button", "radio", "tab", "option")),
                panel.get_by_label(label, exact=True), panel.get_by_text(label, exact=True)]
        deadline = time.monotonic() + WAIT_S
        while time.monotonic() < deadline:
            for found in ways:
                if found.count() > nth:
                    return found.nth(nth)
            self.page.wait_for_timeout(20)
        raise LookupError(f"no control is labelled {label!r} (number {nth}); there are: "
                          f"{self.labels()}")

    def labels(self) -> list[str]:
        """Return the visible labels of the controls in the outputs, from top to bottom."""
        return self.page.evaluate(
            """() => [...document.querySelectorAll(
                    '.jp-OutputArea button, .jp-OutputArea input, .jp-OutputArea select')]
                .map(node => (node.getAttribute('aria-label') || node.labels?.[0]?.innerText
                    || node.closest('label')?.innerText || node.innerText || '').trim())
                .filter(text => text)"""
        )

    def click(self, label: str, *, nth: int = 0) -> None:
        """Click the control that carries a visible label."""
        self.control(label, nth=nth).click()

    def press_everything(
        self, *, rounds: int = 2, most_of_a_kind: int = 12, pause_ms: int = 5
    ) -> int:
        """Press each button, tick, radio and drop-down in the outputs once.

        Parameters
        ----------
        rounds : int
            The second round presses what the first one has opened.
        most_of_a_kind : int
            Of a long list, such as the faults of a plant, the first ones in each panel.
        pause_ms : int
            Between two of them.

        Returns
        -------
        int
            How many were pressed.
        """
        press = """async ([most, pause]) => {
            const counts = new Map();
            const many = node => {
                const panel = node.closest('.lk-panel, .lkx') || document.body;
                const kinds = counts.get(panel) || counts.set(panel, {}).get(panel);
                const kind = `${node.tagName} ${node.type}`;
                kinds[kind] = (kinds[kind] || 0) + 1;
                return kinds[kind] > most;
            };
            const kinds = ['button', 'select', 'input[type=checkbox]', 'input[type=radio]'];
            const found = [...document.querySelectorAll(
                kinds.map(kind => `.jp-OutputArea ${kind}:not([data-pressed])`).join())];
            let count = 0;
            for (const node of found) {
                if (!node.isConnected || node.disabled || !node.getClientRects().length
                    || many(node)) continue;
                node.dataset.pressed = 'yes';
                if (node.tagName === 'SELECT') {
                    node.selectedIndex = (node.selectedIndex + 1) % node.options.length;
                    node.dispatchEvent(new Event('change', {bubbles: true}));
                } else node.click();
                count += 1;
                await new Promise(done => setTimeout(done, pause));
            }
            return count;
        }"""
        count = 0
        for _ in range(rounds):
            count += self.page.evaluate(press, [most_of_a_kind, pause_ms])
            self.rest(timeout_s=60)
        return count

    def output_text(self) -> str:
        """Return the text of all outputs as a reader sees it."""
        return "\n".join(self.page.locator(".jp-OutputArea-output").all_inner_texts())

    def narrow(self, zoom: float) -> None:
        """Make the page as narrow as a larger zoom does, with the list of files put away."""
        self.page.evaluate(
            "() => { if (!window.jupyterapp.shell.leftCollapsed) "
            "window.jupyterapp.shell.collapseLeft(); }"
        )
        size = self.page.viewport_size
        self.page.set_viewport_size(
            {"width": round(size["width"] / zoom), "height": round(size["height"] / zoom)}
        )
        self.rest()

    def fill(self, label: str, text: str, *, nth: int = 0) -> None:
        """Type a text into the entry that carries a visible label, and press Enter."""
        entry = self.control(label, nth=nth)
        entry.fill(text)
        entry.press("Enter")

    def fault(self, label: str, *, nth: int = 0) -> None:
        """Switch a fault where it happens: click its part in the picture, then its switch there.

        Parameters
        ----------
        label : str
            The name of its switch, which begins with the designation of the part.
        nth : int
            Which panel, from 0.
        """
        panel = self.page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .lk-rig").nth(nth)
        # A place on the part itself: another part may lie on its middle.
        panel.locator(f'[data-part="{label.split()[0].rstrip(":")}"] > :first-child').dispatch_event(
            "click")
        panel.locator(".lk-pop").get_by_label(label, exact=True).click()

    def picture_names(self) -> list[str]:
        """Return what a screen reader calls each picture in the outputs, from top to bottom."""
        return self.page.evaluate(
            """() => [...document.querySelectorAll(
                    '.jp-OutputArea svg:is([role=img], [role=group])')]
                .map(svg => svg.getAttribute('aria-label')
                    || svg.querySelector(':scope > title')?.textContent || '')"""
        )

    def picture_texts(self) -> list[list[str]]:
        """Return the texts and titles in each picture in the outputs."""
        return self.page.evaluate(
            """() => [...document.querySelectorAll(
                    '.jp-OutputArea svg:is([role=img], [role=group])')]
                .map(svg => [...svg.querySelectorAll('text, title')]
                    .map(node => node.textContent.trim()))"""
        )

    def wait_for_name(self, words: str, *, timeout_s: float = WAIT_S) -> str:
        """Wait until the name of a picture holds `words`, and return that name."""
        return self._wait_for(words, self.picture_names, timeout_s)

    def wait_for_text(self, words: str, *, timeout_s: float = WAIT_S) -> str:
        """Wait until a text or title in a picture, or a line in an output, holds `words`."""

        def lines() -> list[str]:
            shown = self.page.evaluate(
                """() => [...document.querySelectorAll('.jp-OutputArea')]
                    .flatMap(node => node.innerText.split('\\n'))"""
            )
            return [*shown, *(text for texts in self.picture_texts() for text in texts)]

        return self._wait_for(words, lines, timeout_s)

    def _wait_for(self, words: str, read, timeout_s: float) -> str:
        deadline = time.monotonic() + timeout_s
        while True:
            texts = read()
            for text in texts:
                if words in text:
                    return text
            if time.monotonic() > deadline:
                raise TimeoutError(f"no {words!r} within {timeout_s:g} s; there are: {texts}")
            self.page.wait_for_timeout(20)

    def wait_until(self, true: Callable[[], bool], *, timeout_s: float = WAIT_S) -> None:
        """Wait until a function of the page, called again and again, says True."""
        deadline = time.monotonic() + timeout_s
        while not true():
            if time.monotonic() > deadline:
                raise TimeoutError(f"not so within {timeout_s:g} s")
            self.page.wait_for_timeout(20)

    def clipped(self) -> list[str]:
        """Return what is wider than its place in the outputs, or hidden behind an ellipsis.

        A panel draws anew where its width changes: what it shows until then is no fault.
        """
        self.rest()
        return self.page.evaluate(
            """() => [...document.querySelectorAll(
                    '.jp-OutputArea-output, .jp-OutputArea-output *')]
                .filter(node => node.clientWidth > 0 && node.scrollWidth > node.clientWidth + 1
                    && getComputedStyle(node).overflowX !== 'visible'
                    && !node.closest('svg') && node.tagName !== 'INPUT')
                .map(node => `${node.className || node.tagName}: ${node.scrollWidth} px in `
                    + `${node.clientWidth} px: ${node.innerText.slice(0, 60)}`)"""
        )

    def too_high(self, most_px: int) -> list[str]:
        """Return the outputs of cells that are higher than `most_px`, or scroll in themselves.

        A panel is the page's main thing and may take more; what scrolls is reported for it too.
        """
        return self.page.evaluate(
            """most => [...document.querySelectorAll('.jp-Cell-outputArea')]
                .filter(node => node.scrollHeight > most && !node.querySelector('.lk-panel')
                    || node.closest('.jp-CodeCell').classList.contains('jp-mod-outputsScrolled'))
                .map(node => `${node.scrollHeight} px: ${node.innerText.slice(0, 60)}`)""",
            most_px,
        )

    def screens(self, folder: str | os.PathLike[str], stem: str) -> list[Path]:
        """Take a picture of each screenful of the notebook, from top to bottom.

        Returns
        -------
        list of Path
            The files written: `stem`-01.png and so on.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        scroll = """share => {
            const box = document.querySelector('.jp-NotebookPanel:not(.lm-mod-hidden)')
                .querySelector('.jp-WindowedPanel-outer');
            if (share !== null) box.scrollTop = share;
            return [box.scrollTop, box.clientHeight, box.scrollHeight];
        }"""
        files: list[Path] = []
        top = 0
        while True:
            _, height, total = self.page.evaluate(scroll, top)
            self.rest()
            files.append(folder / f"{stem}-{len(files) + 1:02d}.png")
            self.page.screenshot(path=files[-1])
            # A little of each screen is seen on the next, so that nothing falls between them.
            top += height - 60
            if top + 60 >= total:
                return files

    def cell_picture(self, number: int, file: str | os.PathLike[str]) -> Path:
        """Take a picture of the whole cell with this number, counted from 0 over all cells."""
        file = Path(file)
        file.parent.mkdir(parents=True, exist_ok=True)
        cell = self.page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .jp-Cell").nth(number)
        size = self.page.viewport_size
        # What does not fit into the window is not drawn, so the window grows for the picture.
        box = cell.bounding_box()
        self.page.set_viewport_size(
            {"width": size["width"], "height": max(size["height"], round(box["height"]) + 300)}
        )
        self.rest()
        cell.scroll_into_view_if_needed()
        cell.screenshot(path=file)
        self.page.set_viewport_size(size)
        return file


def main(argv: list[str] | None = None) -> int:
    """Take pictures of a notebook that was run, as the command line says."""
    parser = argparse.ArgumentParser(prog="python -m tests.browser", description=main.__doc__)
    parser.add_argument("notebook", type=Path, help="the notebook; a copy of it is run")
    parser.add_argument("--out", type=Path, default=ROOT / "ci-output", help="folder for pictures")
    parser.add_argument("--theme", choices=[*THEMES, "both"], default="light")
    parser.add_argument("--width", type=int, default=1280, help="window, in pixels of the screen")
    parser.add_argument("--height", type=int, default=900, help="window, in pixels of the screen")
    parser.add_argument("--zoom", type=float, default=1.0, help="2 is 200 %%")
    parser.add_argument("--no-sidebar", action="store_true", help="close the list of files")
    parser.add_argument("--no-run", action="store_true", help="show it as stored")
    parser.add_argument(
        "--click", action="append", default=[], metavar="LABEL",
        help="after running, click the control with this visible label; may be repeated",
    )
    parser.add_argument(
        "--cell", action="append", default=[], type=int, metavar="N",
        help="a picture of this cell only, counted from 0; may be repeated",
    )
    arguments = parser.parse_args(argv)
    # A plain `kill` would otherwise leave the lab and the browser running.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    bad = 0
    with Workplace(arguments.notebook) as workplace:
        for theme in THEMES if arguments.theme == "both" else [arguments.theme]:
            with workplace.open(
                arguments.notebook.name,
                theme=theme,
                width=arguments.width,
                height=arguments.height,
                zoom=arguments.zoom,
                sidebar=not arguments.no_sidebar,
            ) as notebook:
                if not arguments.no_run:
                    try:
                        notebook.run_all()
                    except (RuntimeError, TimeoutError) as problem:
                        print(problem)
                        bad = 1
                for label in arguments.click:
                    notebook.click(label)
                    notebook.page.wait_for_timeout(500)
                stem = f"{arguments.notebook.stem}-{theme}"
                if arguments.cell:
                    files = [
                        notebook.cell_picture(n, arguments.out / f"{stem}-cell-{n:02d}.png")
                        for n in arguments.cell
                    ]
                else:
                    files = notebook.screens(arguments.out, stem)
                print(*files, sep="\n")
                for kind, found in (
                    ("error", notebook.errors()),
                    ("console", notebook.console),
                    ("asked for outside this machine", notebook.away),
                    ("clipped", notebook.clipped()),
                ):
                    for item in found:
                        print(f"{kind}: {item}")
                        bad = 1
    return bad


if __name__ == "__main__":
    raise SystemExit(main())
