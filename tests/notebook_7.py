"""Use the panels in Notebook 7 instead of JupyterLab: `python -m tests.notebook_7 --python FILE`.

    --python FILE   the Python of an environment that has this package and notebook >= 7

Runs four lessons and a main panel, presses keys that are commands of the notebook on each part and
control, switches a fault by keys, goes back in slow motion, opens the drawers. No cell may change.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_notebook

from lessons.desk.lab import lab_environment
from tests.browser import ROOT, TOKEN, chromium, free_port
from tests.notebooks import KERNEL

LESSONS = ("04_the_pair_at_work", "05_heartbeat_and_timeout", "07_return_split_third_vote",
           "10_reading_lamps_and_lines")
KEYS = ("d", "d", "a", "b", "x", "m", "y", "z", "0", "0", "1", "5", "Escape", "d", "d", "Enter",
        "ArrowDown", "Escape", "ArrowRight", "Home", "End")
OPEN = "window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel?.connectionStatus"
CELLS = "() => window.jupyterapp.shell.currentWidget.content.widgets.map(" \
        "cell => cell.model.sharedModel.getSource())"


def use(page, name: str, address: str) -> tuple[list[str], int]:
    """Use the panels of one notebook; return what is wrong, and how many controls got the keys."""
    page.goto(f"{address}/notebooks/{name}.ipynb?token={TOKEN}")
    page.wait_for_function(f"() => {OPEN} === 'connected'", timeout=90_000)
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')"
                  ".then(() => null)")
    page.wait_for_function("() => document.querySelector('.jp-OutputArea .lm-Widget button')")
    before, wrong = page.evaluate(CELLS), []
    # What is predicted first is shown to who does not want to.
    for skip in page.get_by_role("button", name="Show me without predicting").all():
        skip.click()
    page.wait_for_timeout(2000)
    controls = page.locator(".lk-panel :is(button, input, select, [tabindex='0'])").locator(
        "visible=true").all()
    for control in controls:
        if control.is_visible() and control.is_enabled():
            control.focus()
            for key in KEYS[:12]:
                page.keyboard.press(key)
    for rig in page.locator(".lk-rig").all():
        if not rig.is_visible():
            continue
        rig.get_by_role("button", name="Start again").click()
        rig.locator("[data-part=KF1]").focus()
        for key in (*KEYS, "Home"):
            page.keyboard.press(key)
        rig.locator("[data-part=KF1]").focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Space")
        rig.locator(".lk-head .s1:has-text('KF2 leads alone; KF1 is off.')").wait_for()
        rig.locator("[data-slow]").focus()
        page.keyboard.press("Home")
        page.keyboard.press("ArrowRight")
        rig.locator("[data-at]:has-text('fault on: KF1: no power')").wait_for()
    if page.evaluate(CELLS) != before:
        wrong.append(f"{name}: a key reached the notebook")
    page.evaluate("() => window.jupyterapp.shell.currentWidget.sessionContext.shutdown()")
    return wrong, len(controls)


def main(argv: list[str] | None = None) -> int:
    """Use each notebook, and say what is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.notebook_7", description=main.__doc__)
    parser.add_argument("--python", default=sys.executable)
    arguments = parser.parse_args(argv)
    wrong = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, chromium() as browser:
        work, port = Path(folder), free_port()
        for name in LESSONS:
            (work / f"{name}.ipynb").write_bytes((ROOT / "lessons" / f"{name}.ipynb").read_bytes())
        nbformat.write(new_notebook(cells=[
            new_code_cell("from lessons import plant_panel\n\nplant_panel()"), new_code_cell("1")],
            metadata={"kernelspec": KERNEL}), work / "main_panel.ipynb")
        places = {f"JUPYTER_{each}_DIR": str(work / each) for each in ("CONFIG", "DATA", "RUNTIME")}
        server = subprocess.Popen(
            [arguments.python, "-m", "notebook", "--no-browser", "--allow-root",
             f"--ServerApp.port={port}", f"--IdentityProvider.token={TOKEN}",
             f"--ServerApp.root_dir={work}", "--expose-app-in-browser"],
            env=lab_environment() | places, cwd=work, stderr=subprocess.DEVNULL)
        try:
            address, end = f"http://127.0.0.1:{port}", time.monotonic() + 60
            while True:
                try:
                    urllib.request.urlopen(f"{address}/api/status?token={TOKEN}", timeout=5)
                    break
                except (urllib.error.URLError, ConnectionError):
                    if server.poll() is not None or time.monotonic() > end:
                        raise
                    time.sleep(0.2)
            page = browser.new_page(viewport={"width": 1366, "height": 768})
            for name in ("main_panel", *LESSONS):
                found, count = use(page, name, address)
                print(f"{name}: keys on {count} controls, {len(found)} wrong", flush=True)
                wrong += found
        finally:
            server.terminate()
            server.wait(20)
    print(*wrong, sep="\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
