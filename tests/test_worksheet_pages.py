"""How high the pieces of a worksheet are, and on which page each of them comes: by hand, in mm."""

from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from lessons.exercises.on_paper import Form, Grid
from lessons.teaching import worksheet
from lessons.teaching.worksheet import _Piece

ACROSS = worksheet.WIDTH_MM


@dataclass(frozen=True)
class Asked:
    name: str
    sheet: int = 0
    page: int = 0


def pages(*blocks):
    """Return what stands on each page: the first letter of a name says what a block is."""
    html, asked = worksheet._paged([
        _Piece(f"{name} ", high, None if name.startswith("h") else Asked(name), name.startswith("p"))
        for name, high in blocks], 3)
    assert all(each.sheet == 3 and each.name in html[each.page - 1] for each in asked)
    return [each.split() for each in html]


@pytest.mark.parametrize("blocks, placed", [
    # 259.5 mm are a page
    ([("a", 100), ("b", 100), ("c", 100)], [["a", "b"], ["c"]]),
    ([("a", 159.5), ("b", 100)], [["a", "b"]]),
    # a low heading goes with what it is the heading of: 150 + 30 + 100 is too much
    ([("a", 150), ("h", 30), ("b", 100)], [["a"], ["h", "b"]]),
    ([("a", 150), ("h", 45), ("b", 100)], [["a", "h"], ["b"]]),
    ([("a", 10), ("p", 10)], [["a"], ["p"]]),
    # c would stand alone before a page that begins anew: it takes along what stands before it,
    ([("p0", 250), ("p1", 100), ("b", 80), ("x", 70), ("c", 100), ("p2", 10)],
     [["p0"], ["p1", "b"], ["x", "c"], ["p2"]]),
    # but for one that leaves no room (170 + 100), or leaves its page with a single one
    ([("a", 20), ("b", 60), ("x", 170), ("c", 100), ("p", 10)], [["a", "b", "x"], ["c"], ["p"]]),
    ([("a", 100), ("x", 150), ("c", 100), ("p", 10)], [["a", "x"], ["c"], ["p"]]),
])
def test_blocks_come_on_pages(blocks, placed):
    assert pages(*blocks) == placed


def test_texts_stand_as_high_as_their_lines():
    # a line is 4.9 mm, and 1 mm more below all of them
    assert worksheet._high("short") == pytest.approx(5.9)
    assert worksheet._high("one\ntwo") == pytest.approx(10.8)
    # 70 broad letters are wider than 177 mm, and narrower than twice that
    assert 177 < worksheet._wide_mm("w" * 70) < 354
    assert worksheet._high("w" * 70) == pytest.approx(10.8)
    # 88 letters fill a printed line, and the next one is begun: 2 and 3 lines of 4.4 mm, and 5 mm
    assert worksheet._printed_mm("a" * 88 + "\n" + "b" * 176 + "\n") == pytest.approx(27.0)
    assert worksheet._printed_mm("a" * 87) == pytest.approx(9.4)


def test_options_stand_in_two_columns_where_they_are_short():
    # of four options with 6.4 mm each half, and one more line of 5.4 mm
    html, high = worksheet._form(Form(("one", "two", "three", "four")), ACROSS)
    assert 'class="in2"' in html and high == pytest.approx(4 * 6.4 / 2 + 5.4)
    html, high = worksheet._form(Form(("one", "two")), ACROSS)
    assert 'class="in1"' in html and high == pytest.approx(12.8)
    long = "w" * 35
    assert ACROSS / 2 - 16 < worksheet._wide_mm(long) < ACROSS - 17
    html, high = worksheet._form(Form((long, "two", "three")), ACROSS)
    assert 'class="in1"' in html and high == pytest.approx(19.2)


@pytest.mark.parametrize("form, high", [
    (Form(unit="h"), 23.5), (Form(words=True), 17.0), (Form(reason=True), 8.5), (Form(places=3), 11.0)])
def test_room_to_write(form, high):
    assert worksheet._form(form, ACROSS)[1] == pytest.approx(high)


# ---------------------------------------------------------------- cases in steps


def chain(name, *items):
    """Return a case: a step is worked where no item is named for it."""
    steps = tuple(SimpleNamespace(name=step, item=item, worked=f"{step} so") for step, item in zip(
        ("Sketch", "Sort", "Calculate", "Compare"), items, strict=True))
    return SimpleNamespace(title=name, steps=steps, case=SimpleNamespace(text="Told.", picture=None))


def writer(*chains):
    return SimpleNamespace(
        numbers=lambda of: SimpleNamespace(), left_open=lambda text: text, asked=[],
        exercises=SimpleNamespace(chains=chains),
        block=lambda item, *, heading, situation, room=False: _Piece(f"{item} {heading} {room}", 10.0))


