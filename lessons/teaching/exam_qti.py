"""The questions of an exam as a package of QTI 2.1, which platforms for learning and testing read.

Each question is a file of its own in a zip with a manifest. What is right, and how far others are
taken, is what the items say; a number is asked in a unit that is given. A table counts cell by
cell. The cards of an order count together: a part of the points for a part of the order cannot be
said there in a way that platforms agree on.

References
----------
IMS Question and Test Interoperability 2.1, Assessment Test, Section and Item Information Model, 2012;
IMS Content Packaging 1.1 for the manifest. Both from memory, in the elements that are used here.
The schema files themselves were not at hand; a reader of QTI 2.1 that is not ours (pyslet 0.7) has
read 248 questions of all lessons and counted as the items do.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lessons.exercises.item import LETTERS
from lessons.teaching.exam import Exam, asked_in, question_text, taken
from lessons.teaching.worksheet import Question

ITEMS, PACKAGES = "http://www.imsglobal.org/xsd/imsqti_v2p1", "http://www.imsglobal.org/xsd/imscp_v1p1"
SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"
ITEM_SCHEMA = "http://www.imsglobal.org/xsd/qti/qtiv2p1/imsqti_v2p1.xsd"
MADE = (1980, 1, 1, 0, 0, 0)


def exam_qti(exam: Exam) -> bytes:
    """Return the package: a zip, the same for the same exam."""
    manifest = Element("manifest", {"xmlns": PACKAGES, "identifier": f"EXAM-{exam.seed}"})
    about = SubElement(manifest, "metadata")
    SubElement(about, "schema").text = "QTIv2.1 Package"
    SubElement(about, "schemaversion").text = "1.0.0"
    SubElement(manifest, "organizations")
    resources, written = SubElement(manifest, "resources"), {}
    for variant in exam.variants:
        for question in variant.questions:
            name = f"Q{question.number:02d}-{variant.letter}"
            written[f"{name}.xml"] = qti_item(question, name)
            one = SubElement(resources, "resource", identifier=f"R-{name}", type="imsqti_item_xmlv2p1",
                             href=f"{name}.xml")
            SubElement(one, "file", href=f"{name}.xml")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in {"imsmanifest.xml": _document(manifest), **written}.items():
            package.writestr(zipfile.ZipInfo(name, MADE), text)
    return packed.getvalue()


def qti_item(question: Question, name: str) -> str:
    """Return one question as the XML of an assessment item."""
    item, form = question.item, question.form
    root = Element("assessmentItem", {
        "xmlns": ITEMS, "xmlns:xsi": SCHEMA, "xsi:schemaLocation": f"{ITEMS} {ITEM_SCHEMA}",
        "identifier": name, "title": f"{question.number:02d} {item.id}", "adaptive": "false",
        "timeDependent": "false"})
    score = Element("outcomeDeclaration", identifier="SCORE", cardinality="single", baseType="float",
                    normalMaximum=f"{item.points}")
    SubElement(SubElement(score, "defaultValue"), "value").text = "0"
    body, processing = Element("itemBody"), Element("responseProcessing")
    for line in question_text(question).splitlines():
        SubElement(body, "p").text = line
    if form.unit is not None:
        _number(question, root, body, processing)
    elif form.grid:
        _table(question, root, body, processing)
    else:
        _options(question, root, body, processing)
    root.extend((score, body, processing))
    return _document(root)


def _document(root: Element) -> str:
    indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{tostring(root, "unicode")}\n'


def _declared(root: Element, name: str, cardinality: str, kind: str, right: Sequence[str]) -> None:
    declared = SubElement(root, "responseDeclaration", identifier=name, cardinality=cardinality,
                          baseType=kind)
    said = SubElement(declared, "correctResponse")
    for value in right:
        SubElement(said, "value").text = value


def _counted(processing: Element, holds: Element, points: float) -> None:
    """Add points to the score where something holds."""
    branch = SubElement(SubElement(processing, "responseCondition"), "responseIf")
    branch.append(holds)
    more = SubElement(SubElement(branch, "setOutcomeValue", identifier="SCORE"), "sum")
    SubElement(more, "variable", identifier="SCORE")
    SubElement(more, "baseValue", baseType="float").text = f"{points:.9g}"


def _matched(name: str) -> Element:
    match = Element("match")
    SubElement(match, "variable", identifier=name)
    SubElement(match, "correct", identifier=name)
    return match


def _number(question: Question, root: Element, body: Element, processing: Element) -> None:
    (part,) = question.item.numeric_parts()
    of_unit, factor = asked_in(part, question.numbers)
    spans = taken(part, question.numbers, of_unit, factor)
    _declared(root, "RESPONSE", "single", "float", [f"{spans[0][0]:.9g}"])
    line = SubElement(body, "p")
    line.text = "Answer: "
    entry = SubElement(line, "textEntryInteraction", responseIdentifier="RESPONSE", expectedLength="12")
    entry.tail = f" {of_unit}" if of_unit else ""
    either = Element("or")
    for value, far in spans:
        both = SubElement(either, "and")
        # What is right with two figures is that number; a float is never asked to be equal.
        far = max(far, 1e-9 * abs(value))
        for tag, end in (("gte", value - far), ("lte", value + far)):
            limit = SubElement(both, tag)
            SubElement(limit, "variable", identifier="RESPONSE")
            SubElement(limit, "baseValue", baseType="float").text = f"{end:.12g}"
    _counted(processing, either, question.item.points)


def _options(question: Question, root: Element, body: Element, processing: Element) -> None:
    form, (marked, *_) = question.form, question.marked
    kind = "order" if form.places else "choice"
    _declared(root, "RESPONSE", "ordered" if form.places else "single", "identifier",
              marked.upper().split())
    asked = SubElement(body, f"{kind}Interaction", responseIdentifier="RESPONSE", shuffle="false")
    if not form.places:
        asked.set("maxChoices", "1")
    for letter, text in zip(LETTERS, form.options, strict=False):
        SubElement(asked, "simpleChoice", identifier=letter.upper()).text = text
    _counted(processing, _matched("RESPONSE"), question.item.points)


def _table(question: Question, root: Element, body: Element, processing: Element) -> None:
    cells = question.form.grid.cells
    right = question.item.right_answer(question.numbers)
    for place, (where, said) in enumerate(right.items(), 1):
        name, options = f"CELL{place}", list(cells[where].options)
        line = SubElement(body, "p")
        line.text = f"{' / '.join(where)}: "
        _declared(root, name, "single", "identifier", [f"O{options.index(said) + 1}"])
        asked = SubElement(line, "inlineChoiceInteraction", responseIdentifier=name, shuffle="false")
        for number, text in enumerate(options, 1):
            SubElement(asked, "inlineChoice", identifier=f"O{number}").text = text
        _counted(processing, _matched(name), question.item.points / len(right))
