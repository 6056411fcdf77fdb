"""The questions of an exam as a package of QTI 2.1, which platforms for learning and testing read.

Each question is a file of its own in a zip with a manifest. What is right, and how far others are
taken, is what the items say; a number is asked in a unit that is given. A table counts cell by
cell. The cards of an order count together: a part of the points for a part of the order cannot be
said there in a way that platforms agree on.

References
----------
IMS Question and Test Interoperability 2.1, Assessment Test, Section and Item Information Model, 2012;
IMS Content Packaging 1.1 for the manifest. What the schemas say of each element that is written here
stands in tests/qti_schema.py. A reader of QTI 2.1 that is not ours (pyslet 0.7) has read 248 questions of
all lessons and counted as the items do.
"""

import io
import zipfile

from lessons.exercises.item import LETTERS
from lessons.teaching.exam import Exam, asked_in, question_text, taken
from lessons.teaching.pages import piece
from lessons.teaching.worksheet import Question

MADE = (1980, 1, 1, 0, 0, 0)


def exam_qti(exam: Exam) -> bytes:
    """Return the package: a zip, the same for the same exam."""
    written = {name: qti_item(question, name) for variant in exam.variants
               for question in variant.questions for name in [f"Q{question.number:02d}-{variant.letter}"]}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in {"imsmanifest": piece("qti_manifest.xml.j2", seed=exam.seed, names=written),
                           **written}.items():
            package.writestr(zipfile.ZipInfo(f"{name}.xml", MADE), text)
    return packed.getvalue()


def qti_item(question: Question, name: str) -> str:
    """Return one question as the XML of an assessment item."""
    form = question.form
    asks = _number if form.unit is not None else _table if form.grid else _options
    return piece("qti_item.xml.j2", name=name, title=f"{question.number:02d} {question.item.id}",
                 points=question.item.points, lines=question_text(question).splitlines(), **asks(question))


def _number(question: Question) -> dict[str, object]:
    """Return between which limits a number is right, in a unit that is given."""
    (part,) = question.item.numeric_parts()
    of_unit, factor = asked_in(part, question.numbers)
    spans = taken(part, question.numbers, of_unit, factor)
    # What is right with two figures is that number; a float is never asked to be equal.
    wide = [(value, max(far, 1e-9 * abs(value))) for value, far in spans]
    return {"kind": "number", "unit": of_unit, "right": f"{spans[0][0]:.9g}",
            "spans": [(f"{value - far:.12g}", f"{value + far:.12g}") for value, far in wide]}


def _options(question: Question) -> dict[str, object]:
    """Return what is chosen among, or brought into order."""
    form = question.form
    return {"kind": "order" if form.places else "choice", "right": question.marked[0].upper().split(),
            "options": list(zip(LETTERS.upper(), form.options, strict=False))}


def _table(question: Question) -> dict[str, object]:
    """Return the cells of a table, each with its list, the place of what is right, and its points."""
    right = question.item.right_answer(question.numbers)
    cells = question.form.grid.cells
    return {"kind": "table", "each": f"{question.item.points / len(right):.9g}", "cells": [
        (" / ".join(where), cells[where].options, cells[where].options.index(said) + 1)
        for where, said in right.items()]}
