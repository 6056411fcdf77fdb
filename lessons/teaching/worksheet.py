"""The worksheets of a lesson: what a class writes on while one screen is in front of it.

There are three, each for its moment: before the run, after it, and what was seen. A question never
stands on the page of its answer nor before it, so that what was seen is a sheet of its own, and a
result that a later text would tell is left open there.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from html import escape
from types import SimpleNamespace

from labkit.plant.plant import Plant, load_plant
from labkit.rig.rig import Rig
from lessons.exercises.item import LETTERS, Item, Lesson, SteppedCase, fill
from lessons.exercises.lookup import lesson_of, plant_asked
from lessons.exercises.on_paper import Form, Grid
from lessons.exercises.session import Session
from lessons.language.edges import said
from lessons.pictures import svg
from lessons.pictures.plant_picture import plant_svg
from lessons.teaching.lesson_file import BY_CHOICE, LessonFile
from lessons.teaching.pages import macro, page
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.telling import left_open, tells

PAGE_MM, WIDTH_MM, HALF_MM = 259.5, 180.0, 87.0
TYPE_MM, LINE_MM = 3.53, 4.9
GAP_MM, HEAD_MM, TICK_MM, WRITE_MM, WORK_MM, ROW_MM = 5.0, 6.5, 5.4, 8.5, 15.0, 7.0
BOARD_MM, RIG_MM, SKETCH_MM, ROOM_MM, HEADING_MM = 40.0, 92.0, 48.0, 24.0, 45.0
OPEN = "____"
REST = " The other steps stand on the sheet what was seen."
NAMES = ("before the run", "after the run", "what was seen")


# A block of the sheets: a macro of the template.
on_sheet = partial(macro, "question.html.j2")


@dataclass(frozen=True)
class Question:
    """Hold a question of a lesson as it stands on paper.

    Parameters
    ----------
    number : int
        On all sheets of the lesson, from 1.
    sheet, page : int
        Where it stands, from 1.
    seed : int
        Which numbers, and which order of the options.
    """

    number: int
    item: Item
    numbers: SimpleNamespace
    seed: int
    sheet: int = 0
    page: int = 0

    @property
    def form(self) -> Form:
        """What is to be filled in."""
        return self.item.on_paper(self.numbers, self.seed)

    @property
    def marked(self) -> tuple[str, ...]:
        """What it is marked by: a letter, letters in order, or lines."""
        return self.item.marked_by(self.numbers, self.seed)

    @property
    def right_place(self) -> int:
        """Which option is right, from 0."""
        return LETTERS.index(self.marked[0])

    @property
    def results(self) -> list[tuple[float, str]]:
        """The numbers that are asked for, with their units."""
        return [(part.solve(self.numbers), part.unit) for part in self.item.numeric_parts()]


def question_of(lesson: LessonFile | None, item: Item | SteppedCase, seed: int, number: int = 0
                ) -> Question:
    """Return a question as a lesson asks it: with seed 0 the lesson may name another for it."""
    used = seed or lesson.fresh.get(item.id, 0)
    return Question(number, item, lesson_of(item.id).numbers(item.case, used), used)


@dataclass(frozen=True)
class PaperSheet:
    """Hold one sheet: its name, its pages as HTML, and the whole document."""

    name: str
    pages: tuple[str, ...]
    html: str


@dataclass
class _Piece:
    """A piece that is not broken: its HTML, about how high it is, and what it asks.

    Where `half_mm` is given, it may stand beside another one, and is then so high.
    """

    html: str
    high_mm: float
    question: Question | None = None
    begins_page: bool = False
    half_mm: float | None = None


@dataclass
class _Writer:
    """Writes the blocks of the sheets of one lesson, and counts the questions."""

    lesson: LessonFile | None
    exercises: Lesson
    seed: int
    asked: list[Question] = field(default_factory=list)

    def numbers(self, item: Item | SteppedCase) -> SimpleNamespace:
        return question_of(self.lesson, item, self.seed).numbers

    def block(self, item: Item, *, heading: str = "", situation: bool = True,
              sketch: Sequence[str] = (), room: bool = False, printed: str = "") -> _Piece:
        """Return a question with its situation and the room to answer it."""
        made = question_of(self.lesson, item, self.seed, len(self.asked) + 1)
        self.asked.append(made)
        form, numbers = self._without_results(made.form), made.numbers
        told = fill(item.case.text, numbers) if situation else ""
        drawn = item.case.picture(numbers) if told and item.case.picture else ""
        told = "" if drawn else self.left_open(told, but=made)
        ask = fill(item.ask, numbers)
        drawn_mm = (BOARD_MM * bool(drawn) + (_printed_mm(printed) if printed else 0.0)
                    + ROOM_MM * room + SKETCH_MM * bool(sketch))

        def high(wide_mm: float) -> float:
            return (HEAD_MM + drawn_mm + (_high(told, wide_mm=wide_mm) if told else 0.0)
                    + _high(ask, wide_mm=wide_mm, bold=True) + _form(form, wide_mm)[1] + GAP_MM)

        beside = not (drawn_mm > ROOM_MM or form.grid or form.bench)
        html = on_sheet("question", made=made, title=heading or _title(item.title), drawn=drawn, told=told,
                     printed=printed, ask=ask, room=room, sketch=sketch,
                     filled_in=_form(form, WIDTH_MM)[0])
        return _Piece(html, high(WIDTH_MM), made, half_mm=high(HALF_MM) if beside else None)

    def _without_results(self, form: Form) -> Form:
        """Return a form whose table gives no number that was asked for before it.

        What its own task gives stays: without that nobody could fill it in.
        """
        if form.grid is None:
            return form
        results = [result for each in self.asked[:-1] for result in each.results]
        cells = {place: OPEN if isinstance(cell, str) and any(
                     tells(cell, *result) for result in results) else cell
                 for place, cell in form.grid.cells.items()}
        return replace(form, grid=replace(form.grid, cells=cells))

    def left_open(self, text: str, but: Question | None = None) -> str:
        """Return a text in which each number that was asked for so far stays open."""
        return left_open(text, [(*result, each.number) for each in self.asked
                                if each is not but for result in each.results])


def worksheets(lesson: LessonFile, *, seed: int = 0
               ) -> tuple[tuple[PaperSheet, ...], tuple[Question, ...]]:
    """Return the three sheets of a lesson, and the questions that stand on them.

    The plant that is asked for is drawn, has the fault drills, and gives the numbers of all questions
    whose text holds for it.

    Parameters
    ----------
    seed : int
        Which numbers: 0 for those of the plant, or for the fresh ones that the lesson names.
    """
    exercises = lesson_of(f"{lesson.number}-sheet")
    notes = teacher_notes(lesson.number)
    writer = _Writer(lesson, exercises, seed)
    items = {item.id: item for item in exercises.all_items}
    predictions = [name for name in _named(lesson, "Predict") if name in items]
    before = [*_before(writer, notes, plant_asked() or load_plant(), predictions, items)]
    after = [*_after(writer, notes, predictions, items)]
    asked, sheets = [], []
    seen = [*_seen(writer)]
    # Own questions predict nothing: their lead stands alone, and there is little to see.
    whole = [*zip(NAMES, (before, after, seen), strict=True)] if notes else [
        ("questions", after), *([(NAMES[2], seen)] if seen else [])]
    for number, (name, blocks) in enumerate(whole, 1):
        pages, placed = _paged(blocks, number)
        asked += placed
        sheets.append(PaperSheet(name, pages, page(
            "worksheet.html.j2", lesson=lesson, name=name, number=number, of=len(whole),
            pages=pages, seed=seed)))
    return tuple(sheets), tuple(asked)


def question_pages(items: Iterable[Item], *, seed: int, lead: str
                   ) -> tuple[tuple[str, ...], tuple[Question, ...]]:
    """Return questions of any lessons as pages in this order, with points in place of titles.

    A title may say which way an answer goes. The questions stand on no sheet of a lesson: 0.

    Parameters
    ----------
    seed : int
        Which numbers; not 0, as no lesson stands behind them that names others.
    lead : str
        What stands above the first question.
    """
    asked: list[Question] = []
    blocks = [_Piece(f'<p class="lead">{escape(lead)}</p>', _high(lead) + 2.5)]
    for item in items:
        points = f"{item.points} {'point' if item.points == 1 else 'points'}"
        blocks.append(_Writer(None, lesson_of(item.id), seed, asked).block(item, heading=points))
    pages, placed = _paged(blocks, 0)
    return pages, tuple(placed)


def _named(lesson: LessonFile, *headings: str) -> list[str]:
    return [name for section in lesson.sections if section.heading in headings
            for name in section.items]


def _before(writer: _Writer, notes, plant: Plant, predictions, items) -> Iterator[_Piece]:
    """Recall and prediction, with the rig as it stands."""
    lesson = writer.lesson
    predicted = [items[name] for name in predictions]
    told = [fill(item.case.text, writer.numbers(item)) for item in predicted]
    first = set(Session(seed=writer.seed).recall(lesson.number))
    pool = sorted(writer.exercises.recall, key=lambda name: name not in first)
    kept = [name for name in pool if lesson.has_had(items[name].title)
            and not any(tells(text, *result) for text in told for result in question_of(
                lesson, items[name], writer.seed).results)][:3]
    lead = ('Answer alone and in silence. "Not sure" is an answer too. Leave out lessons you have not had.'
            if lesson.taught is None else 'Answer alone and in silence. "Not sure" is an answer too.')
    yield _Piece(f'<p class="lead">{lead}</p>', 7)
    yield from (writer.block(items[name]) for name in kept)
    for item in predicted:
        block = writer.block(item, sketch=notes.get("sketch", ()))
        if "sketch" not in notes:
            # The question is about the picture: both stand on one page.
            own = _has_all(plant, block.html)
            rig = _rig(plant if own else load_plant())
            if not own:
                rig = replace(rig, html=f'{rig.html}<p class="note">The rig of the lessons, whose parts '
                              'the question names.</p>', high_mm=rig.high_mm + LINE_MM)
            block = replace(block, html=rig.html + block.html, half_mm=None,
                            high_mm=rig.high_mm + block.high_mm)
        yield block


def _after(writer: _Writer, notes, predictions, items) -> Iterator[_Piece]:
    """What is watched, then the questions in the order of the lesson."""
    if notes and "sketch" not in notes:
        yield _Piece('<p class="lead">To try the faults once more: ask for the file rig.html.</p>', 7)
    for question in [*writer.asked]:
        if question.form.seen:
            yield _watched(question)
    chains = {chain.id: chain for chain in writer.exercises.chains}
    shortest, left_out = _shortest(writer.exercises.chains), notes.get("not_on_paper", ())
    above, printed, turns = writer.lesson.printed_above, notes.get("printed", ()), False
    for section in writer.lesson.sections:
        if section.heading in ("Start", "Recall", "Predict", "Sum up", BY_CHOICE):
            continue
        for name in dict.fromkeys(section.items):
            if name in chains:
                chain = chains[name]
                if chain is shortest:
                    yield _Piece(f'<p class="note">{escape(chain.title)}: at the screen.</p>', 6)
                    continue
                begins = not turns and any(step.item for step in chain.steps)
                turns = turns or begins
                yield from _chain(writer, chain, items, begins, left_out)
            elif (name in items and name not in predictions and not items[name].voting
                  and name not in left_out):
                block = writer.block(items[name], printed=above[name] if name in printed else "")
                yield block
                if block.question.form.seen:
                    yield _watched(block.question)


def _shortest(chains: Sequence[SteppedCase]) -> SteppedCase | None:
    """Return the case of which the learner does least: on paper there is room for two."""
    own = [chain for chain in chains if any(step.item for step in chain.steps)]
    return min(reversed(own), key=lambda chain: sum(step.item is not None for step in chain.steps),
               default=None)


def _watched(question: Question) -> _Piece:
    def high(wide_mm: float) -> float:
        return (HEAD_MM + 4 + _high("I expected letter ___ in question 19. The run shows letter ___. "
                                    "Tick what you saw.", wide_mm=wide_mm - 12) + WRITE_MM + GAP_MM
                + sum(_high(text, TICK_MM, wide_mm) for text in question.form.seen))

    return _Piece(on_sheet("watched", question=question, title=_title(question.item.title)),
                  high(WIDTH_MM), half_mm=high(HALF_MM))


def _chain(writer: _Writer, chain: SteppedCase, items, begins: bool, left_out
           ) -> Iterator[_Piece]:
    """A case in four steps: worked, or as far as it is the learner's."""
    numbers = writer.numbers(chain)
    told = writer.left_open(fill(chain.case.text, numbers))
    own = [step for step in chain.steps if step.item and step.item not in left_out]
    rest = 0 < len(own) < len(chain.steps)
    drawn = chain.case.picture(numbers) if chain.case.picture else ""
    worked = [] if own else [
        (step.name, writer.left_open(fill(step.worked, numbers))) for step in chain.steps]
    html = on_sheet("case", chain=chain, drawn=drawn, told="" if drawn else told, rest=rest, worked=worked)
    high = 7 + (BOARD_MM if drawn else _high(told + REST * rest))
    if worked:
        yield _Piece(html, high + GAP_MM + sum(
            _high(text, wide_mm=WIDTH_MM - 26) for _, text in worked))
        return
    first = writer.block(items[own[0].item], heading=own[0].name, situation=False,
                         room=own[0].name == "Sketch")
    yield _Piece(html, high, begins_page=begins)
    yield first
    for step in own[1:]:
        yield writer.block(items[step.item], heading=step.name, situation=False)


