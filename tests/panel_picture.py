"""Take the picture of the main panel for the README, in a real JupyterLab.

    python -m tests.panel_picture            writes figures/main_panel.png

The panel is opened from its one line, the power of the active controller is cut, and the panel is
pictured as a reader sees it on a school laptop, 1366 pixels wide.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import nbformat

from tests.browser import ROOT, Workplace

__all__ = ["take"]

TASK = "Cut the power of the active controller. Who leads now, and what would stop the plant next?"
SOURCE = f"from lessons import plant_panel\n\nplant_panel(task={TASK!r})"
SWITCH = "KF1 controller 1: no power"


def take(file: Path, *, theme: str = "light", scale: float = 1.25) -> Path:
    """Open the panel, cut the power of the active controller, and write the picture.

    Parameters
    ----------
    file : Path
        The PNG file to write.
    theme : {"light", "dark"}
        Theme of JupyterLab.
    scale : float
        Points of the picture for each pixel of the page.
    """
    with tempfile.TemporaryDirectory() as folder:
        notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(SOURCE)])
        notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
        nbformat.write(notebook, Path(folder) / "panel.ipynb")
        # The window is high enough for the whole panel, which is pictured in one piece.
        with Workplace(folder) as workplace, workplace.open(
            "panel.ipynb", theme=theme, width=round(1366 * scale), height=round(900 * scale),
            zoom=scale, sidebar=False,
        ) as lab:
            lab.run_all()
            lab.fault(SWITCH)
            lab.wait_for_text("KF2 leads alone")
            lab.page.mouse.move(0, 0)
            lab.page.evaluate("document.activeElement.blur()")
            lab.rest()
            file.parent.mkdir(parents=True, exist_ok=True)
            lab.page.locator(".lk-panel").screenshot(path=file)
            if lab.errors() or lab.console:
                raise RuntimeError(f"the panel has errors: {lab.errors()} {lab.console}")
    return file


if __name__ == "__main__":
    sys.stdout.write(f"{take(ROOT / 'figures' / 'main_panel.png')}\n")
