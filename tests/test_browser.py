"""Every lesson in a real JupyterLab, in a real browser.

Skipped where there is no Chromium; with CI=true it fails there instead.
"""

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from tests.notebooks import KERNEL, lessons

LESSONS = [path.name for path in lessons()]

HEALTHY = "Plant picture. KF1 active, KF2 standby. KF1 writes all 3 racks. Nothing broken."


def lay(workplace, name, *cells):
    """Write a notebook into the folder of the lab."""
    notebook = new_notebook(cells=list(cells), metadata={"kernelspec": KERNEL})
    nbformat.write(notebook, workplace.folder / name)


def plant_pictures(notebook):
    return [name for name in notebook.picture_names() if name.startswith("Plant picture")]


@pytest.mark.parametrize("name", LESSONS)
def test_lesson_runs_as_a_reader_meets_it(name, workplace, pictures):
    with workplace.open(name) as notebook:
        notebook.run_all()
        notebook.screens(pictures, f"{name.removesuffix('.ipynb')}-light")
        assert notebook.errors() == []
        assert notebook.console == []
        assert notebook.away == [], "the page asked other machines"
        assert notebook.clipped() == []
        assert notebook.too_high(600) == []
        notebook.set_theme("dark")
        notebook.screens(pictures, f"{name.removesuffix('.ipynb')}-dark")
        assert notebook.console == []


def test_lesson_04_puts_the_pair_in_your_hands(workplace, pictures):
    with workplace.open("04_the_pair_at_work.ipynb") as notebook:
        notebook.run_all()
        # The panel stays shut until the reader has predicted, or asks for it without.
        before = len(plant_pictures(notebook))
        notebook.click("Show me without predicting")
        notebook.wait_until(lambda: len(plant_pictures(notebook)) == before + 1)
        for label, roles in (
            ("TF1 bus repeater: no power", "KF1 active, KF2 standby. KF1 writes all 3 racks."),
            ("KF1 controller 1: no power", "KF1 off, KF2 active. KF2 writes all 3 racks."),
            ("KF2 controller 2: stopped", "KF1 off, KF2 stopped."),
        ):
            notebook.click(label)
            name = notebook.wait_for_name(roles)
            assert name.startswith("Plant picture")
        notebook.screens(pictures, "04-three-faults")
        assert notebook.errors() == [] and notebook.console == [] and notebook.away == []
        assert notebook.clipped() == []


def test_a_failing_cell_is_seen(workplace):
    """The checks above can fail: an error below the screen is found, and a cell not run."""
    cells = [
        new_code_cell("print('one')"),
        *[new_markdown_cell("text\n\n" * 40) for _ in range(5)],
        new_code_cell("1 / 0"),
        new_code_cell("print('never')"),
    ]
    lay(workplace, "broken.ipynb", *cells)
    with workplace.open("broken.ipynb") as notebook:
        with pytest.raises(RuntimeError, match=r"not run: \[7\].*cell=6.*ZeroDivisionError"):
            notebook.run_all()
        assert [error.cell for error in notebook.errors()] == [6]


def test_the_lab_is_told_to_stay_at_home(workplace):
    assert workplace.ask("/lab/api/news") == b'{"news": []}'
    assert workplace.ask("/lab/api/update") == b'{"notification": null}'


@pytest.fixture(scope="module")
def panel_name(workplace):
    """A notebook with two cells that each start a main panel."""
    line = "from labkit.panels import plant_panel\n\nplant_panel()"
    cells = [new_markdown_cell("# Two panels"), new_code_cell(line), new_code_cell(line)]
    lay(workplace, "panels.ipynb", *cells)
    return "panels.ipynb"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_three_faults_change_the_roles(theme, workplace, panel_name, pictures):
    with workplace.open(panel_name, theme=theme) as notebook:
        notebook.run_cell(1)
        notebook.wait_for_name(HEALTHY)
        notebook.click("TF1 bus repeater: no power")
        notebook.wait_for_name("KF1 active, KF2 standby")
        notebook.wait_for_text("see and act: LOST")
        notebook.click("KF1 controller 1: no power")
        notebook.wait_for_name("KF1 off, KF2 active. KF2 writes all 3 racks.")
        notebook.wait_for_text("control kept: WORKS")
        notebook.cell_picture(1, pictures / f"panel-{theme}-one-controller.png")
        notebook.click("WF2.10 link B to rack KF10: cut")
        notebook.wait_for_name("WF2.10: cut")
        notebook.wait_for_text("control kept: LOST")
        notebook.cell_picture(1, pictures / f"panel-{theme}-control-lost.png")
        assert notebook.clipped() == []
        # The faults gone, control works again, and the role stays where it went.
        notebook.click("All faults off")
        notebook.wait_for_text("control kept: WORKS")
        notebook.click("Go on")
        assert "KF2 active" in notebook.wait_for_name("Nothing broken.")
        assert notebook.errors() == [] and notebook.console == [] and notebook.away == []


def test_a_panel_starts_twice_and_after_a_restart(workplace, panel_name):
    with workplace.open(panel_name) as notebook:
        notebook.run_cell(1)
        notebook.click("KF1 controller 1: stopped")
        notebook.wait_for_name("KF1 stopped, KF2 active")
        notebook.run_cell(1)
        notebook.wait_for_name(HEALTHY)
        notebook.restart_kernel()
        notebook.run_cell(2)
        notebook.click("KF1 controller 1: frozen", nth=len(plant_pictures(notebook)) - 1)
        notebook.wait_for_name("Broken: KF1: frozen")
        assert notebook.errors() == [] and notebook.console == []


def test_two_panels_do_not_touch_each_other(workplace, panel_name):
    with workplace.open(panel_name) as notebook:
        notebook.run_all()
        assert plant_pictures(notebook) == [HEALTHY, HEALTHY]
        notebook.click("KF2 controller 2: no power", nth=1)
        notebook.wait_for_name("KF1 active, KF2 off")
        first, second = plant_pictures(notebook)
        assert first == HEALTHY and "KF2 off" in second
        assert notebook.console == []


def test_a_panel_can_be_used_by_keyboard_and_at_twice_the_size(workplace, panel_name, pictures):
    with workplace.open(panel_name, zoom=2.0, sidebar=False) as notebook:
        notebook.run_cell(1)
        assert notebook.clipped() == []
        notebook.control("KF1 controller 1: no power").focus()
        notebook.page.keyboard.press("Space")
        notebook.wait_for_name("KF1 off, KF2 active")
        # The next stop of the Tab key is the next fault in the list.
        notebook.page.keyboard.press("Tab")
        notebook.page.keyboard.press("Space")
        notebook.wait_for_name("Broken: KF1: no power; KF1: stopped.")
        notebook.screens(pictures, "panel-200-percent")
        assert notebook.console == []
