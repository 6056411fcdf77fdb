"""A file of items: what it may say, and how it is refused with file, item and key."""

import ast
import re
from pathlib import Path
from textwrap import dedent

import pytest

import lessons.items
from lessons.exercises.item_file import ItemFileError, formula, read_items
from lessons.exercises.replies import Verdict

HEAD = """
number = "77"
title = "Made up"
recall = []

[objectives]
find = "find it"
"""
NUMBER = """
[[item]]
type = "number"
id = "77-down"
title = "Down"
objective = "find"
ask = "How long?"
unit = "min/a"
value = "60 * HOURS_PER_YEAR * mttr_h / (mtbf_h + mttr_h)"
hints = ["a", "b", "c"]

[item.case]
text = "MTBF {mtbf_h} h, MTTR {mttr_h} h."

[item.case.numbers]
mtbf_h = [60000.0, 30000.0]
mttr_h = [4.0]

[[item.mark]]
misconception = "S02"
value = "60 * mttr_h"
question = "That is one repair. Is there one a year?"
"""


@pytest.fixture
def read(tmp_path):
    def read_text(text, functions=None):
        (tmp_path / "made_up.toml").write_text(HEAD + dedent(text), "utf-8")
        return read_items(tmp_path / "made_up.py", functions or {})

    return read_text


def judged(lesson, item_id, answer):
    item = lesson.item(item_id)
    return item.judge(answer, lesson.numbers(item.case, 0), 0, {})


def test_a_number_is_worked_by_its_formula(read):
    lesson = read(NUMBER)
    item = lesson.item("77-down")
    # 60 min/h × 8760 h × 4 h / 60 004 h
    assert item.solve(lesson.numbers(item.case, 0)) == pytest.approx(35.03766, rel=1e-6)
    assert judged(lesson, "77-down", "35.0 min/a").verdict is Verdict.RIGHT
    assert judged(lesson, "77-down", "240 min/a").misconception == "S02"
    assert item.objective == "find it" and item.case.text == "MTBF {mtbf_h} h, MTTR {mttr_h} h."


def test_functions_may_be_handed_over_and_numbers_derived(read):
    text = NUMBER.partition("\n[[item.mark]]")[0].replace(
        "60 * HOURS_PER_YEAR * mttr_h / (mtbf_h + mttr_h)", "twice(HOURS_PER_YEAR * share)")
    text += '\n[item.case.derived]\nshare = "mttr_h / mtbf_h"\n'
    lesson = read(text, {"twice": lambda value: 2 * value})
    item = lesson.item("77-down")
    # 2 × 8760 × 4 / 60 000
    assert item.solve(lesson.numbers(item.case, 0)) == pytest.approx(1.168, rel=1e-9)


def test_texts_of_several_lines_are_paragraphs(read):
    lesson = read(NUMBER.replace('ask = "How long?"', 'ask = """\n  How long\n  is it?\n\nSay it."""'))
    assert lesson.item("77-down").ask == "How long is it?\nSay it."


def test_cells_are_given_for_rows_and_columns(read):
    lesson = read("""
        [[item]]
        type = "table"
        id = "77-table"
        title = "Table"
        ask = "Fill."
        rows = ["one", "two"]
        columns = ["place", "name"]

        [[item.cell]]
        columns = ["place"]
        type = "number"
        id = "77-table.{row}"
        unit = "h"
        value = "place + 1"

        [[item.cell]]
        rows = ["two"]
        columns = ["name"]
        type = "pick"
        options = ["one", "two"]
        right = "row"
        """)
    table = lesson.item("77-table")
    numbers = lesson.numbers(table.case, 0)
    assert {place: cell.id for place, cell in table.open_cells().items() if place[1] == "place"} \
        == {("one", "place"): "77-table.one", ("two", "place"): "77-table.two"}
    answers = {"one / place": "1 h", "two / place": "2 h", "two / name": "two"}
    assert table.judge(answers, numbers, 0, {}).verdict is Verdict.RIGHT
    assert table.judge(answers | {"two / place": "1 h"}, numbers, 0, {}).score == \
        pytest.approx(2 / 3)


