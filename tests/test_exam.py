"""An exam: its key is what the items judge right, its papers tell nothing, its variants differ."""

import csv
import io
import re
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from lessons.__main__ import main
from lessons.exercises.item import LETTERS
from lessons.exercises.on_paper import Form, Grid
from lessons.exercises.replies import Verdict
from lessons.teaching import exam as module
from lessons.teaching.exam import SMALL, draw_exam, exam_key, exam_paper, exam_quiz, exam_table
from tests.paper_leaks import answers_told, marked_options, without_options, words
from tests.paper_numbers import wrong_in_exam

LESSONS = ("01", "05", "07")


@pytest.fixture(scope="module", params=(1, 2, 3))
def exam(request):
    return draw_exam(LESSONS, seed=request.param, minutes=30)


def keyed(question):
    """What somebody writes who has the key: the value, or the letters, or a table of texts."""
    lines = question.item.marked_by(question.numbers, question.seed)
    if question.form.grid:
        return {place: line.partition(": ")[2].partition(") ")[2]
                for line in lines for place in [line.partition(": ")[0]]}
    return lines[0].partition(" (")[0]


def verdict(question, answer):
    return question.item.judge(answer, question.numbers, question.seed, {}).verdict.name


def test_what_the_key_says_is_judged_right(exam):
    for variant in exam.variants:
        for question in variant.questions:
            assert verdict(question, keyed(question)) == "RIGHT", question.item.id
            if question.form.grid or question.form.places:
                continue
            right = keyed(question)
            for letter in LETTERS[:len(question.form.options)]:
                assert (verdict(question, letter) == "RIGHT") == (letter == right)
            if question.form.options:
                # The letter of the key stands on the paper before the option that is right.
                text = question.form.options[LETTERS.index(right)]
                assert verdict(question, text) == "RIGHT"


def test_papers_and_key_have_the_numbers_and_answers_of_the_screen():
    assert [*wrong_in_exam(draw_exam(LESSONS, seed=4, minutes=15))] == []


def test_the_key_has_each_answer_its_page_and_the_pass_mark(exam):
    leaves = exam_key(exam).split('<div class="leaf">')[1:]
    assert len(leaves) == len(exam.variants)
    for variant, leaf in zip(exam.variants, map(words, leaves), strict=True):
        for question in variant.questions:
            for line in question.item.marked_by(question.numbers, question.seed):
                assert line in leaf
            number = f'<span class="n">{question.number}</span>'
            assert [number in html for html in variant.pages].index(True) + 1 == question.page
        assert f"variant {variant.letter}" in leaf and f"numbers {variant.seed}" in leaf
        assert re.search(rf"in all \W+{exam.points}\b", leaf)
        assert f"60 %, that is {exam.pass_points} of {exam.points} points" in leaf
    assert exam.points <= exam.minutes
    assert 0.6 * exam.points <= exam.pass_points < 0.6 * exam.points + 1


def test_no_page_tells_an_answer(exam):
    for variant in exam.variants:
        texts = [words(without_options(html)) for html in variant.pages]
        assert [] == [(question.item.id, told) for question in variant.questions for text in texts
                      for told in answers_told(question, text)]
        assert [] == [odd for html in variant.pages for odd in marked_options(html)]
        first = next(each for each in variant.questions if each.form.unit is not None)
        assert answers_told(first, f"{texts[0]} = {keyed(first)}")


def test_each_page_has_name_date_variant_seed_and_number(exam):
    for variant in exam.variants:
        pages = exam_paper(exam, variant).split('<section class="page">')[1:]
        assert len(pages) == len(variant.pages)
        for place, text in enumerate(map(words, pages), 1):
            for said in ("Name", "Date", f"Variant {variant.letter}", f"seed {exam.seed}",
                         f"numbers {variant.seed}", f"page {place} of {len(pages)}"):
                assert said in text
            assert not re.search(r"\b(?:cells?|buttons?|click|python|predict)\b", text, re.IGNORECASE)


def test_variants_ask_the_same_with_other_numbers_and_orders(exam):
    one, other = (variant.questions for variant in exam.variants)
    assert [each.item for each in one] == [each.item for each in other]
    assert len({each.item.ask for each in one}) == len(one)
    assert {each.item.id[:2] for each in one} == set(LESSONS)
    assert not any(each.form.bench or each.form.reason or each.item.predicts for each in one)
    # Three options stand under the same letter in one draw of three; some tables never vary.
    assert exam.differing(exam.variants[1]) >= len(one) / 2


