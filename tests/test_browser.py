"""Panels in a real JupyterLab, in a real browser; test_browser_lessons.py has whole lessons.

Skipped where there is no Chromium; with CI=true it fails there instead.
"""

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from tests.fuzz_panel import CELLS, EVERY, fuzz, run_again
from tests.notebooks import KERNEL

HEALTHY = "KF1 leads; KF2 stands by, ready."


def lay(workplace, name, *cells):
    """Write a notebook into the folder of the lab."""
    notebook = new_notebook(cells=list(cells), metadata={"kernelspec": KERNEL})
    nbformat.write(notebook, workplace.folder / name)


def headlines(notebook):
    """Return what each panel says first, from top to bottom."""
    return notebook.page.locator(".lk-rig .lk-head .s1").all_inner_texts()


def states(notebook, nth=0):
    """Return what a screen reader says of each part of a panel."""
    return notebook.page.locator(".lk-rig").nth(nth).evaluate(
        """root => Object.fromEntries([...root.querySelectorAll('[data-part]')]
            .map(part => [part.dataset.part, part.getAttribute('aria-label')]))""")


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
        notebook.wait_for_text(HEALTHY)
        notebook.fault("TF1 bus repeater: no power")
        notebook.wait_for_text("see and act: LOST")
        notebook.fault("KF1 controller 1: no power")
        notebook.wait_for_text("KF2 leads alone; KF1 is off.")
        notebook.wait_for_text("control kept: WORKS")
        notebook.cell_picture(1, pictures / f"panel-{theme}-one-controller.png")
        notebook.fault("WF2.10 link B to rack KF10: cut")
        notebook.wait_for_text("control kept: LOST")
        assert "cut" in states(notebook)["WF2.10"]
        notebook.cell_picture(1, pictures / f"panel-{theme}-control-lost.png")
        assert notebook.clipped() == []
        # The faults gone, control works again, and the role stays where it went.
        notebook.click("All faults off")
        notebook.wait_for_text("control kept: WORKS")
        notebook.click("Go on")
        notebook.wait_for_text("KF2 leads; KF1")
        assert "cut" not in states(notebook)["WF2.10"]
        assert notebook.errors() == [] and notebook.console == [] and notebook.away == []


# Window, and the most that the panel may be high: panels of 1290 and of 980 px, one of 934 px, as a
# school laptop, 1366 px wide, has it beside the list of files, and a wall.
GLANCES = [(1470, 768, 600), (1160, 768, 640), (1114, 768, 640), (1920, 1080, 960)]


@pytest.mark.parametrize(("width", "height", "most"), GLANCES)
def test_all_that_matters_is_seen_at_one_glance(width, height, most, workplace, panel_name,
                                                pictures):
    with workplace.open(panel_name, width=width, height=height, sidebar=False) as notebook:
        notebook.run_cell(1)
        notebook.fault("KF1 controller 1: no power")
        notebook.wait_for_text("KF2 leads alone; KF1 is off.")
        notebook.rest()
        notebook.page.evaluate("document.querySelector('.lk-rig').scrollIntoView()")
        notebook.page.screenshot(path=pictures / f"glance-{width}.png")
        rig = notebook.page.locator(".lk-rig")
        frame = rig.bounding_box()
        assert frame["height"] <= most
        shown = [".lk-head", "[data-part=KF1]", "[data-part=KF2]", "[data-part=KF30]",
                 "[data-part='WF1.10']", "[data-part=WF3]", "[data-part=TF1]", "[data-part=PH1]",
                 "[data-s='lv.now']", "[data-s='f0.next']", "[data-s=r3]", "[data-s=act]"]
        for selector in shown:
            box = rig.locator(selector).bounding_box()
            assert box["width"] > 0 and box["y"] + box["height"] <= frame["y"] + most, selector
        # Type is never under 12.6 px on the screen.
        sizes = notebook.page.evaluate(
            """() => [...document.querySelectorAll('.lk-rig *')]
                .filter(node => node.checkVisibility() && [...node.childNodes].some(
                    child => child.nodeType === 3 && child.textContent.trim()))
                .map(node => parseFloat(getComputedStyle(node).fontSize)
                    * (node.closest('svg') ? Math.hypot(node.getScreenCTM().a,
                        node.getScreenCTM().b) : 1))""")
        assert len(sizes) > 100 and min(sizes) >= 12.6
        assert notebook.clipped() == [] and notebook.console == []


