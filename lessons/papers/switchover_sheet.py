"""The switchover test sheet: what has to come out stands in it before anybody tests."""

from __future__ import annotations

import math

from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import success_limits
from labkit.rig.effects import Effect
from labkit.switchover.settings import switchover_budget
from labkit.wording import listed
from lessons.papers import effect_words as words
from lessons.papers.basis import Basis
from lessons.papers.paper import Column, Paper, PaperTable, Section
from lessons.papers.results import CLAIM, COLUMNS, DEVIATIONS, MUST_SWITCH, STEPS, Planned
from lessons.papers.steps import SheetStep, finders, steps_of

PRECONDITIONS = (
    "Written permit; agreement of the process owner; time window: ____________",
    "Process in its most tolerant phase; limits at which the test stops: level ______, "
    "pressure ______, time ______",
    "Second fault excluded before each step: standby ready, all links good, all supplies good",
    "Way of running by hand proved and manned; way back rehearsed",
    "Safety functions independent, tested, untouched; nobody inside guards, people and tools clear",
    "One person in charge, one at the process, radio; stop word: ____________",
    "Control room told of the alarms that will come",
    "One change at a time; not in the last hours of a shift or before a weekend",
    "No plug pulled under load where arcs or an explosive atmosphere are possible; wrist strap "
    "for modules",
    "Log before, during and after; return to normal signed",
)
INSTRUMENTS = (
    "recorder at the output terminals, 1 kHz or faster",
    "trigger on the action (supply, plug or request)",
    "second recorder or clock for time stamps",
    "ohmmeter and voltmeter for buses and supplies",
)
COLUMNS_OF_STEPS = (
    Column("step", "no.", 2.8), Column("type", "type", 6.2),
    Column("action", "precondition\naction", 16),
    Column("expected", "expected roles\noutputs\nlamps", 19.7),
    Column("expected_record", "expected lines\nof the record", 16.5),
    Column("limit", "limit and tolerance", 9.5),
    Column("way_back", "way back,\nthen expected", 10),
    Column("measured", "longest, measured", 6.8), Column("verdict", "verdict, category", 6),
    Column("signature", "signed, witness", 6.5),
)


def switchover_test(basis: Basis) -> Paper:
    """Make the switchover test sheet of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> switchover_test(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Switchover test sheet'
    """
    steps = steps_of(basis)
    pair = basis.plant.pair
    purpose = ("To show that the pair switches over when it must, stays when it must not, and "
               "returns to normal, within limits set before the test.") if pair is not None else (
        "This plant has no pair, so there is nothing to switch over. What is left to test: fail "
        "states, what is shown of them, and the return to normal, within limits set before the "
        "test.")
    return Paper(
        name="switchover_test", title="Switchover test sheet", purpose=purpose,
        facts=basis.facts("switchover test"), assumptions=basis.assumptions(), wide=True,
        signatures=("in charge of the test", "process owner", "maintenance", "witness"),
        carried={STEPS: "; ".join(
            Planned.written(step.number, step.repeats, step.gap_least_ms, step.gap_limit_ms)
            for step in steps)} | ({} if pair is None else {CLAIM: f"{pair.coverage:g}"}),
        sections=(
            Section("This test", tables=(_kind_of_test(),), short_rows=9),
            Section("Configuration and versions", tables=(_versions(basis),)),
            Section("Preconditions, for safety", points=PRECONDITIONS, boxes=True),
            Section("Instruments", tables=(PaperTable("", (
                Column("what", "instrument", 40), Column("number", "number"),
                Column("until", "calibrated until"), Column("by", "by")),
                tuple({"what": each} for each in INSTRUMENTS)),)),
            *_limits(basis, steps),
            Section("Time", ("For one repeat with reading and way back, by common practice; write "
                             "your own beside it after the first hour.",),
                    tables=(_time(steps),), short_rows=9),
            Section("Steps", (
                "Expected values come from running the rules with the times at the end. Repeats: "
                "every repeat has to meet the limit. A failed repeat stays on this sheet; a repeat "
                "of it is a new line. Lines of the record come in the order given; those less than "
                "one heartbeat apart may change places.",),
                tables=(_steps(basis, steps),), new_page=True),
            Section("Readings of the repeats", (
                "Longest time without the right output at the terminals, ms, one cell for each "
                "repeat; a tick where no time is asked for. Attach the raw records.",),
                tables=(_readings(steps),)),
            *_hidden(basis),
            Section("Deviations, and what was left untested", (
                "A deviation keeps its number and its first reading. Categories:",),
                points=tuple(f"{letter}: {said}." for letter, said in DEVIATIONS),
                tables=(PaperTable("", (
                    Column("number", "no.", 5), Column("step", "step, repeat", 9),
                    Column("category", "category", 7), Column("what", "what happened", 36),
                    Column("decision", "decision, by whom, due", 28),
                    Column("again", "tested again, witness", 15)),
                    tuple({} for _ in range(6))),), short_rows=6),
        ))


