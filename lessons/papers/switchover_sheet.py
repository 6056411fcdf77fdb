"""The switchover test sheet: what has to come out stands in it before anybody tests."""

import math
from collections.abc import Iterator

from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import success_limits
from labkit.rig.effects import Effect
from labkit.switchover.settings import switchover_budget
from labkit.wording import listed
from lessons.papers import effect_words as words
from lessons.papers.basis import Basis
from lessons.papers.paper import (
    Column,
    Paper,
    PaperTable,
    Section,
    fixed_table,
    section,
    table,
    texts,
)
from lessons.papers.results import CLAIM, COLUMNS, MUST_SWITCH, STEPS, Planned
from lessons.papers.steps import SheetStep, finders, steps_of


def switchover_test(basis: Basis) -> Paper:
    """Make the switchover test sheet of a plant.

    >>> from labkit import load_plant
    >>> switchover_test(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Switchover test sheet'
    """
    steps = steps_of(basis)
    pair, by_hand = basis.plant.pair, basis.plant.started_by_hand
    return basis.paper("switchover_test", [
        section("this_test", fixed_table("this_test")),
        section("versions", table("versions", _versions(basis))),
        section("preconditions"),
        section("instruments", fixed_table("instruments")),
        *_limits(basis, steps),
        section("time", table("time", _time(steps), sums=1)),
        section("steps", _steps(basis, steps), apart_ms=basis.settings.heartbeat_ms),
        section("readings_of_repeats", _readings(steps)),
        *_hidden(basis),
        section("deviations", fixed_table("deviations"), untested=_untested(basis, steps),
                two="two units write, " if pair else ""),
        section("closing", table("closing", (
            {"who": role} for role in texts()["paper"]["switchover_test"]["signatures"]))),
    ], carried={STEPS: "; ".join(
        Planned.written(step.number, step.repeats, step.gap_least_ms, step.gap_limit_ms)
        for step in steps)} | ({} if pair is None or by_hand else {CLAIM: f"{pair.coverage:g}"}),
        **({"purpose": texts()["purpose"]["by_hand" if by_hand else "no_pair"]} if pair is None or by_hand else {}))


def _untested(basis: Basis, steps: tuple[SheetStep, ...]) -> str:
    """Say which parts no step takes away or looks at."""
    tried = {basis.faults[fault].unit for step in steps for fault in step.faults if fault in basis.faults}
    left = [name for name in basis.plant.parts if name not in tried]
    return f"By no step of this sheet: {listed(left)}. Add one, or write here why not: ____________." \
        if left else "Each part of the file stands in a step."


def _time(steps: tuple[SheetStep, ...]) -> Iterator[dict[str, str]]:
    for part in dict.fromkeys(step.part for step in steps):
        own = [step for step in steps if step.part == part]
        each = sorted({step.minutes for step in own})
        yield {
            "part": part, "steps": own[0].number if len(own) == 1 else f"{own[0].number} to {own[-1].number}",
            "repeats": str(sum(step.repeats for step in own)),
            "each": f"{each[0]:g}" + (f" to {each[-1]:g}" if len(each) > 1 else ""),
            "whole": f"{sum(step.repeats * step.minutes for step in own):g}"}
    whole = sum(step.repeats * step.minutes for step in steps)
    days = math.ceil(whole / 360)
    yield {"part": f"in all: {whole / 60:.3g} h, {days} {'day' if days == 1 else 'days'} of 6 h at the plant",
           "steps": str(len(steps)), "repeats": str(sum(step.repeats for step in steps)),
           "each": "", "whole": f"{whole:g}"}


def _versions(basis: Basis) -> Iterator[dict[str, str]]:
    parts = basis.plant.parts.items()
    for name in (name for name, part in parts if part.kind == "controller"):
        yield {"what": basis.named(name)}
    if racks := [name for name, part in parts if part.kind in ("rack", "interface", "panel")]:
        yield {"what": listed(racks, 12)}


def _limits(basis: Basis, steps: tuple[SheetStep, ...]) -> list[Section]:
    settings, pair = basis.settings, basis.plant.pair
    if pair is None or basis.plant.started_by_hand:
        return [section("limits_of_fail_states", hold_ms=settings.hold_ms)]
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
    lower = success_limits(done, done, confidence=0.95, sided="lower").lower if done else 0.0
    more = max(0, trials_needed(pair.coverage, 0.95) - done) if 0 < pair.coverage < 1 else 0
    reach = (f"{done} switchovers without a failure show a chance of success of at least "
             f"{lower:.3f} with 95 % confidence (exact binomial). ") if done else (
             "No step here is a switchover that keeps the outputs of every rack. ")
    reach += f"The plant file counts with {pair.coverage:g}: " + (
        f"{more} more would be needed to show that." if more else "that is shown, if all pass."
        if lower >= pair.coverage else "no number of tests shows a certainty.")
    return [section("limits", table("limits", rows, title="Time budget, ms"),
                    gap_ms=settings.longest_write_gap_ms), section("proof", reach=reach)]


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
        "no output moves; " if step.type == "must not switch" and step.effect.after.outputs else ""
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
            flat.append(dict.fromkeys(COLUMNS[1:], "") | {
                "step": step.number, "repeat": str(repeat), "type": step.type,
                "precondition": step.precondition, "action": step.action, **{
                    key: value.replace("\n", " | ") for key, value in expected.items()},
                "gap_limit_ms": "" if step.gap_limit_ms is None else str(step.gap_limit_ms),
                "gap_least_ms": "" if step.gap_least_ms is None else str(step.gap_least_ms),
                "minutes": f"{step.minutes:g}",
                "tolerance": tolerance, "way_back": step.way_back})
    return table("steps", rows, main=True, small=True, csv_rows=flat)


def _readings(steps: tuple[SheetStep, ...]) -> PaperTable:
    most = max((step.repeats for step in steps), default=1)
    across = (Column("step", "step", 5), Column("limit", "limit, ms", 7, numbers=True),
               *(Column(f"r{number}", str(number)) for number in range(1, most + 1)),
               Column("within", "all within", 7), Column("record", "record no.", 8))
    return PaperTable("", across, tuple(
        {"step": step.number, "limit": str(step.gap_limit_ms or "–")}
        | {f"r{number}": "–" for number in range(step.repeats + 1, most + 1)}
        for step in steps if step.effect is not None))


def _hidden(basis: Basis) -> list[Section]:
    rows = [{"fault": basis.faults[fault].label,
             "step": ", ".join(numbers) or "no step: see the failure-mode table"}
            for fault, numbers in finders(basis).items()]
    return [section("hidden", table("hidden", rows))] if rows else []
