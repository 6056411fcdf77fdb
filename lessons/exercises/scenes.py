"""The scene of a fault drill: what is hidden in it, drawn from the seed, and how it is reached.

Of six seeds in a row one has no fault and one has two causes; the others have one cause each. What
each fault does is nowhere written here: the rig runs it.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from types import SimpleNamespace

from labkit.plant.plant import Plant, load_plant
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import Fault, faults_of
from lessons.exercises.item import Case, shuffled

__all__ = ["FAMILIES", "NO_FAULT", "Scene", "SceneCase", "branches", "run_scene", "scenes_of"]

NO_FAULT = "no fault"
HARMLESS = ("test: role change", "KF1: restarted", "KF2: restarted")
KINDS = ("none", "two", "one", "one", "one", "one")
STEP_S = 3.0

FAMILIES = {
    "panel and its bus": (
        ("TF1: no power",), ("WF4: A and B swapped",), ("WF3: terminator missing",), ("PH1: dark",),
        ("PH1: lamp dark",), ("WF4: cut",), ("WF3: third terminator",),
    ),
    "units and supplies": (
        ("KF1: no power",), ("KF2: no power",), ("KF1: frozen",), ("TB1: voltage dip",),
        ("KF2: program differs",), ("KF1: own fault",), ("KF1: stopped",),
    ),
    "cables and racks": (
        ("WF9: cut",), ("WF1.10: cut",), ("WF1+WF2: cut",), ("KF20: module fault",),
        ("WF9: noise",), ("KF10B: dead and silent",), ("KF10B: dead",),
    ),
    "process and settings": (
        ("QM1: shut locally",), ("BL1: stuck",),
        ("KF2: integrator not tracking", "test: role change"),
    ),
}
"""Faults that come alone, by family; the first of each is the commented one."""

TWO = (
    ("settings: one missed beat", "WF9: noise"),
    ("settings: racks not asked", "WF9: cut"),
    ("settings: hold time too short", "KF1: no power"),
    ("TF1: no power", "KF2: no power"),
    ("PH1: lamp dark", "WF9: cut"),
)
WORK = (
    "", "yesterday: work at the panel bus, signed off",
    "yesterday: cleaning on the roof, signed off",
    "last week: settings looked through by a visitor",
    "yesterday: a change of the program, loaded once",
)
"""What may stand in the book besides, whether it has to do with the fault or not."""

NONE = (("test: role change",), (), ("KF2: restarted", "test: role change"))

BRANCHES = {
    "sense": ("dead", "stuck"),
    "decide": ("own fault", "frozen", "stopped", "program differs", "integrator not tracking"),
    "carry": ("cut", "noise", "bursts", "terminator missing", "third terminator",
              "A and B swapped", "dead", "dead and silent"),
    "act": ("module fault", "shut locally"),
    "show": ("dark", "lamp dark"),
    "feed with power": ("no power", "off", "voltage dip"),
    "set by people": ("hold time too short", "one missed beat", "racks not asked"),
}


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

    Examples
    --------
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

    @property
    def truth(self) -> tuple[str, ...]:
        """The causes to be found; a test and a restart by hand are none."""
        return tuple(each for each in self.faults if each not in HARMLESS) or (NO_FAULT,)


@functools.cache
def plant_of_drills() -> Plant:
    """Return the plant of the lessons, read once."""
    return load_plant()


@functools.cache
def branches() -> dict[str, tuple[str, ...]]:
    """Return every cause that may be named: branch of the function tree to ids of faults.

    Returns
    -------
    dict of str to tuple of str
        Causes that stop no function of the pair are left out.

    Examples
    --------
    >>> branches()["show"], list(branches())[-1]
    (('PH1: dark', 'PH1: lamp dark'), 'no fault')
    """
    plant = plant_of_drills()
    found: dict[str, list[str]] = {branch: [] for branch in BRANCHES}
    for fault in faults_of(plant).values():
        branch = _branch(plant, fault)
        if branch:
            found[branch].append(fault.id)
    return {branch: tuple(ids) for branch, ids in found.items()} | {NO_FAULT: (NO_FAULT,)}


def _branch(plant: Plant, fault: Fault) -> str:
    kind = plant.parts[fault.unit].kind if fault.unit in plant.parts else ""
    if kind == "sensor":
        return "sense"
    if fault.how == "dead" and kind != "interface":
        return ""
    return next((name for name, hows in BRANCHES.items()
                 if fault.how in hows and name != "sense"), "")


def _moved(fault_id: str, leader: str, rack: str) -> str:
    """Return the same fault with the other unit leading, and at another rack."""
    unit, colon, how = fault_id.partition(": ")
    if leader == "KF2":
        swap = {"KF1": "KF2", "KF2": "KF1", "WF1.10": "WF2.10", "KF10B": "KF10A"}
        unit = swap.get(unit, unit)
    if unit.startswith(("WF1.", "WF2.")):
        unit = unit[:4] + rack
    elif unit in ("KF10A", "KF10B"):
        unit = f"KF{rack}{unit[-1]}"
    elif unit == "KF20":
        unit = f"KF{rack}"
    return f"{unit}{colon}{how}"


@dataclass(frozen=True, eq=False)
class SceneCase(Case):
    """Draw the scene of a drill from the seed.

    Parameters
    ----------
    families : tuple of str
        Names in `FAMILIES`; all of them where the drill has any fault.
    kinds : tuple of str
        What comes in each block of seeds: "none", "one" or "two".

    Examples
    --------
    >>> case = SceneCase("demo", families=tuple(FAMILIES))
    >>> scenes = [next(case.draws(seed)).scene for seed in range(6)]
    >>> sum(scene.truth == (NO_FAULT,) for scene in scenes), max(len(s.truth) for s in scenes)
    (1, 2)
    """

    DIGESTED = (*Case.DIGESTED, "families", "kinds")

    families: tuple[str, ...] = ()
    kinds: tuple[str, ...] = field(default=KINDS)

    def draws(self, seed: int):
        """Yield the one scene of this seed."""
        block, place = divmod(seed, len(self.kinds))
        order = shuffled(self.kinds, f"{self.id}:{block}")
        kind = order[place]
        nth = block * self.kinds.count(kind) + order[:place].count(kind)
        single = tuple(ids for family in self.families for ids in FAMILIES[family])
        pool = {"none": NONE, "two": TWO, "one": single}[kind]
        if kind == "one" and len(self.families) == 1:
            chosen = pool[nth % len(pool)]
        else:
            chosen = shuffled(pool, f"{self.id}:{kind}:{nth // len(pool)}")[nth % len(pool)]
        leader, rack, hour, minute, before, clock, work = (
            shuffled(values, f"{self.id}:{seed}:{name}")[0] for name, values in (
                ("leader", ("KF1", "KF2")), ("rack", ("10", "20", "30")), ("hour", range(5)),
                ("minute", range(5, 55)), ("before", (35.0, 50.0, 80.0)), ("clock", range(1, 9)),
                ("work", WORK))
        )
        scene = Scene(tuple(_moved(each, leader, rack) for each in chosen), leader, before, 70.0,
                      clock, f"{hour:02d}:{minute:02d}", work)
        yield SimpleNamespace(scene=scene, route=route_of(scene))


def route_of(scene: Scene) -> str:
    """Return the full route of a drill: the causes and what puts them right."""
    if scene.truth == (NO_FAULT,):
        return "There is no fault: what was seen is the plant as it should be. Write it down."
    known = faults_of(plant_of_drills())
    return " ".join(f"The cause: {known[each].label}. {known[each].put_right}"
                    for each in scene.truth)


def run_scene(scene: Scene) -> Rig:
    """Return the rig as it stands when somebody is called.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    Rig

    Examples
    --------
    >>> run_scene(Scene(("TF1: no power",), "KF1")).snapshot().panel_sees
    False
    """
    rig = Rig(plant_of_drills(), seed=scene.clock)
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


@functools.cache
def scenes_of(leader: str) -> tuple[Scene, ...]:
    """Return one scene for everything that may be hidden, with one leader.

    Parameters
    ----------
    leader : str
        Designation of the controller that leads before.

    Returns
    -------
    tuple of Scene
        Without a fault, with each cause alone, with two.

    Examples
    --------
    >>> len({scene.truth for scene in scenes_of("KF1")}) > 60
    True
    """
    alone = [(cause,) for ids in branches().values() for cause in ids if cause != NO_FAULT]
    pools = (NONE, *FAMILIES.values(), TWO)
    moved = [tuple(_moved(each, leader, "10") for each in ids) for pool in pools for ids in pool]
    return tuple(Scene(ids, leader) for ids in dict.fromkeys([*moved, *alone]))