def _kind_of_test() -> PaperTable:
    """Return what is filled in before and after: which test it is, and how it ended."""
    rows = (("kind of test", "□ FAT, at the maker   □ SAT, on site   □ after a change, no. ______"),
            ("order, contract, permit", ""), ("place, plant part", ""),
            ("begun, day and time", ""), ("ended, day and time", ""),
            ("result", "□ passed   □ passed with deviations, no. ______   □ failed"))
    return PaperTable("", (Column("what", "what", 26), Column("entry", "entry")), tuple(
        {"what": what} | ({"entry": entry} if entry else {}) for what, entry in rows))


def _time(steps: tuple[SheetStep, ...]) -> PaperTable:
    rows = []
    for part in dict.fromkeys(step.part for step in steps):
        own = [step for step in steps if step.part == part]
        each = sorted({step.minutes for step in own})
        rows.append({
            "part": part, "steps": f"{own[0].number} to {own[-1].number}",
            "repeats": str(sum(step.repeats for step in own)),
            "each": f"{each[0]:g}" + (f" to {each[-1]:g}" if len(each) > 1 else ""),
            "whole": f"{sum(step.repeats * step.minutes for step in own):g}"})
    whole = sum(step.repeats * step.minutes for step in steps)
    days = math.ceil(whole / 360)
    rows.append({"part": f"in all: {whole / 60:.3g} h, {days} {'day' if days == 1 else 'days'} of 6 h at the plant",
                 "steps": str(len(steps)), "repeats": str(sum(step.repeats for step in steps)),
                 "each": "", "whole": f"{whole:g}"})
    return PaperTable("", (
        Column("part", "part", 46), Column("steps", "steps", 12),
        Column("repeats", "repeats", 10, numbers=True),
        Column("each", "min for one", 12, numbers=True),
        Column("whole", "min in all", 12, numbers=True), Column("passed", "passed, failed")),
        tuple(rows), sums=1)


def _versions(basis: Basis) -> PaperTable:
    def of(*kinds: str) -> list[str]:
        return [name for name, part in basis.plant.parts.items() if part.kind in kinds]

    racks = of("rack", "interface", "panel")
    rows = [{"what": basis.named(name)} for name in of("controller")]
    rows += [{"what": listed(racks, 12)}] if racks else []
    return PaperTable("", (Column("what", "unit", 34), Column("program", "program, version"),
                      Column("sum", "checksum"), Column("firmware", "firmware"),
                      Column("settings", "settings file")), tuple(rows))


def _limits(basis: Basis, steps: tuple[SheetStep, ...]) -> list[Section]:
    settings, pair = basis.settings, basis.plant.pair
    if pair is None:
        return [Section("Limits, set before the test", points=(
            f"Fail state at most {settings.hold_ms} ms after the last write, at the terminals.",
            "Lamps, alarms and lines of the record as listed; none is missing.",
            "After the way back: running, no alarm, no output has moved by itself."),
            short_rows=3)]
    rows = []
    # The longer budget, where the two units have cycles of different lengths.
    for cause, said in (("no power", "loss of power of the active unit"),
                         ("stopped", "announced: program stopped by hand"),
                         ("handed over", "handed over: fewer racks reached")):
        budget = max((switchover_budget(settings, cause=cause, takes_over=unit)
                      for unit in (1, 0)), key=lambda each: each.most_ms)
        terms = "; ".join(f"{term.name} {term.least_ms} to {term.most_ms}"
                          if term.least_ms != term.most_ms else f"{term.name} {term.most_ms}"
                          for term in budget.terms)
        rows.append({"cause": said, "terms": terms, "least": str(budget.least_ms),
                     "most": str(budget.most_ms)})
    rows.append({"cause": "switchover by hand", "terms": "longest pause between two writes: "
                 "one cycle and one update of the racks", "least": "0",
                 "most": str(settings.longest_write_gap_ms)})
    rows.append({"cause": "fail state", "terms": "hold time of the racks after the last write",
                 "least": "", "most": str(settings.hold_ms)})
    done = sum(step.repeats for step in steps if step.type == MUST_SWITCH)
    lower = success_limits(done, done, confidence=0.95, sided="lower").lower
    more = max(0, trials_needed(pair.coverage, 0.95) - done) if 0 < pair.coverage < 1 else 0
    reach = (f"{done} switchovers without a failure show a chance of success of at least "
             f"{lower:.3f} with 95 % confidence (exact binomial). ")
    reach += f"The plant file counts with {pair.coverage:g}: " + (
        f"{more} more would be needed to show that." if more else "that is shown, if all pass."
        if lower >= pair.coverage else "no number of tests shows a certainty.")
    return [Section("Limits, set before the test", points=(
        "Gap at most the limit below, in every one of 10 or more repeats.",
        "Output step at a switchover at most 1 % of its range.",
        "Never two writers of a rack; no alarm lost; lamps and lines of the record as listed.",
        "Measured at the terminals, from the action to the first output of the other unit. From "
        f"the last output before the action up to {settings.longest_write_gap_ms} ms more can "
        "pass: that is the time between two writes of a healthy rack."),
        tables=(PaperTable("Time budget, ms", (
            Column("cause", "cause", 26), Column("terms", "terms"),
            Column("least", "least", 8, numbers=True), Column("most", "limit", 8, numbers=True)),
            tuple(rows)),), short_rows=5),
        Section("What the repeats can prove", (
            reach, "Few repeats prove little: 12 good ones show 0.78. The repeats are taken as "
            "independent and alike; they say nothing of causes that nobody can provoke by hand."),
            level=2)]


