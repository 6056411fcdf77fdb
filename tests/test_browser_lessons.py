"""Every lesson in a real JupyterLab, in a real browser.

Skipped where there is no Chromium; with CI=true it fails there instead. What a panel does in the
browser stands in test_browser.py: two files, so that two cores can share them. Pictures of a lesson
in both themes, to look at, are taken by `python -m tests.browser FILE --theme both`.
"""

import re

import pytest

from tests.notebooks import lessons
from tests.test_browser import headlines, states

LESSONS = [path.name for path in lessons()]


def put_the_pair_in_your_hands(notebook, pictures):
    # A school laptop, with the list of files closed as `workbook open` has it.
    notebook.page.set_viewport_size({"width": 1366, "height": 768})
    notebook.page.evaluate("() => window.jupyterapp.shell.collapseLeft()")
    notebook.rest()
    # The panel stays shut until the reader has predicted, or asks for it without.
    before = len(headlines(notebook))
    notebook.click("Show me without predicting")
    notebook.wait_until(lambda: len(headlines(notebook)) == before + 1)
    notebook.rest()
    # All of it is in sight, what to do too.
    notebook.wait_until(lambda: notebook.page.locator(".lk-rig").first.evaluate(
        """(rig) => {
            const {top, bottom} = rig.getBoundingClientRect();
            const page = rig.closest('.jp-WindowedPanel-outer').getBoundingClientRect();
            return page.top <= top + 1 && bottom <= page.bottom + 1 && bottom > top + 500;
        }"""))
    for label, words in (
        ("TF1 bus repeater: no power", "KF1 leads; KF2 stands by, ready."),
        ("KF1 controller 1: no power", "KF2 leads alone; KF1 is off."),
        ("KF2 controller 2: stopped", "Control lost at KF10, KF20 and KF30"),
    ):
        notebook.fault(label)
        notebook.wait_for_text(words)
        part = label.split()[0]
        notebook.wait_until(lambda part=part, label=label: label.partition(": ")[2]
                            in states(notebook)[part])
    notebook.screens(pictures, "04-three-faults")
    assert notebook.clipped() == []


# What is looked at besides, in the one visit: to open a lesson and to run it takes longest.
BESIDES = {LESSONS[3]: put_the_pair_in_your_hands}


@pytest.mark.parametrize("name", LESSONS)
def test_lesson_runs_as_a_reader_meets_it(name, workplace, pictures):
    with workplace.open(name) as notebook:
        notebook.run_all()
        assert notebook.errors() == []
        assert notebook.console == []
        assert notebook.away == [], "the page asked other machines"
        assert notebook.clipped() == []
        assert notebook.too_high(600) == []
        if name in BESIDES:
            BESIDES[name](notebook, pictures)
        # Every control once, those too that a prediction or a first press opens.
        assert notebook.press_everything() > 50
        assert notebook.errors() == [] and notebook.console == [] and notebook.away == []
        assert not re.findall(r".*did not work.*", notebook.output_text())
        assert notebook.clipped() == []
        notebook.set_theme("dark")
        assert notebook.clipped() == []
        notebook.narrow(1280 / 980)
        assert notebook.clipped() == []
        # At 200 % a table or a chart may scroll within its frame: WCAG 2.1, 1.4.10 excepts what
        # needs two dimensions for its meaning. All else, words above all, must fit.
        notebook.narrow(980 / 640)
        assert [found for found in notebook.clipped()
                if not re.match(r"[^:]*\b(lkx-table|lk-chart)\b", found)] == []
        assert notebook.console == []


def test_the_first_click_on_a_word_lands_on_it(workplace):
    """The glossary opens with the word in sight, and a link says the word's meaning by itself."""
    name = LESSONS[1]
    with workplace.open(name) as notebook:
        page = notebook.page
        link = page.locator("a[href*='#cell-id=word-']")
        assert link.filter(has_text="MTTR").first.get_attribute("title").startswith("Mean time to")
        link.filter(has_text="minimal cut set").first.click()
        word = page.get_by_role("heading", name="minimal cut set")
        word.wait_for()

        def seen():
            frame = page.locator(".jp-WindowedPanel-outer:visible").last.bounding_box()
            place = word.bounding_box()
            return place and frame and frame["y"] <= place["y"] < frame["y"] + frame["height"]

        notebook.wait_until(seen)
        notebook.command("application:close")
        notebook.command("docmanager:open", path=name)
