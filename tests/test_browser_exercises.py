"""The questions in a real JupyterLab: keys that stay in them, letters, Enter, marks, replies."""

import re
import time

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell

from lessons.exercises.choosing import Choice
from lessons.exercises.lookup import lesson_of
from lessons.exercises.measuring import QUESTIONS
from lessons.exercises.ordering import Order
from lessons.exercises.table import Table
from tests.contrast import contrast
from tests.test_browser import lay


def first_of(kind, lessons=("01", "02", "04")):
    return next(item.id for number in lessons for item in lesson_of(f"{number}-").items
                if type(item) is kind)


ASKED = ("01-downtime", first_of(Choice), first_of(Order), first_of(Table))


@pytest.fixture(scope="module")
def questions(workplace):
    """A notebook with a question of each kind, a prediction, and the record."""
    lines = [f"from lessons import ask\n\nask({item_id!r})" for item_id in ASKED]
    lines += ["from lessons import predict_first\n\npredict_first('01-first-failures')",
              "from lessons import my_record\n\nmy_record()",
              "from lessons import folded\n\nwith folded():\n    print('1. 35 min')"]
    lay(workplace, "questions.ipynb", new_markdown_cell("# Questions"), *map(new_code_cell, lines))
    return "questions.ipynb"


def cells(notebook):
    return notebook.page.evaluate(
        "window.jupyterapp.shell.currentWidget.content.widgets.length")


def reply(notebook, number):
    shown = notebook.page.locator(".jp-Cell").nth(number).locator(".lkx-reply")
    return " ".join(shown.all_inner_texts())


def test_keys_stay_in_the_question(workplace, questions, pictures):
    with workplace.open(questions) as notebook:
        notebook.run_all()
        page, before = notebook.page, cells(notebook)
        keys = page.keyboard

        def at(number):
            return page.locator(".jp-Cell").nth(number)

        def button(number, label="Check"):
            return at(number).get_by_role("button", name=label, exact=True).first

        # A number: typed letters go into the box, and Enter is Check, of all that was typed.
        at(1).locator("input[type=text]").click()
        with notebook.answers_held():
            keys.type("35 min/add")
            assert at(1).locator("input[type=text]").input_value() == "35 min/add"
            for _ in "dd":
                keys.press("Backspace")
            keys.press("Enter")
        notebook.wait_until(lambda: reply(notebook, 1).startswith("✓ Right"))
        # A changed text takes the old reply away.
        keys.type("a")
        notebook.wait_until(lambda: reply(notebook, 1) == "")
        # The buttons keep their keys, also where the press has built the question anew.
        for label, shows in (("Check", ".lkx-reply"), ("Hint", ".lkx-hint"),
                             ("New numbers", ".id:has-text('seed 1')")):
            button(1, label).click()
            at(1).locator(shows).wait_for()
            for key in "addx":
                keys.press(key)
        # A choice: a letter chooses, from a button, an option, or after a click on the words.
        radios = at(2).locator("input[type=radio]")
        button(2).focus()
        keys.press("b")
        notebook.wait_until(lambda: radios.nth(1).is_checked())
        keys.press("a")
        notebook.wait_until(lambda: radios.nth(0).is_checked())
        at(2).locator("h4").click()
        for key in "ddb":
            keys.press(key)
        notebook.wait_until(lambda: radios.nth(1).is_checked())
        # What is chosen last is judged, however slow the kernel is, also where it stood there before.
        notebook.rest()
        with notebook.answers_held():
            keys.press("a")
            keys.press("b")
            button(2).click()
        notebook.wait_until(lambda: reply(notebook, 2) != "")
        notebook.rest()
        assert radios.nth(1).is_checked() and reply(notebook, 2) != ""
        # Cards are placed by their letters.
        button(3).focus()
        for key in "bda":
            keys.press(key)
        notebook.wait_for_text("Your order: b - d - a")
        # Each cell of a table gets its mark, by shape and word.
        button(4).focus()
        for entry in at(4).locator("select").all():
            entry.select_option(index=1)
        for entry in at(4).locator("input[type=text]").all():
            entry.fill("7 h")
        button(4).click()
        notebook.wait_until(lambda: at(4).locator(".lkx-mark").count() > 1)
        marks = at(4).locator(".lkx-mark").all_inner_texts()
        assert {mark.split()[0] for mark in marks} <= {"✓", "◆", "○"}
        # A prediction becomes one line once it is committed; not sure needs no reason.
        radios = at(5).locator("input[type=radio]")
        button(5, "Commit").focus()
        keys.press("abcdefgh"[radios.count() - 1])
        # A word that is longer than its line breaks: see `clipped` below.
        at(5).get_by_label("Because").fill("x" * 160)
        at(5).get_by_label("Because").focus()
        keys.press("Enter")
        notebook.wait_until(lambda: "you expect: not sure." in reply(notebook, 5))
        notebook.wait_until(lambda: radios.count() == 0)
        assert at(5).locator("details summary").first.is_visible()
        # Worked answers open and shut by keys, and what is pressed there cuts no cell.
        worked = at(7).locator("summary")
        worked.focus()
        for key in ("Enter", "x", "d", "d", "a"):
            keys.press(key)
        assert at(7).locator("details[open]").count() == 1
        keys.press("Space")
        assert at(7).locator("details[open]").count() == 0
        assert cells(notebook) == before and page.locator(".jp-Cell").count() == before
        for number in range(1, 7):
            notebook.cell_picture(number, pictures / f"question-{number}.png")
        assert notebook.errors() == [] and notebook.console == [] and notebook.clipped() == []


