"""The fault-finding page: from what a person says or sees to what puts it right.

Three doors lead in: what somebody says, the alarm list, the lamps; each branch has its end.

Symptoms, suspects with their shares, and the checks in the order of what they tell for each
minute come from `labkit.rig.finder`, that is from the plant file and from running the rules.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from labkit.evidence.diagnosis import Check, rank_checks
from labkit.rig.bus import bus_readings, length_of_part_m
from labkit.rig.checks import ALARM, Run, has_panel
from labkit.rig.effects import Do, course_of
from labkit.rig.finder import FaultFinder, Suspect
from labkit.rig.headline import battery_words
from labkit.rig.rates import NO_FAULT
from labkit.switchover.roles import Outputs, Role
from labkit.wording import listed
from lessons.papers.basis import Basis, share
from lessons.papers.paper import Paper, PaperTable, Section, fixed_table, section, table, texts

ENOUGH = 0.80
LEAST_OUTCOME = 0.02
MOST_CHECKS = 3
MOST_SUSPECTS = 6
MOST_LIKELY = 3
RINGS = "An alarm stands, and the lamps are as ever"


@dataclass(frozen=True)
class Symptom:
    """Hold what a person sees, and what it tells.

    Parameters
    ----------
    title : str
        In words.
    signs : mapping of str to str
        As `labkit.rig.finder.FaultFinder` takes them.
    share : float
        Of all calls, before anything else is known, 0 to 1.
    runs : tuple of Run
        Those that show it.
    rings : bool
        Whether an alarm stands, and nothing else is seen.

    >>> Symptom("PLANT is red", {"PH1 PLANT": "red"}, 0.2, ()).rings
    False
    """

    title: str
    signs: Mapping[str, str]
    share: float
    runs: tuple[Run, ...]
    rings: bool = False


def _symptoms(finder: FaultFinder) -> list[Symptom]:
    """Return the symptoms, the most frequent first; what looks normal stands last."""
    panels = [name for name, part in finder.plant.parts.items() if part.kind == "panel"]
    units = panels[:1] or finder.plant.controllers
    lamps = [sign for sign in finder.signs if any(sign.startswith(f"{unit} ") for unit in units)]
    leading = [sign for sign in lamps if panels and
               sign.removeprefix(f"{units[0]} ") in finder.plant.controllers]
    level = [sign for sign in finder.signs if sign == "tank level"]
    groups: dict[tuple, list] = {}
    normal = finder.normal()
    for run in finder.runs:
        lit = sum(run.signs[sign] != "dark" for sign in leading)
        signs = tuple((sign, run.signs[sign]) for sign in [*lamps, *level] if sign not in leading)
        as_ever = all(normal[sign] == value for sign, value in signs)
        key = lit if leading else None, signs, as_ever and bool(_alarms(run))
        groups.setdefault(key, []).append(run)
    found, alarms, last = [], [], []
    for (lit, signs, rings), runs in groups.items():
        seen = dict(signs)
        if lit == 0:
            seen |= dict.fromkeys(leading, "dark")
        is_normal = all(normal[sign] == value for sign, value in seen.items()) and lit in (1, None)
        words = _words(finder, seen, lit, units, runs[0]) or "no lamp to read"
        title = words
        if is_normal and rings:
            title = f"{RINGS}: {words}"
        elif is_normal:
            title = f"All looks normal, no alarm stands, and yet somebody calls: {words}"
            seen |= {sign: "no" for sign in finder.signs if sign.startswith(ALARM)}
        (found if not is_normal else alarms if rings else last).append(Symptom(
            title, seen, sum(run.weight for run in runs), tuple(runs), is_normal and rings))
    found.sort(key=lambda each: -each.share)
    return [*found, *alarms, *last]


def _alarms(run: Run) -> list[str]:
    """Return the alarms that stand in a run and that somebody can read."""
    return [sign.removeprefix(ALARM) for sign, value in run.signs.items()
            if sign.startswith(ALARM) and value == "stands"]


def _words(finder: FaultFinder, seen: Mapping[str, str], lit: int | None,
           units: tuple[str, ...] | list[str], run: Run) -> str:
    parts = []
    for unit in units:
        own = [(sign.removeprefix(f"{unit} "), value) for sign, value in seen.items()
               if sign.startswith(f"{unit} ")]
        shown = [(name, value) for name, value in own if name not in finder.plant.controllers]
        if shown and all(value == "dark" for _, value in shown) and lit in (0, None):
            parts.append(f"{unit}: all dark")
            continue
        said = [f"{name} {_in_full(run, unit, name, value)}" for name, value in shown
                if value != "dark" or name in ("DATA", "PLANT", "ACTIVE")]
        if lit == 0:
            said.append("no lamp of a leading controller")
        elif lit == 2:
            said.append("two controllers lead")
        parts.append(f"{unit}: {', '.join(said)}")
    if seen.get("tank level", "as ever") != "as ever":
        parts.append(f"tank level {seen['tank level']}")
    return "; ".join(parts)


def _in_full(run: Run, unit: str, name: str, value: str) -> str:
    """Say a lamp by shape and meaning too: nobody has to tell colours apart."""
    lamp = next((each for each in run.effect.lamps_after if (each.unit, each.name) == (unit, name)),
                None)
    if lamp is None:
        return value
    return f"{value} {lamp.shape} ({lamp.text})" if lamp.lit else \
        value + (f" ({lamp.text})" if lamp.text != value else "")


# ---------------------------------------------------------------- the doors: said, alarms


def _said(finder: FaultFinder, run: Run) -> str:
    """Return what somebody says who calls."""
    effect = run.effect
    later = effect.lost_after_h
    missed = [name for name in effect.functions_lost if not finder.plant.stands_idle(name)]
    # Who calls now does not miss yet what a battery keeps.
    missed = [name for name in missed if name not in later] or missed
    if missed:
        lost = battery_words(min(later[name] for name in missed)) if later.keys() >= {*missed} else "lost"
        blind = not effect.after.panel_sees and has_panel(effect.lamps_after)
        return f"{listed(missed)}: {lost}" + ("; the panel is blind" if blind else "")
    if effect.happenings:
        names = dict.fromkeys(each.name for each in effect.happenings)
        return f"at the process: {listed(names, 3)}"
    if not effect.after.panel_sees and has_panel(effect.lamps_after):
        return "the panel shows nothing, or old values"
    if effect.worst is Outputs.FAIL_STATE:
        return "outputs stay in their fail state, and nobody asks for them now" \
            if Outputs.FAIL_STATE in effect.after.outputs.values() else "outputs dropped and came back"
    if _alarms(run):
        return "an alarm stands, and everything works"
    if effect.noticed:
        return "a lamp or line of the record is new, and everything works"
    return "something is odd, and nobody can show it"


def _complaints(finder: FaultFinder, symptoms: list[Symptom]) -> PaperTable:
    place = {id(run): number for number, each in enumerate(symptoms, 1) for run in each.runs}
    return _door("What somebody says", "somebody says", finder, [
        (_said(finder, run), run, f"no. {place[id(run)]}") for run in finder.runs])


def _alarm_list(basis: Basis) -> list[PaperTable]:
    """Return what each alarm tells; alarms that differ in the part alone share a row."""
    finder, pattern = basis.finder, basis.designations
    found = [(pattern.sub("…", text), run, text) for run in finder.runs for text in _alarms(run)]
    own = {part.alarm: name for name, part in finder.plant.parts.items()}
    return [_door("What the alarm list says (… is the part that it names)", "alarm", finder, [
        (text, run, own.get(full) or ", ".join(pattern.findall(full)[:1]) or "no part")
        for text, run, full in found])] if found else []


def _label(run: Run) -> str:
    how = run.cause.partition(": ")[2] or run.cause
    return how if run.fault is None else f"{run.fault.unit} {how}"


def _weighed(found: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Add up weights by name, the largest first."""
    sums: dict[str, float] = {}
    for name, weight in found:
        sums[name] = sums.get(name, 0.0) + weight
    return dict(sorted(sums.items(), key=lambda each: -each[1]))


