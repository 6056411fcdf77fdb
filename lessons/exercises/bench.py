"""The plant in a fault drill: what may be done to it, what is refused, and what was done so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from labkit.plant.plant import Plant
from labkit.rig.checks import ROLE_CHANGE, record_check
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import REPAIRS, faults_of
from labkit.switchover.roles import Role
from lessons.exercises.best_way import fewest_checks, tells
from lessons.exercises.measuring import panel_words
from lessons.exercises.scenes import DRILLS, NO_FAULT, Scene, run_scene

WARM_UP_S = 120.0
SETTLE_S = 60.0
RESET, BRIDGE = "reset the alarms", "bridge relay KF90"
PERMIT, AGREE = "get the permit and a competent person", "agree a stop with the shift leader"
AT_THE_BUS, BY_PERMIT = (tuple(DRILLS["by_permit"][what]) for what in ("checks", "repairs"))
FORBIDDEN: Mapping[str, str] = DRILLS["forbidden"]
"""What a drill refuses and counts, as on a real plant, and what the plant has to have for it."""

NOTHING = "nothing: write it down"


def acts_of(plant: Plant) -> dict[str, int]:
    """Return what may be done beside checks, and the minutes; some of it is forbidden at times."""
    restarts = {f"restart {unit}": 3 for unit in plant.controllers}
    return {PERMIT: 10, AGREE: 15, RESET: 1} | restarts | ({BRIDGE: 2} if plant.process else {})


def forbidden_of(plant: Plant) -> tuple[str, ...]:
    """Return what a drill refuses at a plant; what it does not have, nobody can touch."""
    return tuple(act for act, there in FORBIDDEN.items() if not there or getattr(plant, there))


def actions_of(plant: Plant) -> tuple[str, ...]:
    """Return what may be done to repair."""
    own = [fault.kind.repair for fault in faults_of(plant).values() if fault.kind.repair]
    return (*dict.fromkeys([*REPAIRS, *own]), NOTHING)


@dataclass
class Bench:
    """Hold the plant in a drill and what was done to it so far.

    Parameters
    ----------
    moves : list of str
        Accepted moves.

    >>> Bench.of(Scene(("WF9: cut",), "KF1")).minutes
    0
    """

    scene: Scene
    rig: Rig
    moves: list[str] = field(default_factory=list)
    minutes: int = 0
    description: str = ""
    rankings: list[tuple[str, ...]] = field(default_factory=list)
    ranked_now: bool = False
    results: dict[str, str] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    forbidden: list[str] = field(default_factory=list)
    repairs: list[tuple[tuple[str, ...], str, tuple[str, ...]]] = field(default_factory=list)
    since_s: float = 0.0
    retested: bool = True
    closed: bool = False

    @classmethod
    def of(cls, scene: Scene) -> Bench:
        """Return the bench as it stands when somebody is called."""
        return cls(scene, run_scene(scene))

    @property
    def checks_made(self) -> int:
        """How many checks were made."""
        return len(self.results)

    def stop_words(self, act: str) -> str:
        """Return why an act is forbidden now; empty where it is not."""
        snapshot = self.rig.snapshot()
        if act == BRIDGE:
            return "the low-oxygen relay is independent of the pair, and nobody touches it."
        if act == RESET and record_check(self.scene.plant) not in self.results:
            return "a reset before reading wipes out the first sign."
        if act.startswith(AT_THE_BUS) and PERMIT not in self.done:
            return "a meter on this bus needs the permit, and somebody who may do it."
        leads = snapshot.roles.get(act.removeprefix("restart "))
        if act == ROLE_CHANGE or leads is Role.ACTIVE:
            # What the picture shows decides, as it would on the spot.
            warming = [each.time_s for each in self.rig.happenings if each.name == "light warms up"]
            if warming and self.rig.now_s - max(warming) < WARM_UP_S:
                return "the UV light warms up; another takeover may put it out again."
            if AGREE not in self.done and self._leads_alone():
                return ("no standby is ready; a planned switchover now may stop the plant."
                        if act == ROLE_CHANGE else
                        "this unit leads alone; its restart stops the plant.")
        return ""

    def _leads_alone(self) -> bool:
        snapshot = self.rig.snapshot()
        return snapshot.alone or Role.STANDBY not in snapshot.roles.values()

    def work_words(self, causes: tuple[str, ...], actions: tuple[str, ...]) -> str:
        """Return why a repair is forbidden now; empty where it is not."""
        snapshot, known = self.rig.snapshot(), self.rig.known_faults
        for cause in causes:
            unit = known[cause].unit if cause in known else ""
            if (unit in snapshot.writers.values() and snapshot.roles.get(unit) is Role.ACTIVE
                    and self._leads_alone() and AGREE not in self.done
                    and set(actions) != {NOTHING}):
                return f"{unit} leads alone; work at it stops the plant, and nobody has agreed."
        if set(actions) & set(BY_PERMIT) and PERMIT not in self.done:
            return "work at a part needs the permit, and somebody who may do it."
        return ""

    def do(self, act: str) -> str:
        """Do an act that is allowed, and say what was seen of it."""
        self.done.append(act)
        if act == PERMIT:
            return "The permit is signed. Somebody who may measure comes with you."
        if act == AGREE:
            return "The shift leader agrees to a stop of the plant, and stands by the valve."
        if act.startswith("restart "):
            unit = act.removeprefix("restart ")
            known = self.rig.known_faults
            self.rig.switch_on(f"{unit}: restarted")
            self.rig.wait(30.0)
            if any(known[each].mode == "frozen" and known[each].unit == unit
                   for each in self.rig.faults):
                said = f"{unit} does not obey the restart."
            elif self.rig.snapshot().roles[unit] in (Role.OFF, Role.STOPPED):
                said = f"{unit} was restarted, and does not come back."
            else:
                said = f"{unit} was restarted."
        else:
            said = "The list was reset. What stands comes back."
        return f"{said}\n{panel_words(self.rig, self.since_s)}"

    def repair(self, causes: tuple[str, ...], actions: tuple[str, ...]) -> None:
        """Put right what was named, where it is there and the action fits."""
        for cause in causes:
            there = cause in self.scene.truth and cause in self.rig.faults
            if there and self.rig.known_faults[cause].kind.repair in actions:
                self.rig.switch_off(cause)
                self.since_s = self.rig.now_s
        self.rig.wait(SETTLE_S)

    @property
    def next_step(self) -> str:
        """The step that comes next; empty where the drill is closed."""
        if self.closed:
            return ""
        if not self.description:
            return "Describe"
        if not self.retested:
            return "Evaluate"
        return "Test" if self.ranked_now else "List"

    @property
    def repaired(self) -> bool:
        """Whether nothing of what was hidden is left, all of it was named, and work was due."""
        left = [each for each in self.scene.truth if each in self.rig.faults]
        return (bool(self.repairs) and not left and self._named() == set(self.scene.truth)
                and (NO_FAULT not in self.scene.truth or {*self.repairs[-1][2]} == {NOTHING}))

    def _named(self) -> set[str]:
        return {cause for causes, _, _ in self.repairs for cause in causes
                if cause in self.scene.truth}

    @property
    def needless(self) -> tuple[str, ...]:
        """What was repaired though nothing was wrong with it."""
        named = (cause for causes, _, _ in self.repairs for cause in causes)
        return tuple(dict.fromkeys(cause for cause in named if cause not in self.scene.truth))

    def points(self) -> tuple[float, float, float]:
        """Return the points for the cause, the number of checks, and clean work, 0 to 1.

        Where the cause was guessed, all of them are 0: to change parts blindly finds no fault.
        """
        cause = self.share_named()
        few = min(1.0, fewest_checks(self.scene) / max(self.checks_made, 1))
        clean = not self.forbidden and not self.needless
        return (cause, few, float(clean)) if cause else (0.0, 0.0, 0.0)

    def share_named(self) -> float:
        """Return how well the first repair names what was hidden, 0 to 1; half for the second."""
        truth = set(self.scene.truth)
        for worth, (causes, evidence, _) in zip((1.0, 0.5), self.repairs, strict=False):
            share = len(set(causes) & truth) / len(set(causes) | truth)
            if share and tells(evidence, self.scene):
                return worth * share
        return 0.0
