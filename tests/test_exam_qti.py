"""The package of QTI 2.1: held to the facts of its schema, and counted by a reader of its own.

What the schema says of each element stands in `tests/qti_schema.py`, which draws all questions too. Once,
outside of these tests, pyslet 0.7.20170805, an open reader of QTI 2.1, read 248 questions of all lessons
and gave each right answer its points and each wrong one none.
"""

import io
import zipfile
from xml.etree import ElementTree

import pytest

from lessons.teaching.exam import SMALL, draw_exam
from lessons.teaching.exam_qti import exam_qti, qti_item
from tests.qti_schema import ITEM, PACKAGE, unlike_schema
from tests.test_exam import LESSONS, keyed, verdict


def package_of(exam):
    return zipfile.ZipFile(io.BytesIO(exam_qti(exam)))


def questions_of(exam):
    """Each question with its file in the package."""
    package = package_of(exam)
    return [(question, ElementTree.fromstring(package.read(f"Q{question.number:02d}-{variant.letter}.xml")))
            for variant in exam.variants for question in variant.questions]


def counted(root, said):
    """The score for responses, by the rules of response processing that stand in the file."""
    right = {each.get("identifier"): [one.text for one in each.iter(f"{ITEM}value")]
             for each in root.iter(f"{ITEM}responseDeclaration")}

    def holds(node):
        tag, parts = node.tag.removeprefix(ITEM), list(node)
        if tag in ("or", "and"):
            return (any if tag == "or" else all)(map(holds, parts))
        name = parts[0].get("identifier")
        if tag == "match":
            return said[name] == right[parts[1].get("identifier")]
        limit = float(parts[1].text)
        return float(said[name][0]) >= limit if tag == "gte" else float(said[name][0]) <= limit

    score = float(root.findtext(f"{ITEM}outcomeDeclaration/{ITEM}defaultValue/{ITEM}value"))
    for branch in root.iter(f"{ITEM}responseIf"):
        if holds(branch[0]):
            score += float(branch.find(f"{ITEM}setOutcomeValue/{ITEM}sum/{ITEM}baseValue").text)
    return score


@pytest.fixture(scope="module", params=(1, 2))
def exam(request):
    return draw_exam(LESSONS, seed=request.param, minutes=45)


def test_each_file_has_the_form_of_the_standard_and_stands_in_the_manifest(exam):
    package = package_of(exam)
    manifest = ElementTree.fromstring(package.read("imsmanifest.xml"))
    named = [each.get("href") for each in manifest.iter(f"{PACKAGE}resource")]
    assert sorted(named) == sorted({*package.namelist()} - {"imsmanifest.xml"})
    assert {each.get("type") for each in manifest.iter(f"{PACKAGE}resource")} == {"imsqti_item_xmlv2p1"}
    assert [*unlike_schema(manifest)] == []
    names = set()
    for _, root in questions_of(exam):
        assert [*unlike_schema(root)] == []
        # The information model recommends that a name has 32 letters at most.
        names.add(root.get("identifier"))
        assert all(len(each.get("identifier") or "") <= 32 for each in root.iter())
        for each in root.iter():
            choices = [one.get("identifier") for one in each if one.tag.endswith("Choice")]
            assert len(choices) == len({*choices})
        for told in root.iter(f"{ITEM}responseDeclaration"):
            asked = next(each for each in root.iter()
                         if each.get("responseIdentifier") == told.get("identifier"))
            right = [one.text for one in told.iter(f"{ITEM}value")]
            if choices := [one.get("identifier") for one in asked]:
                whole = asked.tag.endswith("orderInteraction")
                assert {*right} <= {*choices} and len(right) == (len(choices) if whole else 1)
    assert len(names) == len(named)


