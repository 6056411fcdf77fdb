"""Lamps as a drill: a hidden fault on the running plant, found by moves at this panel.

The panel judges nothing: each press is a move of the drill, handed to the same session as an answer
by text. It shows what the panel of the plant shows; once both places were walked to, also the
plant itself, without any mark on what is broken.
"""

from collections.abc import Iterable
from dataclasses import replace
from html import escape

import ipywidgets as widgets

from labkit.plant.plant import Plant, load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Snapshot
from lessons.exercises.bench import Bench, actions_of, acts_of, forbidden_of
from lessons.exercises.control_frame import KEYS, Echo, reply_html
from lessons.exercises.control_frame import STYLE as REPLIES
from lessons.exercises.drilling import MOST_ASKED, Drill, bench_after
from lessons.exercises.lookup import lesson_of
from lessons.exercises.measuring import (
    QUESTIONS,
    called,
    checks_of,
    complaint,
    level_is_live,
    panel_words,
)
from lessons.exercises.replies import Reply, Verdict
from lessons.exercises.scenes import branches, run_scene
from lessons.exercises.session import Session, session
from lessons.panels.frame import Panel, choice
from lessons.pictures.look import style_sheet
from lessons.pictures.plant_picture import STILL, plant_alt_text, plant_svg
from lessons.pictures.seen import lamp_board_html
from lessons.pictures.trend import level_svg

CHOOSE, MOST_WIDE = ("choose", ""), "min(250px, 100%)"
SIZES = {"wide": STILL, "middle": 560.0, "slim": 412.0}
"""In each the plan is drawn; the page shows the one that fits."""
STEPS = ("Describe", "List", "Test", "Repair", "Evaluate")
TASK = "Find it in five steps: Describe, List, Test, Repair, Evaluate. A list comes before a check."
STYLE = style_sheet(__file__)


def _choice(words: str, options: Iterable[tuple[str, str]], tooltip: str,
            most: str = MOST_WIDE) -> widgets.Dropdown:
    """Return a list in which nothing is chosen: one press must not do what is forbidden."""
    return choice(words, [CHOOSE, *options], "", most=most, tooltip=tooltip)


class _OwnDesk(Session):
    """A desk for a drill at another plant; its moves are kept as long as the panel lives."""

    def __init__(self, item: Drill) -> None:
        super().__init__()
        self._item = item

    def _found(self, item_id: str, seed: int | None):
        seed = self.seed if seed is None else seed
        lesson = lesson_of(item_id)
        return lesson, self._item, lesson.numbers(self._item.case, seed), seed