def _seen(writer: _Writer) -> Iterator[_Piece]:
    """What the runs have shown, and the steps that were not the learner's."""
    for question in writer.asked:
        if question.form.seen:
            run, statements = question.item.run(question.numbers).strip(), question.item.statements
            held = [(each.holds(question.numbers), fill(each.text, question.numbers)) for each in statements]
            yield _Piece(on_sheet("seen", title=_title(question.item.title), run=run, held=held),
                         HEAD_MM + _printed_mm(run) + LINE_MM * len(statements) + GAP_MM)
    for chain in writer.exercises.chains:
        numbers = writer.numbers(chain)
        left = [(step.name, fill(step.worked, numbers)) for step in chain.steps if not step.item]
        if 0 < len(left) < len(chain.steps) and chain is not _shortest(writer.exercises.chains):
            yield _Piece(on_sheet("other_steps", chain=chain, worked=left),
                         HEAD_MM + sum(_high(text) + 1 for _, text in left) + GAP_MM)


def _has_all(plant: Plant, text: str) -> bool:
    """Say whether a plant has each part of the lessons' plant that a text names."""
    return {*re.findall(r"\b[A-Z]+\d[\w.]*\b", text)} & {*load_plant().parts} <= {*plant.parts}


def _rig(plant: Plant) -> _Piece:
    drawn = plant_svg(plant, Rig(plant).snapshot(), marks=False)
    *_, wide, high = map(float, re.search(r'viewBox="([^"]+)"', drawn)[1].split())
    return _Piece(f'<figure class="lk rig"><style>{svg.STYLE}</style>{drawn}</figure>',
                  min(WIDTH_MM * high / wide, RIG_MM) + 2)