def _door(title: str, heading: str, finder: FaultFinder,
          found: list[tuple[str, Run, str]]) -> PaperTable:
    """Return a table from one way of seeing to causes, most frequent first."""
    rows = []
    for words in dict.fromkeys(each for each, _, _ in found):
        own = [(run, where) for said, run, where in found if said == words]
        # A run with several alarms of one form is one call.
        runs = {id(run): run for run, _ in own}.values()
        whole = sum(run.weight for run in runs)
        causes = _weighed((_label(run), run.weight) for run in runs)
        places = _weighed((where, run.weight) for run, where in own)
        likely = [*causes]
        rows.append((whole, {
            "said": words, "share": share(whole),
            "causes": "; ".join(f"{each} {share(causes[each] / whole)}"
                                for each in likely[:MOST_LIKELY])
            + (f"; {len(likely) - MOST_LIKELY} more" if len(likely) > MOST_LIKELY else ""),
            "go": listed(places, 4)}))
    rows.sort(key=lambda each: -each[0])
    return table("door", (row for _, row in rows), title=title, heading=heading,
                 go="names" if heading == "alarm" else "look at")


def fault_finding(basis: Basis) -> Paper:
    """Make the fault-finding page of a plant.

    >>> from labkit import load_plant
    >>> fault_finding(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Fault-finding page'
    """
    finder = basis.finder
    found = _symptoms(finder)
    flat: list[dict[str, str]] = []
    branches = [_section(finder, symptom, number, flat) for number, symptom in enumerate(found, start=1)]
    do_not = section("do_not")
    if basis.plant.pair is not None:
        do_not = replace(do_not, points=do_not.points + section("do_not_at_a_pair").points)
    return basis.paper("fault_finding", [
        section("five_steps"), do_not,
        section("begin", _complaints(finder, found), *_alarm_list(basis)),
        section("seen", _overview(found, flat)),
        *branches,
        section("no_fault"), section("readings", _readings(basis)),
        section("way_back", way_back=_way_back(basis), roles_back=_roles_back(basis),
                alone="ALONE dark, " if basis.plant.pair else ""),
        section("call", two="two units lead; " if basis.plant.pair else ""), section("write_down"), section("form", fixed_table("form")),
    ], assumptions=(*basis.assumptions(), texts()["shares_of_faults"]))


