"""The fault drill: a hidden fault on the running plant, found step by step.

A drill is answered by moves, one at a time, in the five steps *Describe - List - Test - Repair -
Evaluate*. Each move is one answer to the item: what was done so far is the value of the answer
before, so that a record of answers is all that is kept. Before each check a ranked list of causes
has to be committed; a check costs minutes; some acts are forbidden. A drill ends with a retest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import SimpleNamespace

from labkit.plant.plant import Plant
from labkit.rig.checks import hall_check
from labkit.switchover.fault_kinds import faults_of
from lessons.exercises.bench import Bench, actions_of, acts_of, forbidden_of
from lessons.exercises.best_way import best_way, fewest_checks, outcomes_of, prepare, tells
from lessons.exercises.formulas import NOTHING
from lessons.exercises.item import Hints, Item
from lessons.exercises.measuring import (
    QUESTIONS,
    answer_to,
    called,
    checks_of,
    complaint,
    panel_words,
    result_of,
)
from lessons.exercises.on_paper import Form
from lessons.exercises.replies import SOLVED, STOP_HERE, Judgement, Verdict
from lessons.exercises.scenes import (
    FAMILIES,
    NO_FAULT,
    Scene,
    SceneCase,
    branches,
    picked,
    run_scene,
)

MOST_LISTED = 5
MOST_ASKED = 2
MOST_NEAR = 4
BESIDE = frozenset("a an the it is are was has of on at in to for and check measure read look".split())
"""Words that are said beside a name."""
STEP_OF = {"describe": "Describe", "ask": "Describe", "rank": "List", "check": "Test",
           "do": "Test", "repair": "Repair", "retest": "Evaluate"}


class _Unclear(Exception):
    """A move that cannot be taken; says what is expected."""


def _listed(plant: Plant, causes: str) -> list[str]:
    labels = {cause: fault.label for cause, fault in faults_of(plant).items()}
    known = [cause for ids in branches(plant).values() for cause in ids]
    return [_name_in(said, known, f"{said!r} is no cause of the list." if said else
                     "a cause of the list is expected.", labels)
            for said in map(str.strip, re.split(r"[;,>]|\s\+\s", causes.strip(" .;,")))]


def _words(text: str) -> set[str]:
    return set(re.findall(r"\w+(?:[.+]\w+)*", text.lower())) - BESIDE


def _name_in(said: str, names: Iterable[str], expected: str = "",
             labels: Mapping[str, str] = NOTHING) -> str | None:
    """Return what a text names, by its number too, or by words that no other name or label has.

    Where it must be one, say what is expected, and what is near it.
    """
    words, by_number = _words(said), {str(place): name for place, name in enumerate(names, 1)}
    for name in names:
        if name.lower() == said.strip(" .").lower():
            return name
    if not labels and len(words) == 1 and words <= set(by_number):
        return by_number[words.pop()]
    shared = {name: words & _words(f"{name} {labels.get(name, '')}") for name in names}
    fits = [name for name in names if words and shared[name] == words]
    # All that is wrong is said of a dark panel, and not of its dark lamp.
    fits = [name for name in fits if _words(name.rpartition(": ")[2]) <= words] or fits
    if len(fits) != 1 and expected:
        most = max(map(len, shared.values()))
        near = [name for name in names if len(shared[name]) == most > 0]
        more = "; ..." if len(near) > MOST_NEAR else ""
        raise _Unclear(f"{expected} Near it: {'; '.join(near[:MOST_NEAR])}{more}" if near else expected)
    return fits[0] if len(fits) == 1 else None


@dataclass(frozen=True)
class Drill(Item):
    """Find a hidden fault, or none, on the running plant.

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective that it serves.
    case : SceneCase
        Draws what is hidden.
    commented : bool
        Whether each check says why it is made, until the first success: for the first drill of a
        family.
    hints : Hints
        The ladder.

    >>> drill = Drill("00-demo", "Demo", "", SceneCase("demo", families=("panel and its bus",),
    ...               kinds=("one",)))
    >>> drill.judge("describe: the panel is blind", next(drill.case.draws(0)), 0, {}).shows
    'Describe is noted, 0 min so far.'
    """

    many_answers = True

    case: SceneCase
    ask: str = "What is it? Find it, put it right, and retest."
    commented: bool = False
    hints: Hints = Hints(
        "Look at what still works: the branch of the function tree in which it stops is searched.",
        "Take the check that tells most causes of your list apart for its minutes.",
        "{route}",
    )

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the situation and all that may be done, as text."""
        scene = numbers.scene
        rig, plant = run_scene(scene), scene.plant
        checks, forbidden = self.on_paper(numbers, seed).bench
        acts = "; ".join(f"{act} {minutes}" for act, minutes in acts_of(plant).items())
        causes = [f"  {branch}: {', '.join(ids)}" for branch, ids in branches(plant).items()]
        caller = next((part.place for part in plant.parts.values() if part.kind == "panel"), "") or "operator"
        return "\n".join((
            f"It is {called(scene, rig)}. The {caller} calls: '{complaint(scene, rig)}'",
            panel_words(rig),
            self.ask,
            checks,
            f"Other acts: {acts}.",
            forbidden,
            "Causes, by the branch of the function that stops:",
            *causes,
            "Actions: " + "; ".join(actions_of(plant)) + ".",
            f"The caller can be asked {MOST_ASKED} things: {'; '.join(QUESTIONS)}.",
            "Answer, one move at a time: 'ask: what changed'; 'describe: what is seen'; 'rank: cause; cause'; "
            "'check: name or number'; 'do: act'; 'repair: cause / evidence: check / "
            "action: action', for two causes 'cause + cause' and 'action + action'; 'retest'. "
            "A new list comes before each check.",
        ))

    points = 3
    """For the cause, for few checks, for no forbidden act."""

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return what may be checked, and what may not be done; whoever holds the card reads aloud."""
        plant = numbers.scene.plant
        checks = "; ".join(f"{place} {look.name} {look.minutes:g}"
                           for place, look in enumerate(checks_of(plant).values(), 1))
        return Form(bench=(f"Checks and their minutes: {checks}.",
                           f"Forbidden, as on a real plant: {'; '.join(forbidden_of(plant))}."))

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return the causes to be named, the best way there, and its minutes."""
        checks, way = checks_of(numbers.scene.plant), best_way(numbers.scene)
        minutes = sum(round(checks[name].minutes) for name in way)
        said = f"{'; '.join(way)}, {minutes} min" if way else "what the panel shows is enough"
        return (" + ".join(numbers.scene.truth),
                f"best way: {said}; full points with {fewest_checks(numbers.scene)} checks")

    def at(self, plant: Plant) -> Drill:
        """Return the drill at another plant; any fault where its own families cannot fail there."""
        for families in (self.case.families, tuple(FAMILIES)):
            if any(picked(plant, *picks) for name in families for picks in FAMILIES[name]):
                case = replace(self.case, families=families, plant=lambda: plant)
                return replace(self, case=case)
        return self

    def card(self, numbers: SimpleNamespace) -> Mapping[str, object] | None:
        """Return what whoever plays the plant reads out: the call, and what each check shows."""
        scene = numbers.scene
        rig = run_scene(scene)
        return {
            "called": called(scene, rig), "complaint": complaint(scene, rig), "panel": panel_words(rig),
            "checks": [(name, round(look.minutes), result_of(name, run_scene(scene), scene))
                       for name, look in checks_of(scene.plant).items()],
            "forbidden": forbidden_of(scene.plant)}

    def control(self) -> type:
        """Refuse: the plant needs a panel, which stands in another room."""
        raise ValueError(
            f"item_id must not name a fault drill, got {self.id!r}: it has a panel of its own. "
            f"from lessons.panels.drill_panel import drill_panel; drill_panel({self.id!r})")

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return nothing: many moves lead there, and the route of the key names the cause."""
        return ""

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return nothing beside the route."""
        return ()

    def standing(self, verdict: str) -> str:
        """Return how it stands: a retest that settles it closes it, with all points or some."""
        closed = {Verdict.RIGHT.name: "done", Verdict.PARTLY.name: "missed"}
        return closed.get(verdict, "begun")

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where every hidden cause is among those that may be named."""
        known = {cause for ids in branches(numbers.scene.plant).values() for cause in ids}
        return set(numbers.scene.truth) <= known

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Take one move after those before it."""
        before = earlier.get(self.id)
        moves = list(before) if isinstance(before, list | tuple) else []
        bench = bench_after(numbers.scene, moves)
        fresh = self.id not in earlier.get(SOLVED, ())
        return self.move(bench, answer, commented=self.commented and fresh)

    def move(self, bench: Bench, answer: object, *, commented: bool = False) -> Judgement:
        """Take one move on a bench, which is changed by it; a comment says why a check is made."""
        verb, said = re.fullmatch(r"(\w*)[\s.:–-]*(.*)", str(answer).strip(), re.DOTALL).groups()
        verb, said = verb.lower(), said.strip()
        takers = {"describe": _describe, "ask": _ask, "rank": _rank, "check": _check,
                  "do": _act, "repair": _repair, "retest": _retest}
        try:
            if not isinstance(answer, str) or verb not in takers:
                raise _Unclear(f"a move starts with one of {', '.join(takers)}. hint({self.id!r}) helps.")
            if bench.closed:
                raise _Unclear("this drill is closed; take the next seed.")
            if not bench.description and verb not in ("describe", "ask"):
                raise _Unclear("step Describe comes first: one line of what is seen.")
            if not bench.retested and verb != "retest":
                raise _Unclear("after a repair the retest comes next.")
            judged = takers[verb](bench, said)
        except _Unclear as expected:
            return Judgement(Verdict.UNCLEAR, str(expected), next_step="")
        bench.moves.append(f"{verb}: {said}" if said else verb)
        prepare(bench.scene.leader, bench.scene.plant, len(bench.moves))
        released = judged.released
        if commented and verb == "check" and judged.verdict is Verdict.NOTED:
            checks = checks_of(bench.scene.plant)
            released += f"\nWhy: {checks[_name_in(said, checks)].why}"
        shows = judged.shows or f"{STEP_OF[verb]} is noted, {bench.minutes} min so far."
        return replace(judged, shows=shows, value=list(bench.moves), released=released)