def _expected(step: SheetStep, basis: Basis) -> dict[str, str]:
    """Return the expected values of a step."""
    effect: Effect | None = step.effect
    if effect is None:
        return dict.fromkeys(("expected_lamps", "expected_outputs", "expected_record"), "") | {
            "expected_roles": step.expected}
    return {"expected_roles": words.roles_in_words(effect),
            "expected_outputs": words.outputs_in_words(effect, basis.settings.hold_ms),
            "expected_lamps": words.lamps_in_words(effect),
            "expected_record": words.record_in_words(effect)}


def _tolerance(step: SheetStep) -> str:
    if step.effect is None:
        return "exactly as listed"
    limit = "" if step.gap_limit_ms is None else \
        f"at most {step.gap_limit_ms} ms, {step.limit_note}; "
    step_of = "output step at most 1 % of range; " if step.type == MUST_SWITCH else \
        "no output moves; " if step.type == "must not switch" else ""
    return f"{limit}{step_of}roles, lamps, lines exactly"


def _steps(basis: Basis, steps: tuple[SheetStep, ...]) -> PaperTable:
    rows: list[dict[str, str]] = []
    flat: list[dict[str, str]] = []
    part = ""
    for step in steps:
        if step.part != part:
            part = step.part
            rows.append({"group": part})
        expected, tolerance = _expected(step, basis), _tolerance(step)
        outputs = expected["expected_outputs"]
        rows.append({
            "step": step.number,
            "type": f"{step.type}\n× {step.repeats}\n{step.minutes:g} min each",
            "action": f"{step.precondition}\n{step.action}",
            "expected": "\n".join(filter(None, (
                expected["expected_roles"], outputs and f"outputs: {outputs}",
                expected["expected_lamps"]))),
            "expected_record": expected["expected_record"], "limit": tolerance,
            "way_back": step.way_back})
        for repeat in range(1, step.repeats + 1):
            flat.append({
                "step": step.number, "repeat": str(repeat), "type": step.type,
                "precondition": step.precondition, "action": step.action, **{
                    key: value.replace("\n", " | ") for key, value in expected.items()},
                "gap_limit_ms": "" if step.gap_limit_ms is None else str(step.gap_limit_ms),
                "gap_least_ms": "" if step.gap_least_ms is None else str(step.gap_least_ms),
                "minutes": f"{step.minutes:g}",
                "tolerance": tolerance, "way_back": step.way_back})
    return PaperTable("", COLUMNS_OF_STEPS, tuple(rows), main=True, small=True,
                 csv_columns=COLUMNS[1:], csv_rows=tuple(flat))


def _readings(steps: tuple[SheetStep, ...]) -> PaperTable:
    most = max((step.repeats for step in steps), default=1)
    columns = (Column("step", "step", 5), Column("limit", "limit, ms", 7, numbers=True),
               *(Column(f"r{number}", str(number)) for number in range(1, most + 1)),
               Column("within", "all within", 7), Column("record", "record no.", 8))
    return PaperTable("", columns, tuple(
        {"step": step.number, "limit": str(step.gap_limit_ms or "–")}
        | {f"r{number}": "–" for number in range(step.repeats + 1, most + 1)}
        for step in steps if step.effect is not None))


def _hidden(basis: Basis) -> list[Section]:
    rows = [{"fault": basis.faults[fault].label,
             "step": ", ".join(numbers) or "no step: see the failure-mode table"}
            for fault, numbers in finders(basis).items()]
    return [Section("Faults that nobody notices, and the step that finds them", (
        "With the fault present, these steps come out otherwise than listed.",), tables=(PaperTable(
            "", (Column("fault", "fault", 60), Column("step", "found by step")), tuple(rows)),))] \
        if rows else []