WRONG = (
    (' timeDependent="false"', ""), ('baseType="float"', 'baseType="number"'), ("</value>", "</value>5"),
    ("<itemBody>", "<itemBody>Text"), ("<responseProcessing>", "<p>late</p><responseProcessing>"),
    ('responseIdentifier="RESPONSE"', 'responseIdentifier="ANSWER"'),
    ('expectedLength="12"', 'expectedLength="wide"'), ("<gte>", '<gte><variable identifier="SCORE" />'),
    ('identifier="SCORE"', 'identifier="1st"'), ('title="', 'subject="a" title="'))


def test_the_table_of_the_schema_finds_a_wrong_file():
    """Each change is one that the schema refuses, at a question that asks for a number."""
    exam = draw_exam(("01",), seed=1, minutes=5, variants=1)
    number = next(each for each in exam.variants[0].questions if each.form.unit is not None)
    text = qti_item(number, "Q01-A")
    for found, put in WRONG:
        assert found in text
        assert [*unlike_schema(ElementTree.fromstring(text.replace(found, put, 1)))], put


def test_what_is_judged_right_counts_and_no_known_error(exam):
    kinds = set()
    for question, root in questions_of(exam):
        item, numbers = question.item, question.numbers
        right = {each.get("identifier"): [one.text for one in each.iter(f"{ITEM}value")]
                 for each in root.iter(f"{ITEM}responseDeclaration")}
        assert counted(root, right) == pytest.approx(item.points, rel=1e-6)
        texts = {each.get("identifier"): each.text for each in root.iter() if each.tag.endswith("Choice")}
        if question.form.unit is not None:
            kinds.add("number")
            unit = (root.find(f".//{ITEM}textEntryInteraction").tail or "").strip()
            value = float(right["RESPONSE"][0])
            assert verdict(question, f"{value:.9g} {unit}") == "RIGHT"
            for near in (*(float(f"{value:.{figures}g}") for figures in (2, 3, 4)),
                         value * 1.1, value * 0.9, -value, value * 60, value / 60):
                counts = counted(root, {"RESPONSE": [repr(near)]}) > 0
                assert counts or verdict(question, f"{near:.9g} {unit}") != "RIGHT", (item.id, near)
                assert not counts or abs(near / value - 1) < 0.06
            if unit == item.unit:
                assert not any(counted(root, {"RESPONSE": [repr(mark.value(numbers))]})
                               for mark in item.fingerprints)
        elif question.form.grid:
            kinds.add("table")
            for name in right:
                other = {**right, name: ["none"]}
                assert counted(root, other) == pytest.approx(
                    item.points * (1 - 1 / len(right)), rel=1e-6, abs=1e-9)
        elif question.form.places:
            kinds.add("order")
            assert verdict(question, [texts[letter] for letter in right["RESPONSE"]]) == "RIGHT"
            assert counted(root, {"RESPONSE": right["RESPONSE"][::-1]}) == 0
        else:
            kinds.add("choice")
            assert right["RESPONSE"] == [keyed(question).upper()]
            for letter, text in texts.items():
                assert bool(counted(root, {"RESPONSE": [letter]})) == (verdict(question, text) == "RIGHT")
    assert kinds == {"number", "choice", "order", "table"}


def test_a_small_time_a_year_is_asked_in_seconds():
    """Where a platform keeps few digits behind the point, 0.05 min/a is asked as 3 s/a."""
    small = 0
    for question, root in questions_of(draw_exam(("02",), seed=4, minutes=20)):
        if question.item.numeric_parts() and question.item.unit == "min/a":
            value, unit = question.item.solve(question.numbers), root.find(f".//{ITEM}textEntryInteraction").tail
            small += value < SMALL
            factor, named = (60, "s/a") if value < SMALL else (1, "min/a")
            said = float(root.findtext(f".//{ITEM}correctResponse/{ITEM}value"))
            assert unit.strip() == named and said >= SMALL
            # written with nine figures
            assert said == pytest.approx(value * factor, rel=1e-8, abs=0)
    assert small


def test_the_same_exam_is_the_same_package():
    one, other = (exam_qti(draw_exam(("01",), seed=7, minutes=9)) for _ in range(2))
    assert one == other