def _describe(bench: Bench, said: str) -> Judgement:
    if not said:
        raise _Unclear("one line of what is seen is expected.")
    bench.description = said
    return Judgement(Verdict.NOTED, next_step="Now list causes, the likeliest first.")


def _ask(bench: Bench, said: str) -> Judgement:
    question = _name_in(said, QUESTIONS, f"one of {', '.join(QUESTIONS)} is expected.")
    if len(bench.asked) == MOST_ASKED:
        raise _Unclear(f"the caller has hung up after {MOST_ASKED} questions.")
    bench.asked.append(question)
    bench.minutes += 1
    return Judgement(Verdict.NOTED, next_step="Now one line of what is seen, and a list.",
                     released=f"{question}?\n'{answer_to(question, bench.scene, bench.rig)}'")


def _rank(bench: Bench, said: str) -> Judgement:
    same = said.lower() in ("same", "as before") and bench.rankings
    causes = list(bench.rankings[-1]) if same else _listed(bench.scene.plant, said) if said else []
    if not 2 <= len(dict.fromkeys(causes)) == len(causes) <= MOST_LISTED:
        raise _Unclear(f"2 to {MOST_LISTED} causes are expected, each once. "
                       "What else would look like this?")
    bench.rankings.append(tuple(causes))
    bench.ranked_now = True
    return Judgement(Verdict.NOTED, next_step="Now one check, or the repair.")