ITEMS = {"a": "A", "b": "B", "c": "C"}


def test_a_worked_case_stands_in_one_piece():
    """7 and 5.9 for the title and what is told, 5 below, and four steps of a line each."""
    made, = worksheet._chain(writer(), chain("worked", None, None, None, None), ITEMS, False, ())
    assert made.high_mm == pytest.approx(7 + 5.9 + 5 + 4 * 5.9) and "Compare so" in made.html


def test_steps_that_are_not_on_paper_are_left_out():
    made = [*worksheet._chain(writer(), chain("own", None, "a", "b", "c"), ITEMS, True, ("b",))]
    assert [each.html for each in made[1:]] == ["A Sort False", "C Compare False"]
    assert made[0].begins_page and "what was seen" in made[0].html
    whole = [*worksheet._chain(writer(), chain("all", "a", "b", "c", "c"), ITEMS, False, ())]
    assert whole[1].html == "A Sketch True" and "what was seen" not in whole[0].html


def test_the_other_steps_are_seen_of_cases_that_are_partly_the_learners():
    """None of a worked case, and none of the one that is left for the screen, with the fewest steps."""
    cases = (chain("worked", None, None, None, None), chain("longer", None, None, "a", "b"),
             chain("screen", None, None, None, "c"))
    made, = worksheet._seen(writer(*cases))
    assert "longer: the other steps" in made.html and "Calculate" not in made.html
    # 6.5 and 5, and two steps of a line and 1 mm each
    assert made.high_mm == pytest.approx(6.5 + 2 * 6.9 + 5)


# ---------------------------------------------------------------- questions


@pytest.mark.parametrize("more, high, beside", [
    # 6.5 mm of heading, a line of 5.9 each for what is told and asked, 8.5 to write on, 5 below
    ({}, 31.8, True),
    ({"situation": False}, 25.9, True),
    ({"room": True}, 31.8 + 24, True),
    ({"sketch": ("hours", "failures")}, 31.8 + 48, False),
    ({"printed": "a\n"}, 31.8 + 9.4, True),
])
def test_a_question_is_as_high_as_what_stands_in_it(monkeypatch, more, high, beside):
    item = SimpleNamespace(title="How many", ask="How many?", case=SimpleNamespace(
        text="Two pumps.", picture=None))
    made = worksheet.Question(1, item, SimpleNamespace(), 0)
    monkeypatch.setattr(worksheet.Question, "form", Form(reason=True))
    monkeypatch.setattr(worksheet, "question_of", lambda lesson, item, seed, number: made)
    block = worksheet._Writer(None, None, 0, asked=[]).block(item, **more)
    assert block.high_mm == pytest.approx(high) and (block.half_mm is not None) is beside
    if "sketch" in more:
        assert ">hours<" in block.html and ">failures<" in block.html


# ---------------------------------------------------------------- tables, pairs and what was seen


PICK = Form(options=("yes", "no"))


@pytest.mark.parametrize("cell, listed, high", [
    ("", False, 7.0), ("short", False, 5.9), ("one\ntwo", False, 10.8), (PICK, True, 7.0), (PICK, False, 4.9),
    # three letters with 14 mm each are wider than twice 20 mm
    (Form(options=("a", "b", "c")), False, 14.7), (Form(words=True), False, 22.0), (Form(unit=""), False, 9.0)])
def test_cells_have_room_for_what_is_filled_in(cell, listed, high):
    assert worksheet._cell_mm(cell, listed, 20.0 if len(getattr(cell, "options", ())) == 3 else 60.0) == pytest.approx(high)


@pytest.mark.parametrize("rows, cells, high, legend", [
    # 8 and a line of 5.9; rows of 2 and 9 mm; what a whole column picks from stands once below, in a line of 5.9
    (("r", "s"), {"c": PICK, "d": Form(unit="h")}, 13.9 + 2 * 11 + 5.9, "Letters for <i>c</i>:"),
    (("r", "s"), {"c": PICK, "d": PICK}, 13.9 + 2 * 9 + 5.9, "Letters for <i>c</i> and <i>d</i>:"),
    (("r",), {"c": PICK, "d": Form(unit="h")}, 13.9 + 11, None)])
def test_a_table_is_as_high_as_its_rows(rows, cells, high, legend):
    grid = Grid("", rows, tuple(cells), {(row, column): cell for row in rows for column, cell in cells.items()})
    html, mm = worksheet._grid(grid)
    assert mm == pytest.approx(high) and ("Letters for" in html) is (legend is not None)
    assert legend is None or legend in html
    other = Form(options=("up", "down"))
    mixed = worksheet._grid(Grid("", ("r", "s"), ("c",), {("r", "c"): PICK, ("s", "c"): other}))
    assert mixed[1] == pytest.approx(13.9 + 2 * 9) and "Letters for" not in mixed[0]