class DrillPanel(Panel):
    """Find a hidden fault at the panel.

    Parameters
    ----------
    item_id : str
        Identifier of a drill.
    seed : int or None
        Which scene; None for the seed of the session.
    desk : Session or None
        The session that keeps the moves; None for that of the kernel.
    task : str
        What the reader is to do.
    plant : Plant or None
        Where it plays; None for the plant of the lessons.

    Raises
    ------
    ValueError
        When there is no such drill.

    >>> panel = DrillPanel("10-first", desk=Session())
    >>> panel.described.value = "the panel gives no data"
    >>> panel.describe()
    >>> panel.bench.description
    'the panel gives no data'
    """

    style_rules = STYLE + REPLIES

    def __init__(self, item_id: str, *, seed: int | None = None, desk: Session | None = None,
                 task: str = TASK, plant: Plant | None = None):
        item = lesson_of(item_id).item(item_id)
        if not item.many_answers:
            raise ValueError(f"item_id must name a fault drill, got {item_id!r}")
        if plant is not None:
            item = replace(item, case=replace(item.case, plant=lambda: plant))
            desk = desk or _OwnDesk(item)
        self.desk = desk or session()
        self.item = item
        self.plant = item.case.plant()
        self._whole = Switchover(self.plant).snapshot()
        self.seed = self.desk.seed if seed is None else seed
        self.listed: list[str] = []
        self.head, self.plate, self.picture, self.level, self.made, self.list_line, self.reply = (
            widgets.HTML() for _ in range(7))
        self.echo = Echo()
        self.names = {step: widgets.HTML(layout=widgets.Layout(width="112px", flex="0 0 auto"))
                      for step in STEPS}
        self._make_controls()
        note = self.button("Note it", self.describe)
        note.add_class("lkx-main")  # Enter in the line presses it
        rows = [
            self.plate,
            self._row("Describe", self.question, self.button("Ask", self.put_question),
                      self.described, note),
            self._row("List", self.branch, self.cause, self.button("Add", self.add),
                      self.button("Clear", self.clear),
                      self.button("Commit list", self.commit)),
            self.list_line,
            self._row("Test", self.check_box, self.button("Make the check", self.check),
                      self.act_box, self.button("Do it", self.act)),
            self._row("Repair", *self.causes, self.evidence, *self.actions,
                      self.button("Repair", self.repair)),
            self._row("Evaluate", self.button("Retest", self.retest),
                      self.button("Hint", self.hint), self.button("Next drill", self.renew)),
        ]
        super().__init__(task, [self.head, *rows, self.reply], [
            self.made, self._forbidden(), self.picture, self.level, self.echo, widgets.HTML(KEYS)])
        for each in (self.picture, self.level):
            each.add_class("lk-chart")
        self.start()

    # ------------------------------------------------------------ parts

    def _row(self, step: str, *controls: widgets.Widget) -> widgets.HBox:
        watched = [each if isinstance(each, widgets.Button) else self.echo.watch(each)
                   for each in controls]
        made = widgets.HBox(watched, layout=widgets.Layout(
            flex_flow="row wrap", flex="1 1 210px", min_width="0"))
        return widgets.HBox([self.names[step], made], layout=widgets.Layout(flex_flow="row wrap"))

    def _forbidden(self) -> widgets.HTML:
        lines = "".join(f"<li>{escape(each)}</li>" for each in forbidden_of(self.plant))
        return widgets.HTML('<details class="lk-drill"><summary>Forbidden here, as on a real plant'
                            f"</summary><ul>{lines}</ul></details>")

    def _make_controls(self) -> None:
        plant = self.plant
        self.question = _choice("Ask the caller", ((f"{each}?", each) for each in QUESTIONS),
                                f"{MOST_ASKED} questions, 1 min each")
        self.described = widgets.Text(
            description="Seen", placeholder="one line of what is seen", tooltip="What is seen",
            style={"description_width": "auto"},
            layout=widgets.Layout(width="520px", max_width="100%"))
        self.branch = choice("Branch", list(branches(plant)), next(iter(branches(plant))),
                             most=MOST_WIDE, tooltip="Which part of the function stopped")
        self.cause = _choice("Cause", (), "A cause", "min(340px, 100%)")
        self.turn_to_branch()
        self.branch.observe(self.guarded(lambda _: self.turn_to_branch()), "value")
        self.check_box = _choice("Check", ((f"{each.name}, {each.minutes:g} min", each.name)
                                           for each in checks_of(plant).values()),
                                 "A check and its minutes", "min(290px, 100%)")
        self.act_box = _choice("or act", ((f"{act}, {minutes} min", act)
                                          for act, minutes in acts_of(plant).items()),
                               "An act and its minutes")
        self.causes = tuple(_choice(words, (), "What it is") for words in ("Cause", "and"))
        self.evidence = _choice("Evidence", (), "A check that was made")
        self.actions = tuple(_choice(words, ((each, each) for each in actions_of(plant)),
                                     "What to do") for words in ("Action", "and"))

    # ------------------------------------------------------------ what one can do

    def start(self) -> None:
        """Show the scene of the present seed, with the moves that are kept."""
        self.listed = []
        self.reply.value = ""
        self.words: list[str] = []
        self.described.value = ""
        self.branch.value = next(iter(branches(self.plant)))
        for box in (self.question, self.check_box, self.act_box, *self.actions):
            box.value = ""
        self.draw()

    def turn_to_branch(self) -> None:
        """Offer the causes of the chosen branch."""
        known = faults_of(self.plant)
        self.cause.options = [CHOOSE, *(
            (known[cause].label if cause in known else cause, cause)
            for cause in branches(self.plant)[self.branch.value])]
        self.cause.value = ""

    def move(self, move: str) -> Reply:
        """Hand one move to the session and show what it brings."""
        reply = self.desk.check(self.item.id, move, self.seed)
        self.words.append(f"> {move}\n{reply}")
        self.show(reply)
        return reply

    def show(self, reply: Reply) -> None:
        """Show a reply, and the plant as it stands."""
        self.reply.value = reply_html(reply.feedback, reply.verdict, reply.released, reply.rows)
        self.draw()

    def put_question(self) -> None:
        """Put the chosen question to the caller."""
        self.move(f"ask: {self.question.value}")

    def describe(self) -> None:
        """Note what is seen."""
        self.move(f"describe: {self.described.value}")

    def add(self) -> None:
        """Put the chosen cause at the end of the list."""
        if not self.cause.value:
            self.reply.value = reply_html("Unclear: choose a cause first.", Verdict.UNCLEAR)
        elif self.cause.value not in self.listed:
            self.listed.append(self.cause.value)
        self._draw_list()

    def clear(self) -> None:
        """Take all causes from the list."""
        self.listed = []
        self._draw_list()

    def commit(self) -> None:
        """Commit the list."""
        self.move(f"rank: {'; '.join(self.listed)}")

    def check(self) -> None:
        """Make the chosen check."""
        self.move(f"check: {self.check_box.value}")

    def act(self) -> None:
        """Do the chosen act."""
        self.move(f"do: {self.act_box.value}")

    def repair(self) -> None:
        """Repair what is taken for the cause."""
        causes = " + ".join(box.value for box in self.causes if box.value)
        actions = " + ".join(box.value for box in self.actions if box.value)
        self.move(f"repair: {causes} / evidence: {self.evidence.value} / action: {actions}")

    def retest(self) -> None:
        """Look once more, after the repair."""
        # How few checks would have done may still have to be worked out.
        self.reply.value = reply_html("The retest runs.", None)
        self.move("retest")

    def hint(self) -> None:
        """Show the next hint."""
        self.show(self.desk.hint(self.item.id, self.seed))

    def renew(self) -> None:
        """Take the next seed."""
        self.seed += 1
        self.start()

    # ------------------------------------------------------------ what it shows

    @property
    def moves(self) -> list[str]:
        """The accepted moves of this drill and seed."""
        kept = [a for a in self.desk.recorder.attempts()
                if (a.item_id, a.seed, a.kind) == (self.item.id, self.seed, "answer")
                and isinstance(a.value, list | tuple)]
        return list(kept[-1].value) if kept else []

    def draw(self) -> None:
        """Bring all that is shown in line with the moves."""
        numbers = lesson_of(self.item.id).numbers(self.item.case, self.seed)
        self.bench: Bench = bench_after(numbers.scene, self.moves)
        bench = self.bench
        self.head.value = (
            f'<div class="lk-drill"><h5>{escape(self.item.title)}, seed {self.seed}: '
            f"{called(bench.scene, bench.rig)}, {bench.minutes} min spent, "
            f"checks made: {bench.checks_made}</h5>"
            f"<p>They say: <q>{escape(complaint(bench.scene, run_scene(bench.scene)))}</q></p>"
            f"<p>{escape(self._seen_now())}</p></div>")
        self.plate.value = lamp_board_html(bench.rig, panels_only=True) if (
            bench.retested and bench.rig.snapshot().panels) else ""
        for place, step in enumerate(STEPS, 1):
            mark = "&#9656; " if step == bench.next_step else ""
            self.names[step].value = f'<div class="lk-drill"><b>{mark}{place} {step}</b></div>'
        snapshot = bench.rig.snapshot()
        words, state, marks = self._pictured()
        drawn = "".join(
            f'<div class="{size}">{plant_svg(self.plant, state or self._whole, width=width, marks=marks)}</div>'
            for size, width in SIZES.items())
        self.picture.value = f'<div class="lk-drill{"" if state else " plan"}"><p>{words}</p>{drawn}</div>'
        shown = (bench.retested and self.plant.process and snapshot.panel_sees
                 and level_is_live(bench.rig))
        self.level.value = _level(bench) if shown else ""
        made = "".join(f"<h5>{escape(name)}</h5><pre>{escape(result)}</pre>"
                       for name, result in reversed(bench.results.items()))
        self.made.value = (f'<details class="lk-drill"><summary>All checks so far'
                          f"</summary>{made}</details>" if made else "")
        self._offer()
        self._draw_list()

    def _pictured(self) -> tuple[str, Snapshot | None, bool]:
        """Return what the picture shows: the plan, the lamps of a walk, or the fault at the end."""
        bench = self.bench
        if bench.closed:
            return ("So it was when you were called, with what was wrong.",
                    run_scene(bench.scene).snapshot(), True)
        # The lamps of both places, and no more than was paid for by text.
        walked = bench.retested and all(
            name in bench.results for name in checks_of(self.plant) if name.startswith("lamps "))
        if walked:
            return "The lamps, as you have read them.", bench.rig.snapshot(), False
        return ("The plan of the plant: where the parts are. Its lamps are those of a healthy day; "
                "what is lit now you see on a walk."), None, False

    def _seen_now(self) -> str:
        """What the panel shows; after a repair nothing before the retest looks at it."""
        if not self.bench.retested:
            return "After the repair nobody has looked yet: the retest does."
        return panel_words(self.bench.rig, self.bench.since_s)

    def _offer(self) -> None:
        named = list(dict.fromkeys(c for ranking in self.bench.rankings for c in ranking))
        made = [name for name in checks_of(self.plant) if name in self.bench.results]
        for box, options in ((self.evidence, made), *((box, named) for box in self.causes)):
            before = box.value
            box.options = [CHOOSE, *((each, each) for each in options)]
            box.value = before if before in options else ""

    def _draw_list(self) -> None:
        words = ", then ".join(self.listed) or "nothing yet; add 2 to 5 causes"
        state = "committed" if self.bench.ranked_now else "not committed"
        self.list_line.value = (
            f'<div class="lk-drill"><p>Your list ({state}): {escape(words)}</p></div>')

    def text(self) -> str:
        """Return all that the panel shows, as text: the task, and every move with its reply."""
        numbers = lesson_of(self.item.id).numbers(self.item.case, self.seed)
        call = f"Moves by text: check({self.item.id!r}, 'describe: ...', seed={self.seed})"
        return "\n".join([super().text(), self.item.title, self.item.task(numbers, self.seed), call,
                          *self.words])

    def still_picture(self) -> tuple[str, str]:
        """Return the plant as it was seen on a walk, at the end with its fault; else nothing."""
        _, state, marks = self._pictured()
        if state is None:
            return "", ""
        return (plant_svg(self.plant, state, marks=marks, standalone=True),
                plant_alt_text(self.plant, state, marks=marks))