def test_a_panel_starts_twice_and_after_a_restart(workplace, panel_name):
    with workplace.open(panel_name) as notebook:
        notebook.run_cell(1)
        notebook.fault("KF1 controller 1: stopped")
        notebook.wait_for_text("KF2 leads alone; KF1 is stopped.")
        notebook.run_cell(1)
        notebook.wait_for_text(HEALTHY)
        notebook.restart_kernel()
        notebook.run_cell(2)
        # The panel of the first cell still stands there, without its kernel.
        notebook.fault("KF1 controller 1: frozen", nth=1)
        notebook.wait_for_text("fault on: KF1: frozen")
        assert notebook.errors() == [] and notebook.console == []


def test_two_panels_do_not_touch_each_other(workplace, panel_name):
    with workplace.open(panel_name) as notebook:
        notebook.run_all()
        notebook.wait_until(lambda: headlines(notebook) == [HEALTHY, HEALTHY])
        notebook.fault("KF2 controller 2: no power", nth=1)
        notebook.wait_until(
            lambda: headlines(notebook) == [HEALTHY, "KF1 leads alone; KF2 is off."])
        assert notebook.console == []


FOCUSED = "document.activeElement.closest('[data-part]')?.dataset.part ?? null"


def test_a_panel_can_be_used_by_keyboard_and_at_twice_the_size(workplace, panel_name, pictures):
    with workplace.open(panel_name, zoom=2.0, sidebar=False) as notebook:
        notebook.run_cell(1)
        assert notebook.clipped() == []
        page, keys = notebook.page, notebook.page.keyboard
        cells = page.locator(".jp-Cell").count()
        page.locator("[data-find]").focus()
        keys.press("Tab")
        first = page.evaluate(FOCUSED)
        order = page.evaluate(
            "[...document.querySelectorAll('.lk-rig [data-part]')].map(p => p.dataset.part)")
        assert first == order[0]
        for part in order[1:]:
            keys.press("ArrowRight")
            assert page.evaluate(FOCUSED) == part
        keys.press("Home")
        while page.evaluate(FOCUSED) != "KF1":
            keys.press("ArrowRight")
        keys.press("Enter")
        assert page.evaluate("document.activeElement.dataset.fault") == "KF1: no power"
        keys.press("Escape")
        assert page.evaluate(FOCUSED) == "KF1"
        keys.press("Enter")
        keys.press("ArrowDown")
        keys.press("ArrowUp")
        keys.press("Space")
        notebook.wait_for_text("KF2 leads alone; KF1 is off.")
        assert page.evaluate(FOCUSED) == "KF1"
        # Keys that are commands of the notebook do nothing there; Notebook asks the very target.
        for key in ("a", "b", "x", "d", "d", "m", "Enter", "Escape"):
            assert page.evaluate("document.activeElement.hasAttribute('data-lm-suppress-shortcuts')")
            keys.press(key)
        assert page.locator(".jp-Cell").count() == cells
        notebook.screens(pictures, "panel-200-percent")
        assert notebook.console == []


def test_a_word_finds_a_fault(workplace, panel_name):
    with workplace.open(panel_name) as notebook:
        notebook.run_cell(1)
        find, pop = notebook.page.locator("[data-find]"), notebook.page.locator(".lk-pop")
        find.fill("wf9")
        assert pop.locator("label").all_inner_texts() == [
            label for label in pop.locator("label").all_inner_texts() if "WF9" in label] != []
        find.fill("zebra")
        assert 'No fault is called "zebra".' in pop.inner_text()
        find.fill("cc2 stopped")
        notebook.page.keyboard.press("ArrowDown")
        notebook.page.keyboard.press("Space")
        notebook.wait_for_text("KF1 leads alone; KF2 is stopped.")
        assert notebook.console == []