def _overview(symptoms: Sequence[Symptom], flat: Sequence[dict[str, str]]) -> PaperTable:
    """Return what is seen; in the file, every suspect of it."""
    return table("seen", ({"number": str(number), "what": each.title, "share": share(each.share)}
                          for number, each in enumerate(symptoms, start=1)), main=True, csv_rows=flat)


def _suspects(finder: FaultFinder, shares: Mapping[str, float]) -> tuple[Suspect, ...]:
    """Return the causes that count, the largest share first."""
    named = {each.cause: each for each in finder.suspects(least_share=0.0)}
    return tuple(replace(named[cause], share=part) for cause, part in shares.items() if part >= 0.01)


def _section(finder: FaultFinder, symptom: Symptom, number: int, flat: list[dict[str, str]]) -> Section:
    if symptom.rings:
        # Where an alarm stands, no single sign sets the runs apart: they have their own shares.
        shares = _weighed((run.cause, run.weight / symptom.share) for run in symptom.runs)
        suspects, points = _suspects(finder, shares), [texts()["alarm_list"]]
    else:
        shares, suspects = finder.shares(symptom.signs), finder.suspects(symptom.signs, least_share=0.01)
        points = _tree(finder, symptom.signs)
    for each in suspects:
        flat.append({"number": str(number), "symptom": symptom.title,
                     "share_of_calls": f"{symptom.share:.4f}", "cause": each.label,
                     "share": f"{each.share:.3f}", "place": each.place,
                     "put_right": each.put_right, "who": each.who})
    groups = _groups(suspects)
    rows = [{"share": share(sum(each.share for each in group)),
             "cause": "; ".join(each.label for each in group),
             "place": "; ".join(dict.fromkeys(each.place for each in group if each.place)),
             "put_right": group[0].put_right, "who": group[0].who}
            for group in groups[:MOST_SUSPECTS]]
    rest = 1.0 - sum(each.share for group in groups[:MOST_SUSPECTS] for each in group)
    if rest > 0.005:
        rows.append({"share": share(rest), "cause": "something else", "place": "",
                     "put_right": "see the failure-mode table", "who": ""})
    return Section(
        f"{number}. {symptom.title}", (_safe(finder, shares, symptom.runs),), level=2,
        tables=(table("suspects", rows, title="Suspects"), table(
            "decisions", points, title="Decision points",
            note="Any other reading: read once more; if it stays, call, and give it.")))


