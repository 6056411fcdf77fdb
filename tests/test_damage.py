"""Notebooks with cells deleted, doubled, moved and retyped: what is left still runs.

    python -m tests.test_damage --count 200      many damaged copies of each lesson

A cell that stands alone cannot miss what was deleted or moved, so that is asked of each cell; two
runs in another order are in ``test_cell_order``. Here the calls are made as well, in a damaged copy.
"""

import argparse
import ast
import builtins
import json
import os
import random
import re

import nbformat
import pytest

from lessons.exercises import session as sessions
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.progress import lesson_progress
from lessons.exercises.session import Session
from lessons.teaching.lesson_file import read_lesson
from tests.notebooks import lessons
from tests.prose import only_calls

LESSONS = lessons()
ACTS = ("delete", "double", "move", "retype")
# More than a second each: run with WORKBOOK_LESSONS=all.
SLOW = ("03", "06", "07", "12")


def missing_names(source):
    """Return the names that a cell uses and neither makes, imports nor finds in Python."""
    tree = ast.parse(source)
    made = set(dir(builtins))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            made |= {(alias.asname or alias.name).split(".")[0] for alias in node.names}
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            made.add(node.id)
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            made.add(node.name)
        elif isinstance(node, ast.arg):
            made.add(node.arg)
    used = {node.id for node in ast.walk(tree)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)}
    return used - made


def damaged(notebook, draw):
    """Return a copy of a notebook in which a third of the cells was damaged."""
    copy = nbformat.from_dict(json.loads(json.dumps(notebook)))
    for _ in range(len(copy.cells) // 3):
        act, place = draw.choice(ACTS), draw.randrange(len(copy.cells))
        cell = copy.cells[place]
        if act == "delete" and len(copy.cells) > 2:
            del copy.cells[place]
        elif act == "double":
            # JupyterLab gives a copy an identifier of its own.
            twin = nbformat.from_dict({**cell, "id": f"copy-{draw.getrandbits(60)}"})
            copy.cells.insert(draw.randrange(len(copy.cells)), twin)
        elif act == "move":
            copy.cells.insert(draw.randrange(len(copy.cells)), copy.cells.pop(place))
        elif act == "retype":
            made = (nbformat.v4.new_markdown_cell if cell.cell_type == "code"
                    else nbformat.v4.new_code_cell)(cell.source)
            copy.cells[place] = made
    return copy


def calls_of(notebook):
    """Return the calls of questions and panels that are left as code."""
    left = []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            try:
                left += [cell.source] if only_calls(cell.source) else []
            except SyntaxError:
                continue  # a text that was made code: it says so itself, and nothing else stops
    return left


def run_damaged(path, seed, folder):
    """Read and run a damaged copy; the record of before stays, and what was left out is open."""
    number, draw = path.stem[:2], random.Random(f"{path.stem}:{seed}")
    copy = damaged(nbformat.read(path, as_version=4), draw)
    file = folder / path.name
    nbformat.write(copy, file)
    try:
        read_lesson(file)
    except ValueError as problem:
        assert "must begin with a title" in str(problem)
    desk = Session(LearnerRecord(folder))
    kept = len(desk.recorder.attempts())
    desk.check(f"{number}-exit", "not sure")
    calls = calls_of(copy)
    for source in draw.sample(calls, min(len(calls), 4)):
        exec(compile(source, path.stem, "exec"), {})
    again = LearnerRecord(folder)
    assert len(again.attempts()) >= kept + 1
    progress = lesson_progress(number, again.attempts())
    assert f"{number}-exit" in progress.missed and progress.waiting


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_each_cell_stands_alone(path):
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            assert not missing_names(cell.source), cell.source


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_the_cell_to_change_runs_as_changed(path):
    """Where a text says "put `new` for `old`", the cell it means runs with the new text in it."""
    cells = nbformat.read(path, as_version=4).cells
    (place,) = (n for n, cell in enumerate(cells) if "**Yours to change**" in cell.source)
    told = re.search(r"change\*\*( above)?: (?:put|write)\s`(.+?)`\s(?:for|in place of)\s`(.+?)`",
                     cells[place].source)
    above, new, old = told.groups()
    source = cells[place - 1 if above else place + 1].source
    assert old in source
    if path.stem[:2] not in SLOW or os.environ.get("WORKBOOK_LESSONS") == "all":
        exec(compile(source.replace(old, new), path.stem, "exec"), {})


def test_a_cell_that_leans_on_another_is_found():
    assert missing_names("import math\nprint(math.pi * rig)") == {"rig"}
    assert not missing_names("def f(x):\n    return [x + y for y in range(3)]\nf(2)")


def test_damaged_lessons_are_read_and_run(tmp_path, monkeypatch):
    desk = Session(LearnerRecord(tmp_path))
    monkeypatch.setattr(sessions, "session", lambda: desk)
    for path in LESSONS[::4]:
        run_damaged(path, 0, tmp_path)


def main(argv=None):
    """Damage each lesson many times."""
    import tempfile
    from pathlib import Path

    parser = argparse.ArgumentParser(prog="python -m tests.test_damage", description=main.__doc__)
    parser.add_argument("--count", type=int, default=50)
    count = parser.parse_args(argv).count
    with tempfile.TemporaryDirectory() as folder:
        for path in LESSONS:
            for seed in range(count):
                run_damaged(path, seed, Path(folder))
            print(f"{path.stem}: {count} damaged copies read and run")


if __name__ == "__main__":
    main()