def test_the_drill_panel_takes_what_was_entered_last(workplace):
    lay(workplace, "drill.ipynb",
        new_code_cell("from lessons import drill_panel\n\ndrill_panel('10-first')"))
    with workplace.open("drill.ipynb") as notebook:
        notebook.run_all()
        said = notebook.page.locator(".lk-panel .lkx-reply")
        question, *_, last = QUESTIONS
        with notebook.answers_held():
            for each in (question, last):
                notebook.control("Ask the caller").select_option(label=f"{each}?")
            notebook.click("Ask")
        notebook.wait_until(lambda: f"{last}?" in " ".join(said.all_inner_texts()))
        # What is typed is noted by Enter.
        notebook.fill("Seen", "the panel is dark")
        notebook.wait_until(lambda: "list causes" in " ".join(said.all_inner_texts()))
        # What was typed and taken back holds no press up.
        notebook.rest()
        line = notebook.control("Seen")
        line.press_sequentially("x")
        line.press("Backspace")
        line.blur()
        begun = time.monotonic()
        notebook.click("Hint")
        notebook.wait_until(lambda: "Hint" in " ".join(said.all_inner_texts()))
        assert time.monotonic() - begun < 8  # and not the patience of the page
        # Whatever the width, one plan is seen, and all of it.
        for width, size in ((1280, "wide"), (980, "middle"), (640, "slim")):
            notebook.page.set_viewport_size({"width": width, "height": 900})
            notebook.wait_until(lambda size=size: notebook.page.evaluate(
                """() => [...document.querySelectorAll('.lk-drill > div')].filter(each => each.checkVisibility())
                    .map(each => [each.className, each.scrollWidth <= each.clientWidth])"""
            ) == [[size, True]])
        assert notebook.errors() == [] and notebook.console == []


EDGES = """() => {
    const clear = (colour) => colour.endsWith(', 0)');
    return [...document.querySelectorAll(':is(.lkx, .lk-panel) :is(select, textarea, input[type=text], '
            + 'input[type=number], button, .noUi-handle)')]
        .filter((node) => node.checkVisibility())
        .map((node) => {
            const own = getComputedStyle(node);
            let below = (node.closest('.widget-slider') ?? node).parentElement;
            while (clear(getComputedStyle(below).backgroundColor)) below = below.parentElement;
            return [node.outerHTML.slice(0, 80), getComputedStyle(below).backgroundColor,
                    own.borderTopWidth === '0px' ? own.backgroundColor : own.borderTopColor];
        });
}"""


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_what_can_be_pressed_or_typed_into_stands_out(theme, workplace):
    """WCAG 2.1, 1.4.11: what marks a control as one has at least 3:1 against what is beside it."""
    lines = [*(f"from lessons import ask\n\nask({item_id!r})" for item_id in (*ASKED, "02-list")),
             "from lessons import first_failures_panel\n\nfirst_failures_panel()"]
    lay(workplace, "edges.ipynb", *map(new_code_cell, lines))
    with workplace.open("edges.ipynb", theme=theme) as notebook:
        notebook.run_all()
        edges = notebook.page.evaluate(EDGES)
        assert len(edges) > 20 and any("noUi-handle" in each[0] for each in edges)

        def colour(words):
            return "#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", words)[:3])

        assert [each for each in edges if contrast(colour(each[1]), colour(each[2])) < 3] == []
        lists, empty = notebook.page.evaluate("""() => {
            const all = (what) => [...document.querySelectorAll(`:is(.lkx, .lk-panel) :is(${what})`)];
            return [all('select').map((node) => [getComputedStyle(node).colorScheme,
                                                 getComputedStyle(node).backgroundImage]),
                    all('textarea, input[type=text]').filter((node) => node.placeholder).map(
                        (node) => [getComputedStyle(node, '::placeholder').color,
                                   getComputedStyle(node).backgroundColor])];
        }""")
        # The arrow of a list is drawn by the browser, which knows whether the page is dark.
        assert lists and {image for _, image in lists} == {"none"}
        assert theme == "light" or {scheme for scheme, _ in lists} == {"dark"}
        assert empty and [each for each in empty if contrast(*map(colour, each)) < 4.5] == []