def _safe(finder: FaultFinder, shares: Mapping[str, float], seen: Sequence[Run]) -> str:
    """Say how the process stands while this is seen, and what to secure first.

    Of the runs of a cause those count that are seen so; of a cause that is only misread so, all.
    """
    by_cause = {cause: [run for run in seen if run.cause == cause]
                or [run for run in finder.runs if run.cause == cause] for cause in shares}

    def part(bad: Callable[[Run], bool]) -> float:
        return sum(shares[cause] * sum(map(bad, runs)) / len(runs)
                   for cause, runs in by_cause.items())

    told = texts()["safe"]
    lost = part(lambda run: bool(run.effect.gap_open))
    held = part(lambda run: run.effect.worst is Outputs.FAIL_STATE and not run.effect.gap_open)
    process = part(lambda run: bool(run.effect.happenings))
    gone = _weighed((name, shares[cause] / len(runs)) for cause, runs in by_cause.items() for run in runs
                    for name in run.effect.functions_lost if name not in run.effect.lost_after_h)
    missed = listed(f"{name} ({share(part)})" for name, part in gone.items() if part > 0.02)
    if lost > 0.02:
        return told["outputs" if lost > 0.5 else "some_outputs"].format(share=share(lost))
    if process > 0.02:
        return told["process"].format(share=share(process))
    # A panel that is dark by itself leaves the process as it was.
    if part(lambda run: bool({*run.effect.functions_lost} - {*run.effect.lost_after_h})
            and (run.effect.after.panel_sees or not has_panel(run.effect.lamps_after))) > 0.5:
        return told["functions"].format(missed=missed)
    return " ".join(told[key].format(missed=missed) for key, there in (
        ("time", True), ("dropped", held > 0.1), ("some_functions", missed), ("watch", True)) if there)


def _tree(finder: FaultFinder, signs: Mapping[str, str]) -> Iterator[dict[str, str]]:
    """Yield the decision points: one row for each reading, each leading on or to an end."""
    waiting: list[tuple[str, dict[str, str]]] = [("1", {})]
    count = 1
    while waiting:
        at, results = waiting.pop(0)
        check, chances = _next_check(finder, signs, results)
        if check is None:
            yield {"at": at, "check": "no check tells more", "reading": "as seen so far",
                   "then": _end(finder.suspects(signs, results))}
            continue
        how = f"{check.name}, {check.minutes:g} min\n{finder.explain(check.name)}"
        head = {"at": at, "check": how}
        for outcome in chances:
            after = results | {check.name: outcome}
            suspects = finder.suspects(signs, after)
            row = {"reading": f"{outcome} ({share(chances[outcome])})"} | head
            head = {"more": "1", "at": "", "check": ""}
            if _ends(suspects, after):
                row["then"] = _end(suspects)
            else:
                count += 1
                row["then"] = f"go to {count}"
                waiting.append((str(count), after))
            yield row


def _next_check(finder: FaultFinder, signs: Mapping[str, str],
                results: Mapping[str, str]) -> tuple[Check | None, dict[str, float]]:
    """Return the check that tells most, and its readings that are to be expected with their chances.

    One that always reads the same and leads to no end is left out.
    """
    shares = finder.shares(signs, results)
    checks = {each.name: each for each in finder.checks(signs, results)}
    for best in rank_checks(shares, checks.values()):
        if best.information_bits <= 0.02:
            break
        chances = {outcome: sum(shares[cause] * chance for cause, chance in under.items())
                   for outcome, under in checks[best.name].outcomes.items()}
        expected = sorted((each for each in chances if chances[each] >= LEAST_OUTCOME),
                          key=lambda each: -chances[each])
        if len(expected) > 1 or any(_ends(finder.suspects(signs, after), after) for after in (
                {**results, best.name: each} for each in expected)):
            return checks[best.name], {each: chances[each] for each in expected}
    return None, {}


