"""The scene of a fault drill: what is hidden in it, drawn from the seed, and how it is reached.

Of six seeds in a row one has no fault and one has two causes; the others have one cause each. What
each fault does is nowhere written: the rig runs it. Which there are stands in `drills.toml`, by
group and number (`picked`), so that any plant with such parts can be drilled.
"""

import functools
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

from labkit.plant.plant import Plant, load_plant
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import BRANCHES, faults_of
from lessons.exercises.item import Case, shuffled

NO_FAULT = "no fault"
KINDS = ("none", "two", "one", "one", "one", "one")
STEP_S = 3.0

DRILLS = tomllib.loads(Path(__file__).with_name("drills.toml").read_text("utf-8"))
"""What may be hidden, by families and together, what the book may say, and what is refused."""


def _picks(lists: Iterable[Iterable[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple(map(tuple, lists))


FAMILIES = {family: _picks(faults) for family, faults in DRILLS["alone"].items()}
TWO, NONE = (_picks(DRILLS["scenes"][kind]) for kind in ("two", "none"))
WORK = tuple(DRILLS["book"]["work"])


@functools.cache
def plant_of_drills() -> Plant:
    """Return the plant of the lessons, read once."""
    return load_plant()


@dataclass(frozen=True)
class Scene:
    """Hold what is hidden in a drill, and the course that leads to what is seen.

    Parameters
    ----------
    faults : tuple of str
        Ids that are switched on, in order; a switchover by hand is among them.
    leader : str
        Who leads before.
    before_s, after_s : float
        Quiet time before the first of them, and time after the last, in s.
    clock : int
        Seed of the phases of the clocks.
    starts : str
        Time of day at which the rig starts, in hours and minutes.
    work : str
        A line of the book that need not have to do with the fault; empty for none.
    plant : Plant
        Where it plays. Default: the plant of the lessons.

    >>> Scene(("WF9: cut",), "KF1").truth
    ('WF9: cut',)
    >>> Scene(("test: role change",), "KF1").truth
    ('no fault',)
    """

    faults: tuple[str, ...]
    leader: str
    before_s: float = 40.0
    after_s: float = 70.0
    clock: int = 1
    starts: str = "02:10"
    work: str = ""
    plant: Plant = field(default_factory=plant_of_drills, repr=False)

    @property
    def truth(self) -> tuple[str, ...]:
        """The causes to be found; a test and a restart by hand are none."""
        known = faults_of(self.plant)
        return tuple(each for each in self.faults if known[each].kind.repair) or (NO_FAULT,)


def picked(plant: Plant, *picks: str) -> tuple[str, ...]:
    """Return the ids of faults of a plant that are named by group, number and how they fail.

    Parameters
    ----------
    *picks : str
        Such as "bus 2: cut" for the second bus of the plant; without a number the first.

    Returns
    -------
    tuple of str
        Empty where the plant lacks one of them.

    >>> from labkit import load_plant
    >>> picked(load_plant(), "by hand: role change", "bus 2: cut")
    ('test: role change', 'WF4: cut')
    """
    found = []
    for pick in picks:
        thing, _, how = pick.partition(": ")
        group, _, number = thing.rpartition(" ") if thing[-1].isdigit() else (thing, "", "1")
        there = [fault.id for fault in faults_of(plant).values()
                 if fault.how == how and fault.kind.of.removeprefix("pair ").startswith(group)]
        found += there[int(number) - 1:int(number)]
    return tuple(found) if len(found) == len(picks) else ()


def branches(plant: Plant | None = None) -> dict[str, tuple[str, ...]]:
    """Return every cause that may be named: branch of the function tree to ids of faults.

    Parameters
    ----------
    plant : Plant, optional
        Default: the plant of the lessons.

    Returns
    -------
    dict of str to tuple of str
        Causes that stop no function of the pair are left out.

    >>> branches()["show"], list(branches())[-1]
    (('PH1: dark', 'PH1: lamp dark'), 'no fault')
    """
    faults = faults_of(plant or plant_of_drills()).values()
    return {branch: tuple(fault.id for fault in faults if fault.kind.branch == branch)
            for branch in BRANCHES} | {NO_FAULT: (NO_FAULT,)}


@functools.lru_cache(maxsize=64)
def _pool(plant: Plant, picks: tuple[tuple[str, ...], ...]) -> tuple[tuple[str, ...], ...]:
    """Return what of a list a plant can have; what is meant to be empty stays in it."""
    found = ((each, picked(plant, *each)) for each in picks)
    return tuple(ids for each, ids in found if ids or not each)


def _moved(plant: Plant, fault_id: str, leader: str, rack: str) -> str:
    """Return the same fault with another unit leading than the first, and at another rack."""
    unit, colon, how = fault_id.partition(": ")
    first, lines = plant.controllers[0], plant.lines()
    if leader != first:
        swap = {first: leader, leader: first}
        for each in plant.racks:
            ways = lines.get((first, each), ()), lines.get((leader, each), ())
            swap |= dict(zip(*ways, strict=False)) | dict(zip(*reversed(ways), strict=False))
        unit = swap.get(unit, unit)
    for (end, _), way in lines.items():
        there = lines.get((end, rack), ())
        if unit in way and unit not in there:
            unit = dict(zip(way, there, strict=False)).get(unit, unit)
            break
    moved = f"{rack if unit in plant.racks else unit}{colon}{how}"
    # Ways that are built otherwise have no such part: there it stays where it was.
    return moved if moved in faults_of(plant) else fault_id


@dataclass(frozen=True, eq=False)
class SceneCase(Case):
    """Draw the scene of a drill from the seed.

    Parameters
    ----------
    families : tuple of str
        Names in `FAMILIES`; all of them where the drill has any fault.
    kinds : tuple of str
        What comes in each block of seeds: "none", "one" or "two".
    plant : callable
        Gives the plant. Default: that of the lessons.

    >>> case = SceneCase("demo", families=tuple(FAMILIES))
    >>> scenes = [next(case.draws(seed)).scene for seed in range(6)]
    >>> sum(scene.truth == (NO_FAULT,) for scene in scenes), max(len(s.truth) for s in scenes)
    (1, 2)
    """

    DIGESTED = (*Case.DIGESTED, "families", "kinds")

    families: tuple[str, ...] = ()
    kinds: tuple[str, ...] = field(default=KINDS)
    plant: Callable[[], Plant] = plant_of_drills

    def draws(self, seed: int):
        """Yield the one scene of this seed."""
        plant = self.plant()
        block, place = divmod(seed, len(self.kinds))
        order = shuffled(self.kinds, f"{self.id}:{block}")
        kind = order[place]
        nth = block * self.kinds.count(kind) + order[:place].count(kind)
        single = tuple(picks for family in self.families for picks in FAMILIES[family])
        pool = _pool(plant, {"none": NONE, "two": TWO, "one": single}[kind]) or _pool(plant, single)
        if kind == "one" and len(self.families) == 1:
            chosen = pool[nth % len(pool)]
        else:
            chosen = shuffled(pool, f"{self.id}:{kind}:{nth // len(pool)}")[nth % len(pool)]
        leader, rack, hour, minute, before, clock, work = (
            shuffled(values, f"{self.id}:{seed}:{name}")[0] for name, values in (
                ("leader", plant.controllers), ("rack", plant.racks), ("hour", range(5)),
                ("minute", range(5, 55)), ("before", (35.0, 50.0, 80.0)), ("clock", range(1, 9)),
                ("work", WORK))
        )
        scene = Scene(tuple(_moved(plant, each, leader, rack) for each in chosen), leader, before,
                      70.0, clock, f"{hour:02d}:{minute:02d}", work, plant)
        yield SimpleNamespace(scene=scene, route=route_of(scene))


def route_of(scene: Scene) -> str:
    """Return the full route of a drill: the causes and what puts them right."""
    if scene.truth == (NO_FAULT,):
        return "There is no fault: what was seen is the plant as it should be. Write it down."
    known = faults_of(scene.plant)
    return " ".join(f"The cause: {known[each].label}. {known[each].put_right} "
                    f"{known[each].who_may}"
                    for each in scene.truth)


def run_scene(scene: Scene) -> Rig:
    """Return the rig as it stands when somebody is called.

    >>> run_scene(Scene(("TF1: no power",), "KF1")).snapshot().panel_sees
    False
    """
    rig = Rig(scene.plant, seed=scene.clock)
    rig.wait(5.0)
    if scene.leader != rig.plant.controllers[0]:
        rig.request_role_change()
    rig.wait(scene.before_s)
    for place, each in enumerate(scene.faults):
        # A planned switchover that is asked for while a unit loads is refused: that is the point.
        rig.wait(STEP_S if place else 0.001)
        rig.switch_on(each)
    rig.wait(scene.after_s)
    return rig


def scenes_of(leader: str, plant: Plant | None = None) -> tuple[Scene, ...]:
    """Return one scene for everything that may be hidden, with one leader.

    Parameters
    ----------
    leader : str
        Designation of the controller that leads before.
    plant : Plant, optional
        Default: the plant of the lessons.

    Returns
    -------
    tuple of Scene
        Without a fault, with each cause alone, with two.

    >>> len({scene.truth for scene in scenes_of("KF1")}) > 60
    True
    """
    plant = plant or plant_of_drills()
    alone = [(cause,) for ids in branches(plant).values() for cause in ids if cause != NO_FAULT]
    moved = [tuple(_moved(plant, each, leader, plant.racks[0]) for each in ids)
             for picks in (NONE, *FAMILIES.values(), TWO) for ids in _pool(plant, picks)]
    return tuple(Scene(ids, leader, plant=plant) for ids in dict.fromkeys([*moved, *alone]))
