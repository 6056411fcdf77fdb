"""Every number that the lessons ask for, against a sum worked by hand from the text of its task.

The sums stand in ``by_hand``, one file for each lesson. A task and its answer come from the same
code, so that a wrong relation there looks right to any test that asks the code for the answer.
"""

import ast
import functools
import json
import math
import operator
import re
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest

from lessons.exercises.lookup import lesson_of
from lessons.exercises.numeric import Numeric
from lessons.exercises.quantities import unit
from lessons.exercises.replies import Verdict
from lessons.exercises.table import Table

LESSONS = Path(__file__).parents[1] / "lessons"
FILES = sorted((Path(__file__).parent / "by_hand").glob("*.toml"))
ANSWERS = [
    pytest.param(path.stem, answer, id=f"{path.name}: {answer['item']}, seed {answer['seed']}")
    for path in FILES
    for answer in tomllib.loads(path.read_text("utf-8"), parse_float=Decimal)["answer"]
]
OPERATORS = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.Div: operator.truediv, ast.Pow: operator.pow,
}
FUNCTIONS = {"sqrt": math.sqrt, "exp": math.exp, "log": math.log}
# Thousands are set apart by spaces; the digits of a designation such as KF1 are no number.
NUMBER = re.compile(r"(?<![\w.])(?:\d{1,3}(?:[ \u202f]\d{3})+(?!\d)|\d+)(?:\.\d+)?")


def lesson(number):
    return lesson_of(f"{number}-")


@functools.cache
def asked(number):
    """Return for each number that a lesson asks for its item, and what judges the number."""
    found = {}
    for item in lesson(number).items:
        if isinstance(item, Numeric):
            found[item.id] = item, item
        elif isinstance(item, Table):
            for (row, column), cell in item.open_cells().items():
                if isinstance(cell, Numeric):
                    found[f"{item.id} / {row} / {column}"] = item, cell
    return found


def calculate(text):
    """Return what a sum gives on a calculator; it knows no names and asks no code."""
    return _value(ast.parse(text, mode="eval").body)


def _value(node):
    match node:
        case ast.Constant(value=int() | float() as number):
            return number
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return -_value(operand)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in OPERATORS:
            return OPERATORS[type(op)](_value(left), _value(right))
        case ast.Call(func=ast.Name(id=name), args=[number], keywords=[]) if name in FUNCTIONS:
            return FUNCTIONS[name](_value(number))
    raise ValueError(f"sum must hold numbers, + - * / ** ( ), sqrt, exp and log only, "
                     f"got {ast.unparse(node)!r}")


def distance(cell, value):
    """Return what a tolerance is a share of: the value, or what an availability lacks to one."""
    one = unit("1").factor / unit(cell.unit).factor
    return one - value if cell.complement else value


def verdict(number, answer, value):
    """Return what the item says of this value, for a cell what the table says of the cell."""
    item, _ = asked(number)[answer["item"]]
    numbers = lesson(number).numbers(item.case, answer["seed"])
    said = f"{value} {answer['unit']}"
    if not isinstance(item, Table):
        return item.judge(said, numbers, answer["seed"], {}).verdict
    place = answer["item"].removeprefix(f"{item.id} / ")
    return Verdict(item.judge({place: said}, numbers, answer["seed"], {}).value[place][1])


def printed(number, start):
    """Return the lines that start with this word, of all that the cells of a lesson print."""
    (path,) = LESSONS.glob(f"{number}_*.ipynb")
    cells = json.loads(path.read_text("utf-8"))["cells"]
    outputs = (output for cell in cells for output in cell.get("outputs", ()))
    lines = (line for output in outputs for line in output.get("text", ()))
    return "".join(line for line in lines if line.split()[:1] == [start])


def numbers_in(text):
    return {float(re.sub(r"[ \u202f]", "", found)) for found in NUMBER.findall(text)}


@pytest.mark.parametrize(("number", "answer"), ANSWERS)
def test_sum_gives_the_value(number, answer):
    _, cell = asked(number)[answer["item"]]
    value, worked_out = float(answer["value"]), calculate(answer["sum"])
    half_a_digit = 0.5 * 10.0 ** Decimal(answer["value"]).as_tuple().exponent
    assert abs(worked_out - value) <= half_a_digit, worked_out
    exact = math.isclose(worked_out, value, rel_tol=1e-12)
    assert exact or half_a_digit <= 5e-4 * abs(distance(cell, value)), "too few figures"


@pytest.mark.parametrize(("number", "answer"), ANSWERS)
def test_numbers_of_the_sum_stand_in_the_task(number, answer):
    item, _ = asked(number)[answer["item"]]
    text = (
        printed(number, answer["line"]) if "line" in answer
        else item.task(lesson(number).numbers(item.case, answer["seed"]), answer["seed"]))
    assert numbers_in(answer["given"]), "given must hold the numbers of the task"
    assert numbers_in(answer["given"]) <= numbers_in(text), text


@pytest.mark.parametrize(("number", "answer"), ANSWERS)
def test_answer_key_is_the_value(number, answer):
    item, cell = asked(number)[answer["item"]]
    key = cell.solve(lesson(number).numbers(item.case, answer["seed"]))
    by_hand = distance(cell, float(answer["value"]))
    assert answer["unit"] == cell.unit
    # By hand numbers are rounded on the way, to four figures or so; the key is not.
    assert math.isclose(distance(cell, key), by_hand, rel_tol=1e-3), key
    assert verdict(number, answer, answer["value"]) is Verdict.RIGHT
    beyond = max(1.07, 1 + 1.5 * cell.tolerance)
    for wrong in (by_hand * beyond, by_hand / beyond):
        assert verdict(number, answer, distance(cell, wrong)) is not Verdict.RIGHT, wrong


@pytest.mark.parametrize("number", [path.stem for path in FILES])
def test_every_number_is_worked_by_hand(number):
    seeds = {name: [] for name in asked(number)}
    for param in ANSWERS:
        if param.values[0] == number:
            seeds[param.values[1]["item"]].append(param.values[1]["seed"])
    for name, (item, _) in asked(number).items():
        assert seeds[name].count(0) == 1, f"{name} must be worked once for seed 0"
        plant, *others = (lesson(number).numbers(item.case, seed) for seed in sorted(seeds[name]))
        drawn = [item.task(numbers, 0) for numbers in others]
        one_draw = len(list(item.case.draws(1))) == 1
        assert one_draw or any(text != item.task(plant, 0) for text in drawn), (
            f"{name} must be worked for one more draw")


def test_calculator_refuses_what_is_no_number():
    assert calculate("-2 ** 2 + 3 * (sqrt(16) - 1) / log(exp(1))") == 5
    for text in ("mtbf_h / 2", "abs(-1)", "solve(60000, 4)", "'a' * 2", "1 if 2 else 3"):
        with pytest.raises(ValueError, match="sum must hold"):
            calculate(text)


def test_every_lesson_has_its_sums():
    assert [path.stem for path in FILES] == [path.name[:2] for path in sorted(LESSONS.glob("[0-9]*.ipynb"))]