def _ends(suspects: tuple[Suspect, ...], results: Mapping[str, str]) -> bool:
    return _alike(suspects)[1] >= ENOUGH or len(results) >= MOST_CHECKS


def _groups(suspects: tuple[Suspect, ...]) -> list[list[Suspect]]:
    """Return suspects that fail alike and are put right alike together, the largest share first."""
    groups: dict[tuple[str, str], list[Suspect]] = {}
    for each in suspects:
        groups.setdefault((each.cause.partition(": ")[2], each.put_right), []).append(each)
    return sorted(groups.values(), key=lambda group: -sum(each.share for each in group))


def _alike(suspects: tuple[Suspect, ...]) -> tuple[tuple[Suspect, ...], float]:
    """Return the first suspect with those that are put right in the same way, and their share."""
    if not suspects:
        return (), 0.0
    same = next(group for group in _groups(suspects) if suspects[0] in group)
    return tuple(same), sum(each.share for each in same)


def _end(suspects: tuple[Suspect, ...]) -> str:
    """Say how a branch ends."""
    if not suspects:
        return "call, and give all readings"
    same, sure = _alike(suspects)
    if sure >= ENOUGH:
        label = " or ".join(each.label for each in same if each.share > 0.05 * sure)
        if same[0].cause == NO_FAULT or label.startswith("no fault"):
            return f"{label} ({share(sure)}): {same[0].put_right}"
        return f"put right: {label} ({share(sure)}). {same[0].put_right}"
    some = "; ".join(f"{each.label} {share(each.share)}" for each in suspects[:3])
    return f"not settled: {some}. Take them in this order, one at a time; if it stays, call."


def _readings(basis: Basis) -> PaperTable:
    rows = []
    lines = dict.fromkeys(fault.unit for fault in basis.faults.values() if fault.kind.line)
    for unit in lines:
        length_m = length_of_part_m(basis.plant.parts[unit])
        for what, (ohm, volt) in bus_readings(length_m).items():
            rows.append({"what": f"{basis.named(unit)}" + (f", {length_m:g} m" if length_m else
                                                           ", add the copper of its length"),
                         "ohm": ohm, "volt": volt, "means": what})
    if any(part.fed_by for part in basis.plant.parts.values()):
        rows.append({"what": "24 V at a unit", "ohm": "", "volt": "20.4 to 28.8 V",
                     "means": "good"})
    rows.append({"what": "one wire of a cable, end to end", "ohm": "below 2 ohm, and the copper of "
                 "its length", "volt": "", "means": "through"})
    return table("readings", rows, note=texts()["back"]["lines"] if lines else "")


def _way_back(basis: Basis) -> str:
    """Say which roles have to be seen once the usual fault is put right."""
    told = texts()["back"]
    if basis.plant.pair is None or basis.plant.started_by_hand:
        return told["by_hand" if basis.plant.pair else "no_pair"]
    leader = basis.leaders[0]
    fault = f"{leader}: no power"
    way = course_of(basis.plant, [Do("off", fault)], basis.settings,
                    prepared=[Do("on", fault, wait_s=5.0)], leader=leader)
    ready_ms = max((entry.time_ms for entry in way.record
                    if entry.what == "role" and entry.new == Role.STANDBY.value), default=None)
    if ready_ms is None:
        return told["no_sync"].format(role=way.after.roles[leader].value)
    return told["ready"].format(seconds=f"{ready_ms / 1000:.0f}")


def _roles_back(basis: Basis) -> tuple[str, ...]:
    """Say who leads in the end, where two can."""
    return (texts()["back"][basis.settings.return_policy],) if basis.plant.pair is not None else ()
