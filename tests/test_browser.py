"""Panels in a real JupyterLab, in a real browser; test_browser_lessons.py has whole lessons.

Skipped where there is no Chromium; with CI=true it fails there instead.
"""

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from tests.notebooks import KERNEL

HEALTHY = "Plant picture. KF1 active, KF2 standby. KF1 writes all 3 racks. Nothing broken."


def lay(workplace, name, *cells):
    """Write a notebook into the folder of the lab."""
    notebook = new_notebook(cells=list(cells), metadata={"kernelspec": KERNEL})
    nbformat.write(notebook, workplace.folder / name)


def plant_pictures(notebook):
    return [name for name in notebook.picture_names() if name.startswith("Plant picture")]


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
    line = "from lessons import plant_panel\n\nplant_panel()"
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


# ---------------------------------------------------------------- stories, keyboard, two settings


@pytest.fixture(scope="module")
def more_panels(workplace):
    """A notebook with the wall, the comparison and a panel, in this order."""
    cells = [
        new_markdown_cell("# More panels"),
        new_code_cell("from lessons import plant_panel\n\nplant_panel(projector=True)"),
        new_code_cell("from lessons import compare_panel\n"
                      "from labkit import PairSettings\n\n"
                      "compare_panel(PairSettings(), PairSettings(ask_racks=False))"),
        new_code_cell("from lessons import plant_panel\n\nplant_panel()"),
    ]
    lay(workplace, "more.ipynb", *cells)
    return "more.ipynb"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_story_is_told_on_the_wall_by_keys_alone(theme, workplace, more_panels, pictures):
    with workplace.open(more_panels, theme=theme, width=1920, height=1080,
                        sidebar=False) as notebook:
        notebook.run_cell(1)
        notebook.wait_for_name(HEALTHY)
        assert not notebook.page.locator(".jp-Cell:has(.lk-projector) .jp-InputArea").is_visible()
        notebook.control("Full screen").focus()
        notebook.page.keyboard.press("Space")
        notebook.wait_until(lambda: notebook.page.locator(".lk-whole").count() == 1)
        box = notebook.page.locator(".lk-whole").bounding_box()
        assert (box["x"], box["y"], box["width"], box["height"]) == (0, 0, 1920, 1080)
        notebook.control("Acts").focus()
        for key, roles in (("ArrowDown", "KF1 off, KF2 active"),
                           ("ArrowDown", "KF1 standby, KF2 active"),
                           ("ArrowUp", "KF1 off, KF2 active"),
                           ("Home", "KF1 active, KF2 standby"),
                           ("End", "KF1 standby, KF2 active")):
            notebook.page.keyboard.press(key)
            notebook.wait_for_name(roles)
        for button, roles in (("Back", "KF1 off, KF2 active"),
                              ("Next act", "KF1 standby, KF2 active")):
            notebook.control(button).focus()
            notebook.page.keyboard.press("Enter")
            notebook.wait_for_name(roles)
        notebook.page.screenshot(path=pictures / f"panel-wall-{theme}.png")
        assert notebook.clipped() == [] and notebook.console == [] and notebook.errors() == []
        # What stands below the first screen is there in full.
        assert notebook.page.locator(".lk-record").bounding_box()["height"] > 200
        size = notebook.page.evaluate(
            "parseFloat(getComputedStyle(document.querySelector('.lk-head .s1')).fontSize)")
        assert size >= 36