def test_slow_motion_goes_back_along_the_record(workplace, panel_name, pictures):
    with workplace.open(panel_name, width=1366, sidebar=False) as notebook:
        notebook.run_cell(1)
        notebook.click("Go on")
        notebook.fault("KF1 controller 1: no power")
        notebook.wait_for_text("KF2 leads alone; KF1 is off.")
        page, keys = notebook.page, notebook.page.keyboard
        page.locator("[data-slow]").focus()
        keys.press("Home")
        notebook.wait_for_text("before the act")
        notebook.wait_for_text(HEALTHY)
        seen = []
        for words in ("fault on: KF1: no power", "heartbeat of KF1: heard to missed",
                      "question to the racks: asked to mark ageing", "role: standby to active",
                      "outputs: held to written"):
            keys.press("ArrowRight")
            seen.append(notebook.wait_for_text(words))
        assert "held" in states(notebook)["KF10"] or "written" in states(notebook)["KF10"]
        keys.press("ArrowLeft")
        notebook.wait_until(lambda: "held" in states(notebook)["KF10"])
        # Between two moments the state is that of the one before, to the millisecond.
        keys.press("Shift+ArrowLeft")
        notebook.wait_for_text("0.228 s:")
        assert "READY" in states(notebook)["KF2"]
        page.screenshot(path=pictures / "panel-slow-motion.png")
        notebook.click("Now")
        notebook.wait_until(lambda: "written" in states(notebook)["KF10"])
        keys.press("End")
        # An act in the past begins another story.
        page.locator("[data-slow]").focus()
        keys.press("Home")
        keys.press("ArrowRight")
        keys.press("ArrowRight")
        notebook.wait_for_text("heartbeat of KF1: heard to missed")
        notebook.fault("WF9 sync cable: cut")
        notebook.wait_for_text("Another story begins here, at 10.147 s.")
        assert notebook.console == [] and notebook.errors() == []


def test_pressing_at_random_brings_no_error_and_no_contradiction(workplace):
    # Other seeds: python -m tests.fuzz_panel --seed N
    lay(workplace, "fuzz.ipynb", *map(new_code_cell, CELLS))
    with workplace.open("fuzz.ipynb", sidebar=False) as notebook:
        assert fuzz(notebook, 2000, seed=7) == 2000 // EVERY
        # Three runs more; the command has forty.
        assert run_again(notebook, 3)["widgets"] == 0


# ---------------------------------------------------------------- stories, keyboard


@pytest.fixture(scope="module")
def more_panels(workplace):
    """A notebook with the wall and a panel, in this order."""
    cells = [
        new_markdown_cell("# More panels"),
        new_code_cell("from lessons import plant_panel\n\nplant_panel(projector=True)"),
        new_code_cell("from lessons import plant_panel\n\nplant_panel()"),
    ]
    lay(workplace, "more.ipynb", *cells)
    return "more.ipynb"


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_story_is_told_on_the_wall_by_keys_alone(theme, workplace, more_panels, pictures):
    with workplace.open(more_panels, theme=theme, width=1920, height=1080,
                        sidebar=False) as notebook:
        notebook.run_cell(1)
        notebook.wait_for_text(HEALTHY)
        notebook.page.locator(".jp-Cell:has(.lk-projector) .jp-InputArea").wait_for(state="hidden")
        notebook.control("Full screen").focus()
        notebook.page.keyboard.press("Space")
        notebook.wait_until(lambda: notebook.page.locator(".lk-whole").count() == 1)
        notebook.wait_until(lambda: notebook.page.locator(".lk-whole").bounding_box() == {
            "x": 0, "y": 0, "width": 1920, "height": 1080})
        notebook.control("Acts").focus()
        for key, words in (("ArrowDown", "KF2 leads alone; KF1 is off."),
                           ("ArrowDown", "KF2 leads; KF1 stands by, ready."),
                           ("ArrowUp", "KF2 leads alone; KF1 is off."),
                           ("Home", HEALTHY),
                           ("End", "KF2 leads; KF1 stands by, ready.")):
            notebook.page.keyboard.press(key)
            notebook.wait_for_text(words)
        for button, words in (("Back", "KF2 leads alone; KF1 is off."),
                              ("Next act", "KF2 leads; KF1 stands by, ready.")):
            notebook.control(button).focus()
            notebook.page.keyboard.press("Enter")
            notebook.wait_for_text(words)
        notebook.page.screenshot(path=pictures / f"panel-wall-{theme}.png")
        notebook.page.keyboard.press("Escape")
        notebook.wait_until(lambda: notebook.page.locator(".lk-whole").count() == 0)
        assert notebook.clipped() == [] and notebook.console == [] and notebook.errors() == []
        size = notebook.page.evaluate(
            "parseFloat(getComputedStyle(document.querySelector('.lk-head .s1')).fontSize)")
        assert size >= 36