def _refused(bench: Bench, act: str, why: str) -> Judgement:
    bench.forbidden.append(act)
    return Judgement(Verdict.LOOK_AGAIN, f"{STOP_HERE} {why}",
                     next_step="It was not done, and it is counted. What has to come first?")


def _check(bench: Bench, said: str) -> Judgement:
    checks = checks_of(bench.scene.plant)
    if not _name_in(said, checks) and _name_in(said, acts_of(bench.scene.plant)):
        raise _Unclear("this is an act, and no check: say 'do: ...'.")
    name = _name_in(said, checks, "the name or number of a check is expected.")
    if not bench.ranked_now:
        raise _Unclear("a ranked list of causes comes before each check.")
    if bench.stop_words(name):
        return _refused(bench, name, bench.stop_words(name))
    bench.minutes += round(checks[name].minutes)
    bench.ranked_now = False
    result = result_of(name, bench.rig, bench.scene)
    # The same check made twice counts twice: it took its minutes.
    key = name if name not in bench.results else f"{name}, again after {bench.minutes} min"
    bench.results[key] = result
    return Judgement(Verdict.NOTED, next_step="Does your list still stand? Commit it again.",
                     released=f"{name}:\n{result}")


def _act(bench: Bench, said: str) -> Judgement:
    acts = acts_of(bench.scene.plant)
    act = _name_in(said, acts, f"one of {', '.join(acts)} is expected.")
    if why := bench.stop_words(act):
        return _refused(bench, act, why)
    bench.minutes += acts[act]
    return Judgement(Verdict.NOTED, next_step="Now a list, and a check.", released=bench.do(act))