def test_the_same_seed_draws_the_same_exam():
    papers = {exam_paper(exam, exam.variants[0]) for exam in (
        draw_exam(("01",), seed=seed, minutes=9) for seed in (7, 7, 8))}
    assert len(papers) == 2


def test_the_csv_has_each_question_with_its_answer(exam):
    rows = [*csv.DictReader(io.StringIO(exam_table(exam)))]
    asked = [(variant.letter, each) for variant in exam.variants for each in variant.questions]
    assert [(row["variant"], row["item"]) for row in rows] == [
        (letter, each.item.id) for letter, each in asked]
    for row, (_, each) in zip(rows, asked, strict=True):
        assert row["answer"].splitlines() == [*each.item.marked_by(each.numbers, each.seed)]
        assert re.findall(r"^\w\) (.+)", row["options"], re.MULTILINE) == [*each.form.options]
        assert int(row["points"]) == each.item.points and row["text"]


def read_back(exam):
    """Each question with what the file says of it."""
    asked = {f"{each.number:02d} {variant.letter} {each.item.id}": each
             for variant in exam.variants for each in variant.questions}
    found = [each for each in ElementTree.fromstring(exam_quiz(exam).encode("utf-8"))
             if each.get("type") != "category"]
    assert sorted(each.findtext("name/text") for each in found) == sorted(asked)
    return [(asked[each.findtext("name/text")], each) for each in found]


def test_the_xml_takes_what_is_judged_right_and_no_known_error(exam):
    kinds = set()
    for question, found in read_back(exam):
        kinds.add(kind := found.get("type"))
        item, numbers = question.item, question.numbers
        assert found.findtext("defaultgrade") == str(item.points)
        if kind == "numerical":
            said = re.search(r"Answer in (.+)\.$", found.findtext("questiontext/text"))
            answers = [(float(each.findtext("text")), float(each.findtext("tolerance")))
                       for each in found.iter("answer")]
            assert abs(answers[0][0]) >= (SMALL if said and said[1].endswith("in/a") else 1e-4)
            for each in found.iter("answer"):
                written = f"{each.findtext('text')} {said[1] if said else ''}"
                assert verdict(question, written) == "RIGHT", (item.id, written)
            if said and said[1] == item.unit:
                ends = [float(each) for each in item.taken(numbers, 3)]
                wrong = [mark.value(numbers) for mark in item.fingerprints]
                assert all(taken_in(each, answers) for each in ends)
                assert not any(taken_in(each, answers) for each in wrong), item.id
            for figures in (2, 3, 4, 5):
                near = float(f"{answers[0][0]:.{figures}g}")
                right = verdict(question, f"{near:.9g} {said[1] if said else ''}") == "RIGHT"
                assert taken_in(near, answers) or not right, (item.id, near)
        elif kind == "multichoice":
            for each in found.iter("answer"):
                right = verdict(question, each.findtext("text")) == "RIGHT"
                assert each.get("fraction") == ("100" if right else "0")
        else:
            pairs = {each.findtext("text"): each.findtext("answer/text")
                     for each in found.iter("subquestion") if each.findtext("text")}
            # The platform warns of fewer than three, those that ask nothing counted (read in its source).
            assert len(found.findall("subquestion")) >= 3
            answer = pairs if question.form.grid else sorted(pairs, key=lambda card: int(pairs[card]))
            assert verdict(question, answer) == "RIGHT"
    assert kinds == {"numerical", "multichoice", "matching"}


def taken_in(value, answers):
    return any(abs(value - right) <= far for right, far in answers)


def test_a_small_time_a_year_is_asked_in_seconds():
    exam, small = draw_exam(("02",), seed=4, minutes=20), 0
    for question, found in read_back(exam):
        if question.item.numeric_parts() and question.item.unit == "min/a":
            value = question.item.solve(question.numbers)
            small += value < SMALL
            factor, named = (60, "s/a") if value < SMALL else (1, "min/a")
            # written with nine figures
            assert float(found.findtext("answer/text")) == pytest.approx(value * factor, rel=1e-8, abs=0)
            assert found.findtext("questiontext/text").endswith(f"Answer in {named}.")
    assert small