def test_who_presses_fast_loses_no_key(workplace, more_panels):
    with workplace.open(more_panels, sidebar=False) as notebook:
        notebook.run_cell(1)
        page, keys = notebook.page, notebook.page.keyboard
        acts = notebook.control("Acts")
        last, at = acts.evaluate("list => list.options.length - 1"), 0
        assert last >= 2
        acts.focus()
        # With pauses that fall before, between and after the messages of an answer.
        for i, key in enumerate(("Home", *("ArrowDown", "ArrowDown", "ArrowUp", "ArrowUp",
                                           "ArrowDown") * 8)):
            keys.press(key)
            at = {"Home": 0, "ArrowDown": min(at + 1, last), "ArrowUp": max(at - 1, 0)}[key]
            assert acts.evaluate("list => list.selectedIndex") == at
            page.wait_for_timeout(9 * (i % 9))
        notebook.rest()
        assert acts.evaluate("list => list.selectedIndex") == at == 1
        notebook.wait_for_text("KF2 leads alone; KF1 is off.")
        # The list of a part shows what was pressed, though its answer is still under way.
        page.locator("[data-part=WF9]").focus()
        for i in range(9):
            keys.press("Enter")
            keys.press("Space")
            page.wait_for_timeout(9 * i)
        notebook.wait_for_text("fault on: WF9: cut")
        notebook.rest()
        assert "cut" in states(notebook)["WF9"]
        # Slow motion waits for the record of the last act.
        page.locator("[data-part=KF1]").focus()
        keys.press("Enter")
        with notebook.answers_held():
            keys.press("Space")
            page.locator("[data-slow]").focus()
            for key in ("Home", "ArrowRight"):
                keys.press(key)
        page.locator("[data-at]:has-text('fault off: KF1: no power')").wait_for()
        assert notebook.console == [] and notebook.errors() == []


