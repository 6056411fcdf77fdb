"""What the checks of a drill tell: outcomes of all that may be hidden, and the shortest way to a cause."""

import functools

from labkit.evidence.diagnosis import Check, rank_checks
from labkit.plant.plant import Plant
from lessons.exercises.measuring import checks_of, panel_words, result_of
from lessons.exercises.scenes import NO_FAULT, Scene, run_scene, scenes_of

FEWEST = 2
AT_A_MOVE = 14


@functools.lru_cache(maxsize=256)
def _outcome(scene: Scene) -> tuple[tuple[str, ...], str, dict[str, str]]:
    """Return what is hidden in a scene, and what panel and checks show of it."""
    rig = run_scene(scene)
    seen = panel_words(rig)
    # The planned switchover comes last in the list, for it changes the rig.
    return scene.truth, seen, {name: result_of(name, rig) for name in checks_of(scene.plant)}


def outcomes_of(leader: str, plant: Plant) -> dict[
        tuple[str, ...], tuple[tuple[str, ...], str, dict[str, str]]]:
    """Return the outcome of everything that may be hidden."""
    return {scene.faults: _outcome(scene) for scene in scenes_of(leader, plant)}


def prepare(leader: str, plant: Plant, moves: int) -> None:
    """Work out some of the outcomes at each move, so that the first retest need not wait."""
    begin = AT_A_MOVE * (moves - 1)
    for scene in scenes_of(leader, plant)[begin : begin + AT_A_MOVE]:
        _outcome(scene)


def tells(check: str, scene: Scene) -> bool:
    """Return whether a check reads otherwise than without the fault; where there is none, True."""
    if scene.truth == (NO_FAULT,):
        return True
    table = outcomes_of(scene.leader, scene.plant)
    without = tuple(each for each in scene.faults if each not in scene.truth)
    return table[scene.faults][2][check] != table[without][2][check]


def fewest_checks(scene: Scene) -> int:
    """Return how many checks settle a scene, taking the most telling one for its minutes first.

    Returns
    -------
    int
        At least 2: one that points to the cause, and one that confirms it. All that may be hidden
        is taken as equally likely.

    >>> fewest_checks(Scene(("TF1: no power",), "KF1"))
    4
    """
    return max(len(best_way(scene)), FEWEST)


def best_way(scene: Scene) -> tuple[str, ...]:
    """Return the checks that settle a scene, the most telling one for its minutes first."""
    return _best_way(scene.leader, scene.faults, scene.plant)


@functools.cache
def _best_way(leader: str, faults: tuple[str, ...], plant: Plant) -> tuple[str, ...]:
    table = outcomes_of(leader, plant)
    seen = table[faults][1]
    left = {ids: row for ids, row in table.items() if row[1] == seen}
    made: list[str] = []
    while len({truth for truth, _, _ in left.values()}) > 1:
        checks = []
        for name, look in checks_of(plant).items():
            shown = {str(i): row[2][name] for i, row in enumerate(left.values())}
            checks.append(Check(name, look.minutes, {
                outcome: {i: float(said == outcome) for i, said in shown.items()}
                for outcome in dict.fromkeys(shown.values())}))
        best = rank_checks({str(i): 1.0 for i in range(len(left))}, checks)[0]
        if best.information_bits == 0:
            break
        result = table[faults][2][best.name]
        left = {ids: row for ids, row in left.items() if row[2][best.name] == result}
        made.append(best.name)
    return tuple(made)