def test_the_command_writes_papers_and_key(tmp_path, capsys):
    words_given = ["exam", str(tmp_path), "--lesson", "01", "--seed", "5", "--variants", "3",
                   "--minutes", "12", "--pass", "50", "--export"]
    assert main(words_given) == 0
    assert sorted(file.name for file in tmp_path.iterdir()) == [
        "exam_seed_5.csv", "exam_seed_5.xml", "exam_seed_5_key.html", "exam_seed_5_qti.zip", *(f"exam_seed_5_variant_{letter}.html" for letter in "ABC")]
    assert "points are enough" in words((tmp_path / "exam_seed_5_variant_C.html").read_text("utf-8"))
    for option, value, rule in (("--variants", "27", "variants must be 1 to 26, got 27"),
                                ("--pass", "0", "pass must be 1 to 100, got 0"),
                                ("--minutes", "0", "minutes must be 1 to 600, got 0")):
        assert main(["exam", str(tmp_path), option, value]) == 2
        assert rule in capsys.readouterr().err


# ---------------------------------------------------------------- by hand


def test_an_exam_of_which_nothing_is_said_has_two_variants_and_takes_an_hour():
    """60 % of 60 minutes; its numbers are those of 100 times the seed and the place."""
    usual, one = draw_exam(("01",)), draw_exam(("01",), seed=3, variants=1, minutes=9)
    assert (usual.seed, usual.minutes, usual.pass_percent) == (1, 60, 60)
    assert [each.seed for each in usual.variants] == [101, 102] and [each.seed for each in one.variants] == [301]
    assert one.count == len(one.variants[0].questions) and 0 < one.points <= 9


def asked(value, of_unit="min/a", right=(), accepted=None):
    """A number that is asked for, what is judged right beside it, and the ends of what is taken."""
    return SimpleNamespace(
        unit=of_unit, solve=lambda numbers: value, taken=lambda numbers, figures: (accepted or {}).get(figures),
        judge=lambda said, *_: SimpleNamespace(verdict=Verdict.RIGHT if said in right else Verdict.LOOK_AGAIN))


@pytest.mark.parametrize(("value", "of_unit", "found"), [
    (0.1, "min/a", ("min/a", 1)), (0.0999, "min/a", ("s/a", 60)), (-0.001, "min/a", ("ms/a", 60_000)),
    (0.002, "h/a", ("min/a", 60)), (1e-9, "min/a", ("min/a", 1)), (0.05, "%", ("%", 1)), (0.05, "h", ("h", 1))])
def test_a_number_below_a_tenth_is_asked_in_the_first_unit_in_which_it_is_not(value, of_unit, found):
    assert module.asked_in(asked(value, of_unit), None) == (found[0], pytest.approx(found[1], rel=1e-12))


@pytest.mark.parametrize(("right", "accepted", "far", "more"), [
    # 0.0123456 h are 0.740736 min; a millionth of it is for the last digit that is written
    ((), None, 0, []),
    (("0.741 min", "0.74 min"), None, 0.741 - 0.740736, [0.74]),
    (("0.7407 min",), None, 0.740736 - 0.7407, []),
    (("0.7 min", "0.74074 min"), None, 0, []),                    # of one and of five figures nothing is said
    (("0.74 min",), {3: ("0.0122", "0.0124")}, 0.740736 - 0.732, []),
    (("0.74 min",), {4: ("0.0123",)}, 0.740736 - 0.738, [])])
def test_what_a_platform_takes_by_hand(right, accepted, far, more):
    found = module.taken(asked(0.0123456, "h", right, accepted), None, "min", 60.0)
    assert found == [(pytest.approx(0.740736, rel=1e-12), pytest.approx(far + 0.740736e-6, rel=1e-6, abs=0)),
                     *((each, 0.0) for each in more)]


def of_item(name, points=2, ask=None, **more):
    return SimpleNamespace(**{"id": name, "points": points, "ask": ask or name, "predicts": False, "many_answers": (),
                              "case": None, "objective": ""} | more)


def table_of(*cells):
    places = [("row", f"column {place}") for place in range(len(cells))]
    return Form(grid=Grid("", ("row",), tuple(place for _, place in places), dict(zip(places, cells, strict=True))))


@pytest.mark.parametrize(("form", "more", "may"), [
    (Form(options=("a", "b")), {}, True), (Form(unit="h"), {}, True), (Form(words=True), {}, False),
    (Form(reason=True), {}, False), (table_of("given", Form(options=("a", "b"))), {}, True),
    (table_of("given", Form(options=("a",)), Form(unit="")), {}, False), (table_of(Form(words=True)), {}, False),
    (Form(), {"id": "01-at-the-screen"}, False), (Form(), {"id": "01-step"}, False), (Form(), {"predicts": True}, False),
    (Form(), {"many_answers": ("x",)}, False), (Form(), {"points": 0}, False)])