# ------------------------------------------------------------ forms


def _form(form: Form, across_mm: float) -> tuple[str, float]:
    """Return what is filled in, and about how high it is."""
    if form.grid is not None:
        return _grid(form.grid)
    wide = max(map(_wide_mm, form.options), default=0.0)
    columns = 2 if wide < across_mm / 2 - 16 and len(form.options) > 2 else 1
    high = (WRITE_MM * form.reason + 11 * bool(form.places) + 2 * WRITE_MM * form.words
            + (0.0 if form.unit is None else WORK_MM + WRITE_MM))
    if form.options:
        high += sum(_high(text, TICK_MM, across_mm - 14) for text in form.options) / columns + (
            TICK_MM * (columns - 1))
    if form.bench:
        high += 90 + sum(_high(line, 4.3, WIDTH_MM / 0.9) for line in form.bench)
    return on_sheet("form", form=form, columns=columns), high


def _grid(grid: Grid) -> tuple[str, float]:
    """Return a table; a list that a whole column picks from stands once below it."""
    legends: dict[tuple[str, ...], list[str]] = {}
    for column in grid.columns:
        picks = {cell.options for row in grid.rows
                 if isinstance(cell := grid.cells.get((row, column), ""), Form) and cell.options}
        if len(picks) == 1 and len(grid.rows) > 1:
            legends.setdefault(picks.pop(), []).append(column)
    listed = {name for names in legends.values() for name in names}
    share = WIDTH_MM / (len(grid.columns) + 1.3)
    high = 8.0 + max(_high(name, LINE_MM, share - 4) for name in grid.columns)
    for row in grid.rows:
        cells = (_cell_mm(grid.cells.get((row, column), ""), column in listed, share - 4)
                 for column in grid.columns)
        high += 2 + max(ROW_MM, _high(row, LINE_MM, share * 1.3 - 4), *cells)
    for options, names in legends.items():
        letters = "   ".join(map("{}) {}".format, LETTERS, options))
        high += _high(f"Letters for {' and '.join(names)}: {letters}")
    return on_sheet("grid", grid=grid, legends=legends, listed=listed), high