def _level(bench: Bench) -> str:
    """Return the trend as the panel shows it: no mark says what happened, and no flow."""
    view = bench.rig.view()
    return level_svg(replace(view.trend, opening=(), inflow_l_per_s=()), view.tank)


def drill_panel(item_id: str, *, seed: int | None = None, fresh: int = 0,
                desk: Session | None = None,
                task: str = TASK, plant: Plant | str | None = None) -> DrillPanel:
    """Open a fault drill at its panel.

    Parameters
    ----------
    item_id : str
        Identifier of a drill.
    seed : int or None
        Which scene; None for the seed of the session.
    fresh : int
        Which scene while the session has the numbers of the plant; see
        `lessons.exercises.controls.ask`.
    desk : Session or None
        The session that keeps the moves; None for that of the kernel.
    task : str
        What the reader is to do; it stands in the panel.
    plant : Plant or str or None
        Where it plays: a plant, or what `load_plant` takes, such as "my_plant.toml". Its moves are
        kept as long as the panel lives. None for the plant of the lessons, and the record.

    Returns
    -------
    DrillPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        When there is no such drill, or no such plant.

    Examples
    --------
    >>> drill_panel("10-drill", seed=3, desk=Session()).text().splitlines()[1]
    'Fault drill'
    """
    if seed is None and fresh and not (desk or session()).seed:
        seed = fresh
    plant = load_plant(plant) if isinstance(plant, str) else plant
    return DrillPanel(item_id, seed=seed, desk=desk, task=task, plant=plant)