def test_a_story_and_the_record_are_saved_and_opened_again(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(2)
        notebook.fault("WF9 sync cable: cut")
        notebook.wait_for_text("fault on: WF9: cut")
        notebook.click("Stories")
        # What stands in the drawer comes from the kernel.
        notebook.wait_for_text("Save as story")
        notebook.click("Save as story")
        notebook.wait_for_text("what_was_done_so_far.json")
        notebook.control("Name").fill("Told in class")
        notebook.click("Save as story")
        notebook.wait_for_text("told_in_class.json")
        assert (workplace.folder / "stories" / "told_in_class.json").exists()
        notebook.click("Whole record")
        notebook.click("Save record as CSV")
        notebook.wait_for_text("Record saved: ")
        assert list(workplace.folder.glob("record*.csv"))
        notebook.click("Start again")
        notebook.wait_for_text("Nothing has changed so far.")
        notebook.click("Told in class")
        notebook.wait_for_text("Next act")
        notebook.control("Acts").focus()
        notebook.page.keyboard.press("End")
        notebook.wait_for_text("fault on: WF9: cut")
        assert notebook.errors() == [] and notebook.console == [] and notebook.clipped() == []


STOPS = """() => {
    const node = document.activeElement;
    if (!node.closest('.lk-panel')) return null;
    const name = (node.getAttribute('aria-label') || node.labels?.[0]?.innerText
        || node.closest('label')?.innerText || node.innerText || '').trim();
    const box = node.getBoundingClientRect();
    return {name, seen: box.width > 0 && box.height > 0};
}"""


@pytest.mark.parametrize("cell", [1, 2])
def test_the_tab_key_reaches_every_control_in_reading_order(cell, workplace, more_panels):
    with workplace.open(more_panels, sidebar=False) as notebook:
        notebook.run_cell(cell)
        page = notebook.page
        wanted = page.evaluate(
            """() => [...document.querySelectorAll('.lk-panel button, .lk-panel input, '
                    + '.lk-panel select, .lk-panel [tabindex="0"]')]
                .filter(node => node.checkVisibility() && !node.disabled)
                .map(node => (node.getAttribute('aria-label') || node.labels?.[0]?.innerText
                    || node.innerText || '').trim())""")
        page.locator(".lk-panel button, .lk-panel input, .lk-panel select").locator(
            "visible=true").first.focus()
        reached, tabs = [], 0
        while (stop := page.evaluate(STOPS)) is not None:
            assert stop["name"] and stop["seen"], stop
            reached.append(stop["name"])
            page.keyboard.press("Tab")
            tabs += 1
            assert tabs < 40
        assert reached == wanted and len(set(reached)) == len(reached)
        assert notebook.console == []


FRAMES = """() => {
    const box = document.querySelector('.lk-picture');
    window.frames_seen = [];
    window.watching = true;
    const look = () => {
        const svg = box.querySelector('svg');
        const size = svg?.getBoundingClientRect();
        window.frames_seen.push([Math.round(size?.height ?? 0), Math.round(size?.top ?? 0)]);
        if (window.watching) requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""


def test_nothing_flickers_or_jumps_while_faults_are_switched(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(2)
        # The picture for this width is there once the panel has said how wide it is.
        notebook.wait_until(lambda: notebook.page.evaluate(
            "(document.querySelector('.lk-picture svg')?.getBoundingClientRect().height ?? 0)"
            " > 400"))
        notebook.page.evaluate(FRAMES)
        for words in ("KF2 leads alone; KF1 is off.", "KF2 leads alone; KF1 is loading.",
                      "KF2 leads alone; KF1 is off."):
            notebook.fault("KF1 controller 1: no power")
            notebook.wait_for_text(words)
        notebook.wait_until(lambda: notebook.page.evaluate("window.frames_seen.length > 10"))
        frames = notebook.page.evaluate(
            "() => { window.watching = false; return window.frames_seen; }")
        # In no frame is the picture gone or of another height.
        heights = {height for height, _ in frames}
        assert len(heights) == 1 and heights.pop() > 200
        assert notebook.console == []


def test_many_switches_leave_the_page_as_it_was(workplace, more_panels):
    with workplace.open(more_panels) as notebook:
        notebook.run_cell(2)
        count = "document.querySelectorAll('.lk-panel *').length"

        def twice():
            notebook.fault("KF1 controller 1: no power")
            notebook.wait_for_text("KF1 is off.")
            notebook.fault("KF1 controller 1: no power")
            notebook.wait_for_text("KF1 is loading.")

        def start_again():
            notebook.click("Start again")
            notebook.wait_for_text("Nothing has changed so far.")
            notebook.rest()

        twice()
        start_again()
        before = notebook.page.evaluate(count)
        for _ in range(4):
            twice()
        start_again()
        assert notebook.page.evaluate(count) == before
        assert notebook.console == []