def test_what_may_be_asked_in_an_exam(monkeypatch, form, more, may):
    lesson = SimpleNamespace(number="01", numbers=lambda case, seed: SimpleNamespace(seed=seed),
                             chains=(SimpleNamespace(steps=(SimpleNamespace(item="01-step"),)),))
    monkeypatch.setattr(module, "lesson_of", lambda name: lesson)
    monkeypatch.setattr(module, "teacher_notes", lambda number: {"not_on_paper": ["01-at-the-screen"]})
    assert module.may_be_asked(of_item(**{"name": more.pop("id", "01-a"), "on_paper": lambda *_: form} | more)) is may


def test_questions_are_drawn_in_turn_until_the_points_are_used(monkeypatch):
    """7 points: 2 + 2; one that asks the same, 1; 3 are too many, one is told; 1, 2 are too many; the last 1."""
    queues = {"02": [of_item("02-a"), of_item("02-b", ask="01-a"), of_item("02-c", 3), of_item("02-d", 1)],
              "01": [of_item("01-a"), of_item("01-b", 1), of_item("01-told"), of_item("01-c"), of_item("01-d", 1)]}
    monkeypatch.setattr(module, "_queue", lambda number, seed: queues[number])
    monkeypatch.setattr(module, "_answers", lambda one, other, seed: seed == 5 and one.id == "02-a"
                        and other.id == "01-told")
    drawn = module._drawn(("02", "01"), 1, (4, 5), 7)
    assert [each.id for each in drawn] == ["01-a", "01-b", "01-d", "02-a", "02-d"]


def test_each_objective_comes_once_in_a_round(monkeypatch):
    items = [of_item(name, objective=name[0]) for name in ("a1", "a2", "b1", "a3", "b2", "c1")]
    monkeypatch.setattr(module, "lesson_of", lambda name: SimpleNamespace(items=[*items, of_item("x")]))
    monkeypatch.setattr(module, "may_be_asked", lambda item: item.id != "x")
    monkeypatch.setattr(module, "shuffled", lambda found, name: found)
    assert [each.id for each in module._queue("01", 1)] == ["a1", "b1", "c1", "a2", "b2", "a3"]


@pytest.mark.parametrize(("text", "results", "form", "told"), [
    ("It takes 35.04 min a year.", [(35.04, "min/a")], Form(unit="min/a"), True),
    ("It takes 35.04 min a year.", [(36.0, "min/a")], Form(unit="min/a"), False),
    # a share may be told without its per cent, a length of time not as a hundredth
    ("The chance is 0.125.", [(12.5, "%")], Form(unit="%"), True),
    ("The chance is 0.125.", [(12.5, "h")], Form(unit="h"), False),
    ("All know that THE STANDBY LEADS now.", [], Form(options=("nobody", "The standby leads.")), True),
    ("All know that nobody leads.", [], Form(options=("nobody", "The standby leads.")), False),
    ("First the standby leads.", [], Form(options=("nobody", "The standby leads."), places=2), False)])
def test_one_question_answers_another(monkeypatch, text, results, form, told):
    monkeypatch.setattr(module, "question_of", lambda lesson, item, seed: SimpleNamespace(
        numbers=None, results=results, form=form, right_place=1))
    assert module._answers(of_item("a", task=lambda numbers, seed: text), of_item("b"), 1) is told


def in_bank(monkeypatch, form, right=None, place=0):
    monkeypatch.setattr(module, "question_text", lambda question: "Asked.")
    question = SimpleNamespace(form=form, item=of_item("01-a", right_answer=lambda numbers: right), numbers=None, number=4, right_place=place)
    found = module._in_bank(question, "B")
    assert (found["name"], found["points"], found["text"]) == ("04 B 01-a", 2, "Asked.")
    return found


def test_what_a_platform_is_asked_by_hand(monkeypatch):
    """Cards have places from 1; what is offered in a table and is right nowhere stands without a question."""
    cards = in_bank(monkeypatch, Form(options=("a", "b", "c"), places=3), ["c", "a", "b"])
    assert (cards["kind"], cards["pairs"]) == ("matching", [("a", "2"), ("b", "3"), ("c", "1")])
    one = in_bank(monkeypatch, Form(options=("a", "b", "c")), place=1)
    assert (one["kind"], one["options"]) == ("multichoice", [("a", 0), ("b", 100), ("c", 0)])
    pick = Form(options=("yes", "no", "never"))
    table = in_bank(monkeypatch, table_of("given", pick, pick), {("row", "column 1"): "no", ("row", "column 2"): "yes"})
    assert (table["kind"], table["pairs"]) == ("matching", [("row / column 1", "no"), ("row / column 2", "yes"), ("", "never")])