def _repair(bench: Bench, said: str) -> Judgement:
    parts = re.fullmatch(r"([^/]*)/\s*(?:evidence:)?([^/]*)/\s*(?:action:)?([^/]*)", said, re.IGNORECASE)
    if not parts:
        raise _Unclear("'repair: cause / evidence: check / action: action' is expected.")
    plant = bench.scene.plant
    causes, evidence = _listed(plant, parts[1]), _name_in(parts[2], checks_of(plant))
    actions = [_name_in(each, actions_of(plant), "actions of the list are expected.")
               for each in parts[3].split("+")]
    if evidence not in bench.results:
        raise _Unclear("the evidence has to be a check that was made.")
    causes = tuple(dict.fromkeys(causes))
    if why := bench.work_words(causes, tuple(actions)):
        return _refused(bench, f"{' + '.join(actions)} at {' + '.join(causes)}", why)
    bench.repairs.append((causes, evidence, tuple(actions)))
    bench.repair(causes, tuple(actions))
    bench.retested = False
    return Judgement(Verdict.NOTED, next_step="Now the retest.")


def _retest(bench: Bench, said: str) -> Judgement:
    if bench.retested:
        raise _Unclear("a retest comes after a repair.")
    bench.retested = True
    hall = hall_check(bench.scene.plant)
    bench.minutes += round(checks_of(bench.scene.plant)[hall].minutes)
    seen = f"{panel_words(bench.rig, bench.since_s)}\n{result_of(hall, bench.rig)}"
    if bench.repaired:
        points = bench.points()
        bench.closed = True
        verdict = Verdict.RIGHT if points[0] == 1.0 else Verdict.PARTLY
        return Judgement(
            verdict, f"{sum(points):.1f} of 3 points, {bench.minutes} min.",
            score=sum(points) / 3, released=f"{seen}\n\n{evaluation(bench)}",
            next_step="On offer: the next drill, with the next seed.")
    bench.ranked_now = False
    misconception, question = _question(bench)
    return Judgement(
        Verdict.LOOK_AGAIN, f"the retest does not settle it. {question}",
        misconception=misconception, score=bench.share_named() / 3,
        released="\n".join((seen, *_against(bench))), next_step="Go back to step List.")


def _against(bench: Bench) -> list[str]:
    """Return what was read and speaks against the named cause, beside what it would show."""
    table = outcomes_of(bench.scene.leader, bench.scene.plant)
    named = set(bench.repairs[-1][0]) - {NO_FAULT}
    alone = next((row for ids, row in table.items() if set(ids) == named), None)
    here = table.get(bench.scene.faults)
    if alone is None or here is None:
        return []
    # What differs from one clock to another is no evidence: it is left out.
    return [f"Against it: {name} read '{read}'. With {' and '.join(sorted(named)) or NO_FAULT} "
            f"it reads '{alone[2][name]}'."
            for name, read in bench.results.items()
            if name in alone[2] and read == here[2][name] != alone[2][name]]