def test_two_blocks_stand_beside_each_other_where_that_saves_more_than_8_mm():
    def rows(*blocks):
        return worksheet._rows([_Piece(f"{name} ", high, None, begins, half) for name, high, half, begins in blocks])

    def names(*blocks):
        return ["".join(each.html for each in row).split() for row in rows(*blocks)]

    # 30 + 30 - 8 = 52
    a, low, high = ("a", 30.0, 40.0, False), ("b", 30.0, 51.9, False), ("b", 30.0, 52.0, False)
    assert names(a, low, ("c", 9.0, 9.0, False)) == [["a", "b"], ["c"]] and names(a, high) == [["a"], ["b"]]
    assert names(a, ("b", 30.0, None, False)) == names(("a", 30.0, None, False), low) == [["a"], ["b"]]
    assert names(a, ("b", 30.0, 30.0, True)) == [["a"], ["b"]] and names(("a", 30.0, 40.0, True), low) == [["a", "b"]]
    assert names(a, ("x", 9.0, None, False), a, low) == [["a"], ["x"], ["a", "b"]]
    pair, = rows(a, low)
    assert worksheet._row_mm(pair) == 51.9 and worksheet._row_mm(pair[:1]) == 30.0
    assert worksheet._row_html(pair) == '<div class="pair">a b </div>' and worksheet._row_html(pair[:1]) == "a "


def test_a_drill_has_room_for_its_five_steps():
    """90 mm, and a line of 4.3 and 1 mm for each line of its bench."""
    assert worksheet._form(Form(bench=("one", "two")), ACROSS)[1] == pytest.approx(90 + 2 * 5.3)


def test_what_is_watched_has_a_line_for_the_letter_and_one_for_each_tick(monkeypatch):
    """6.5 + 4, what was expected in one line or two, 8.5 to write on, 5 below, and two ticks of 6.4."""
    monkeypatch.setattr(worksheet.Question, "form", Form(options=("a", "b"), seen=("it stops", "it goes on")))
    made = worksheet._watched(worksheet.Question(4, SimpleNamespace(title="Predict: what then"), SimpleNamespace(), 0))
    assert made.high_mm == pytest.approx(10.5 + 5.9 + 8.5 + 5 + 2 * 6.4)
    assert made.half_mm == pytest.approx(10.5 + 10.8 + 8.5 + 5 + 2 * 6.4)
    assert "What then" in made.html


def test_what_a_run_has_shown_is_as_high_as_what_is_printed(monkeypatch):
    """6.5 and 5, two printed lines of 4.4 and 5, and 4.9 for each statement."""
    item = SimpleNamespace(title="T", run=lambda numbers: "\none\ntwo\n", statements=tuple(
        SimpleNamespace(text=text, holds=lambda numbers, text=text: text == "so") for text in ("so", "not so")))
    monkeypatch.setattr(worksheet.Question, "form", property(lambda made: Form(seen=("x",) if made.number == 1 else ())))
    asked = writer()
    asked.asked = [worksheet.Question(number, item, SimpleNamespace(), 0) for number in (1, 2)]
    made, = worksheet._seen(asked)
    assert made.high_mm == pytest.approx(11.5 + 13.8 + 2 * 4.9)


def test_the_case_with_fewest_own_steps_is_left_for_the_screen():
    """The last of those with as few; a worked one has none and is not meant."""
    cases = (chain("worked", None, None, None, None), chain("two", None, None, "a", "b"), chain("one", None, None, None, "c"),
             chain("other", None, None, None, "a"))
    assert [worksheet._shortest(each) for each in (cases, cases[:2], cases[:1], ())] == [cases[3], cases[1], None, None]


def test_a_table_gives_no_number_that_was_asked_for_before_it():
    *before, own = (SimpleNamespace(number=number, results=[(12.5 * number, "h")]) for number in (1, 3, 5))
    form = Form(grid=Grid("", ("r", "s", "t"), ("c",), {(row, "c"): f"{hours} h" for row, hours in zip("rst", (12.5, 37.5, 62.5), strict=True)}))
    desk = worksheet._Writer(None, None, 0, asked=[*before, own])
    assert [*desk._without_results(form).grid.cells.values()] == ["____", "____", "62.5 h"]
    assert desk._without_results(PICK) is PICK
    assert desk.left_open("It takes 12.5 h, then 37.5 h, then 62.5 h.", but=own).count("____") == 2