def test_a_story_and_the_record_are_saved_and_opened_again(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(3)
        notebook.click("WF9 sync cable: cut")
        notebook.wait_for_name("Broken: WF9: cut")
        notebook.click("Save as story")
        notebook.wait_for_text("That did not work: name must not be empty")
        notebook.fill("Name", "Told in class")
        notebook.click("Save as story")
        notebook.wait_for_text("told_in_class.json")
        assert (workplace.folder / "stories" / "told_in_class.json").exists()
        notebook.click("Save record as CSV")
        notebook.wait_for_text("Record saved: ")
        assert list(workplace.folder.glob("record-*.csv"))
        notebook.click("Start again")
        notebook.wait_for_name(HEALTHY)
        notebook.control("Story").select_option("Told in class")
        notebook.click("Open story")
        notebook.wait_for_text("Told in class.")
        # The list has the focus at once.
        notebook.wait_until(lambda: notebook.page.evaluate(
            "document.activeElement.tagName") == "SELECT")
        notebook.page.keyboard.press("End")
        notebook.wait_for_name("Broken: WF9: cut")
        assert notebook.errors() == [] and notebook.console == [] and notebook.clipped() == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_two_settings_are_compared(theme, workplace, more_panels, pictures):
    with workplace.open(more_panels, theme=theme) as notebook:
        for _ in range(2 if theme == "light" else 1):
            notebook.run_cell(2)
            notebook.click("WF9 sync cable: cut")
            notebook.wait_for_text("B: Control: two writers fight")
            notebook.wait_for_text("A: KF1 leads alone")
        notebook.cell_picture(2, pictures / f"panel-compare-{theme}.png")
        assert notebook.clipped() == [] and notebook.errors() == []
        assert notebook.console == [] and notebook.away == []
        if theme == "dark":
            return
        notebook.restart_kernel()
        notebook.run_cell(2)
        notebook.click("TB1 24 V supply of both controllers: off")
        notebook.wait_for_text("A: Control lost")
        assert notebook.console == []


STOPS = """() => {
    const node = document.activeElement;
    if (!node.closest('.lk-panel')) return null;
    const name = (node.getAttribute('aria-label') || node.labels?.[0]?.innerText
        || node.closest('label')?.innerText || node.innerText || '').trim();
    const box = node.getBoundingClientRect();
    return {name, seen: box.width > 0 && box.height > 0};
}"""


@pytest.mark.parametrize("cell", [1, 2, 3])
def test_the_tab_key_reaches_every_control_in_reading_order(cell, workplace, more_panels):
    with workplace.open(more_panels, sidebar=False) as notebook:
        notebook.run_cell(cell)
        page = notebook.page
        wanted = page.evaluate(
            """() => [...document.querySelectorAll('.lk-panel button, .lk-panel input, '
                    + '.lk-panel select')].filter(node => node.checkVisibility())
                .map(node => (node.labels?.[0]?.innerText || node.innerText || '').trim())""")
        page.locator(".lk-panel button, .lk-panel input, .lk-panel select").locator(
            "visible=true").first.focus()
        reached = []
        while (stop := page.evaluate(STOPS)) is not None:
            assert stop["name"] and stop["seen"], stop
            reached.append(stop["name"])
            assert len(reached) < 200
            page.keyboard.press("Tab")
        assert reached == wanted and len(set(reached)) == len(reached)
        assert notebook.console == []


FRAMES = """() => {
    const box = document.querySelector('.lk-pictures');
    window.frames_seen = [];
    window.watching = true;
    const look = () => {
        const svg = box.querySelector('svg[role=img]');
        const size = svg?.getBoundingClientRect();
        window.frames_seen.push([Math.round(size?.height ?? 0), Math.round(size?.top ?? 0)]);
        if (window.watching) requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""


def test_nothing_flickers_or_jumps_while_faults_are_switched(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(3)
        notebook.control("KF1 controller 1: no power").hover()
        notebook.page.evaluate(FRAMES)
        for roles in ("KF1 off, KF2 active", "KF1 loading", "KF1 off, KF2 active"):
            notebook.click("KF1 controller 1: no power")
            notebook.wait_for_name(roles)
        frames = notebook.page.evaluate(
            "() => { window.watching = false; return window.frames_seen; }")
        # In no frame is the picture gone or of another height.
        heights = {height for height, _ in frames}
        assert len(frames) > 10 and len(heights) == 1 and heights.pop() > 200
        assert notebook.console == []


def test_many_switches_leave_the_page_as_it_was(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(3)
        count = "document.querySelectorAll('.lk-panel *').length"

        def twice():
            notebook.click("KF1 controller 1: no power")
            notebook.wait_for_name("KF1 off")
            notebook.click("KF1 controller 1: no power")
            notebook.wait_for_name("Nothing broken.")

        def start_again():
            notebook.click("Start again")
            # The record is what is sent last.
            notebook.wait_for_text("Record, latest first (0 entries)")

        twice()
        start_again()
        before = notebook.page.evaluate(count)
        for _ in range(10):
            twice()
        start_again()
        assert notebook.page.evaluate(count) == before
        assert notebook.console == []