@pytest.mark.parametrize(("old", "new", "said"), [
    ('type = "number"', 'type = "numbr"', r"item '77-down': type must be one of number, .*'numbr'"),
    ('unit = "min/a"', 'units = "min/a"', r"item '77-down': there is no key 'units'"),
    ('value = "60 * H', 'worth = "60 * H', r"item '77-down': key 'value' must be there"),
    ("(mtbf_h + mttr_h)", "(mtbf_h + )", r"item '77-down'.*invalid syntax"),
    ("(mtbf_h + mttr_h)", "__import__('os')", r"a formula must be arithmetic over names"),
    ('value = "60 * mttr_h"', 'value = "mttr_h.__class__"', r"mark 1: a formula must be arithmetic"),
    ('question = "That', 'qestion = "That', r"item '77-down', mark 1: key 'question' must be there"),
    ('hints = ["a"', 'hints = ["a', r"made_up.toml: .*line"),
])
def test_what_is_wrong_is_named_with_file_item_and_key(read, old, new, said):
    assert old in NUMBER
    with pytest.raises(ItemFileError, match=said) as error:
        read(NUMBER.replace(old, new, 1))
    assert str(error.value).startswith("made_up.toml: ")


def test_a_case_must_be_there(read):
    text = NUMBER.partition("\n[item.case]")[0] + '\ncase = "77-other"\n'
    with pytest.raises(ItemFileError, match=r"item '77-down': case must be one of .*'77-other'"):
        read(text)


@pytest.mark.parametrize("text", [
    "open('x')", "(lambda: 1)()", "().__class__", "getattr(n, '__class__')", "[x := 1]",
    "exec('1')", "n.__dict__",
])
def test_a_formula_reaches_nothing_but_numbers(text, read):
    with pytest.raises((ItemFileError, NameError, AttributeError)):
        lesson = read(NUMBER.replace('value = "60 * mttr_h"', f'value = "{text}"'))
        item = lesson.item("77-down")
        item.fingerprints[0].value(next(item.case.draws(0)))


def test_a_formula_is_one_expression():
    assert eval(formula("2 ** 3 + max(1, 4)"), {"max": max}) == 12
    with pytest.raises(SyntaxError):
        formula("a = 1")


def test_worked_steps_give_one_item_for_each_step_that_is_asked(read):
    cases = "".join(f'\n[[case]]\nid = "77-{name}"\ntext = "{{a}} h"\n[case.numbers]\na = [{a}]\n'
                    for name, a in (("worked", 1), ("turn-1", 2), ("turn-2", 3), ("turn-3", 4)))
    steps = "".join(f'\n[[item.step]]\ntype = "number"\nid = "{name}"\nunit = "h"\nvalue = "{value}"\n'
                    for name, value in (("sketch", "a"), ("sort", "2 * a"), ("calculate", "3 * a"),
                                        ("compare", "4 * a")))
    lesson = read(f"""{cases}
[[item]]
type = "steps"
cases = ["77-worked", "77-turn-1", "77-turn-2", "77-turn-3"]
worked = ["one {{a}}", "two", "three", "four"]
{steps}""")
    assert [item.id for item in lesson.items] == [
        "77-turn-1.sketch", "77-turn-1.sort", "77-turn-2.sort", "77-turn-2.calculate",
        "77-turn-3.sort", "77-turn-3.calculate", "77-turn-3.compare"]
    last = lesson.item("77-turn-3.compare")
    assert last.solve(lesson.numbers(last.case, 0)) == 16
    assert re.fullmatch("Worked example", lesson.chains[0].title)


@pytest.mark.parametrize("module", sorted(Path(lessons.items.__path__[0]).glob("lesson_*.py")),
                         ids=lambda path: path.stem)
def test_a_module_imports_what_it_or_its_formulas_use(module):
    tree = ast.parse(module.read_text("utf-8"))
    imported = {alias.asname or alias.name for node in tree.body
                if isinstance(node, ast.Import | ast.ImportFrom) for alias in node.names}
    used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    used |= set(re.findall(r"\w+", module.with_suffix(".toml").read_text("utf-8")))
    assert imported - used - {"annotations"} == set()