def _cell_mm(cell: str | Form, listed: bool, wide_mm: float) -> float:
    if isinstance(cell, str):
        return _high(cell, LINE_MM, wide_mm) if cell else ROW_MM
    if cell.options:
        return ROW_MM if listed else LINE_MM * (
            1 + sum(_wide_mm(text) + 14 for text in cell.options) // wide_mm)
    return 22.0 if cell.unit is None else 9.0


# ------------------------------------------------------------ sizes and pages


def _title(text: str) -> str:
    """Return a title without what only a screen or a vote needs."""
    return re.sub(r"^(?:For voting|Drill|Predict): (\w)", lambda found: found[1].upper(), text)


def _wide_mm(text: str, *, bold: bool = False) -> float:
    # the table of widths is that of a wide font, rather too wide than too narrow
    return 0.93 * svg.text_width(said(text), TYPE_MM, bold=bold)


def _high(text: str, line_mm: float = LINE_MM, wide_mm: float = WIDTH_MM, *,
          bold: bool = False) -> float:
    """Return about how high a text stands."""
    lines = text.strip().splitlines() or [""]
    return 1 + line_mm * sum(1 + int(_wide_mm(line, bold=bold) // (wide_mm - 3)) for line in lines)


def _printed_mm(text: str) -> float:
    """Return about how high a text stands in letters of one width."""
    return 5 + 4.4 * sum(1 + len(line) // 88 for line in text.rstrip().splitlines())


def _paged(blocks: Iterable[_Piece], sheet: int) -> tuple[tuple[str, ...], list[Question]]:
    """Put blocks on pages, as many as fit, and say on which page each question stands."""
    pages: list[list[tuple[_Piece, ...]]] = [[]]
    used = 0.0
    rows = _rows(blocks)
    for place, row in enumerate(rows):
        high = _row_mm(row)
        after = rows[place + 1] if place + 1 < len(rows) else ()
        # a heading stays with what it is the heading of
        follows = after if row[-1].question is None else ()
        if pages[-1] and (row[0].begins_page or used + high + (
                _row_mm(follows) if follows and row[0].high_mm < HEADING_MM else 0) > PAGE_MM):
            # what would stand alone on its page takes along what stands before it
            alone = after and after[0].begins_page and not row[0].begins_page
            along = pages[-1][-1:] if alone and len(pages[-1]) > 2 and (
                _row_mm(pages[-1][-1]) + high <= PAGE_MM) else []
            pages[-1] = pages[-1][:len(pages[-1]) - len(along)]
            pages.append(along)
            used = sum(map(_row_mm, along))
        pages[-1].append(row)
        used += high
    return (tuple("".join(map(_row_html, each)) for each in pages),
            [replace(block.question, sheet=sheet, page=number)
             for number, each in enumerate(pages, 1) for row in each for block in row
             if block.question])


def _rows(blocks: Iterable[_Piece]) -> list[tuple[_Piece, ...]]:
    """Put two blocks beside each other where that saves room."""
    rows: list[tuple[_Piece, ...]] = []
    for block in blocks:
        last = rows[-1] if rows else ()
        if (len(last) == 1 and last[0].half_mm and block.half_mm and not block.begins_page
                and max(last[0].half_mm, block.half_mm) < last[0].high_mm + block.high_mm - 8):
            rows[-1] = (*last, block)
        else:
            rows.append((block,))
    return rows


def _row_mm(row: Sequence[_Piece]) -> float:
    return row[0].high_mm if len(row) == 1 else max(block.half_mm for block in row)


def _row_html(row: Sequence[_Piece]) -> str:
    html = "".join(block.html for block in row)
    return f'<div class="pair">{html}</div>' if len(row) > 1 else html