def _question(bench: Bench) -> tuple[str | None, str]:
    """Return what a repair that does not fit points to, as a question."""
    causes, _, actions = bench.repairs[-1]
    named, truth = set(causes), set(bench.scene.truth)
    left = truth - bench._named()
    if named & truth and left:
        return None, "Which sign, before or now, does the named cause not explain?"
    if named <= truth and not left:
        return None, (f"No fault was named: what is left for '{actions[0]}'?" if named == {NO_FAULT}
                      else f"Does '{actions[0]}' put this cause right?")
    known = faults_of(bench.scene.plant)
    tree = {cause: branch for branch, ids in branches(bench.scene.plant).items() for cause in ids}
    where, said = {tree[each] for each in truth}, {tree[each] for each in named}
    there = [known[each] for each in truth - {NO_FAULT}]
    told = [known[each] for each in named - {NO_FAULT}]
    if all(any(fault.mode == "frame errors" and fault.kind.line for fault in faults)
           for faults in (there, told)):
        return "M33", "How many terminators does the measured resistance stand for?"
    blind = any(fault.kind.of in ("bus", "repeater") or fault.kind.of == "panel" and fault.breaks
                for fault in there)
    if blind and said & {"decide", "act"}:
        return "M16", "What do the lamps in the hall say of control?"
    if any(fault.kind.of == "shared cables" for fault in there) and any(
            fault.kind.of == "link" for fault in told):
        return "M26", "Which way do both cables share?"
    if named == {NO_FAULT}:
        return "M32", "What was dark or silent, and which test speaks for it?"
    if truth == {NO_FAULT}:
        return None, "Which sign is not explained by work on purpose?"
    right = ", ".join(sorted(where & said))
    return None, (f"The branch '{right}' fits. Which of its causes shows otherwise?" if right
                  else "Which branch of the function tree still works?")


def evaluation(bench: Bench) -> str:
    """Return the evaluation of a closed drill: causes, checks, lists, acts.

    Parameters
    ----------
    bench : Bench
        With at least one repair.
    """
    known = faults_of(bench.scene.plant)
    right, few, kept = bench.points()
    lines = [f"Described: {bench.description}"]
    for cause in bench.scene.truth:
        if cause == NO_FAULT:
            lines.append("Cause: none. All that was seen is the plant as it should be.")
        else:
            lines.append(f"Cause: {known[cause].label}. Seen: {known[cause].seen}")
            lines.append(f"Put right: {known[cause].put_right} {known[cause].who_may}")
    for cause in bench.scene.truth:
        places = [str(each.index(cause) + 1) if cause in each else "not in it"
                  for each in bench.rankings]
        lines.append(f"Place of '{cause}' in your lists: {', '.join(places)}.")
    lines.append(_of_evidence(bench))
    way = best_way(bench.scene)
    lines.append(f"A short way: {', then '.join(way) or 'the panel alone tells it'}.")
    lines.append(
        f"Points: cause {right:.1f}; checks {few:.1f} (made {bench.checks_made}, enough "
        f"{fewest_checks(bench.scene)}); clean work {kept:.1f}.")
    if bench.forbidden:
        lines.append(f"Forbidden: {', '.join(bench.forbidden)}.")
    if bench.needless:
        lines.append(f"Repaired though whole: {', '.join(bench.needless)}.")
    return "\n".join(lines)


def _of_evidence(bench: Bench) -> str:
    """Return whether the evidence would read the same without the cause, as a question if so."""
    evidence = bench.repairs[-1][1]
    if bench.scene.truth == (NO_FAULT,):
        return f"Evidence: {evidence}."
    if not tells(evidence, bench.scene):
        return (f"Evidence: {evidence}. It reads the same without the fault. Which check would "
                "show it?")
    return f"Evidence: {evidence}. It would read otherwise without the fault."


def bench_after(scene: Scene, moves: list[str]) -> Bench:
    """Return the bench after moves that were accepted.

    >>> bench_after(Scene(("WF9: cut",), "KF1"), ["describe: ALONE is lit"]).description
    'ALONE is lit'
    """
    bench = Bench.of(scene)
    drill = Drill("00-replay", "", "", SceneCase())
    for move in moves:
        drill.move(bench, move)
    return bench
