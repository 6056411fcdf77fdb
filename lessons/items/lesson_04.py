"""Lesson 04, the pair at work: who leads, and how do I see it?"""

from types import SimpleNamespace

from labkit.switchover.roles import Snapshot
from lessons.exercises.item_file import read_items
from lessons.items.rigs import rig
from lessons.pictures.seen import lamp_board_html, seen_at

HEALTHY = (10.0,)
POWER_CUT = (1.0, "KF1: no power", 10.0)
POWER_BACK = (*POWER_CUT, "-KF1: no power", 60.0)
BY_HAND = (1.0, "KF1: stopped", 10.0)
SYNC_CUT = (1.0, "WF9: cut", 10.0)


def _role(snapshot: Snapshot, unit: str) -> str:
    return snapshot.roles[unit].value


def _writer(snapshot: Snapshot) -> str:
    writers = set(snapshot.writers.values())
    return writers.pop() or "nobody" if len(writers) == 1 else "both"


def _power_cut(numbers: SimpleNamespace) -> dict[str, object]:
    after = rig(*POWER_CUT)
    return {
        "snapshot": after.snapshot(),
        "levels": after.trend().level_m,
        "lit": seen_at(after),
        "seen": f"Power of KF1 cut at 1 s; now {after.now_s:.0f} s.\n{seen_at(after)}",
    }


def _power_back(numbers: SimpleNamespace) -> dict[str, object]:
    after = rig(*POWER_BACK)
    roles = [(e.who, e.new) for e in after.record if e.what == "role"]
    return {
        "snapshot": after.snapshot(),
        "loaded": ("KF1", "loading") in roles,
        "moved_back": any(e.what == "writer" and e.new == "KF1" and e.time_ms > 0
                          for e in after.record),
        "seen": f"KF1 has had its power back for 60 s.\n{seen_at(after)}",
    }


def _repeater_lamps(fault: str) -> str:
    lamps = rig(1.0, fault, 10.0).view().lamps
    return ", ".join(f"{lamp.name} {lamp.text}" for lamp in lamps
                     if lamp.unit == "TF1" and lamp.lit)


def _leader(snapshot: Snapshot) -> str:
    return next(iter(snapshot.leaders), "nobody")


STATES = {
    "standby": "it stands by, and is ready", "loading": "it loads, and is not ready",
    "stopped": "it has power, and does not run", "off": "it has no power",
}
SIGNS = {"standby": "READY is lit", "loading": "LOADING flashes", "off": "all is dark",
         "stopped": "SUPPLY is lit, and no role"}
CALLS = {
    "note": "Write it down: a standby is ready.",
    "call": "Call maintenance: the next fault may stop the plant.",
    "alarm": "Call everybody: control is lost.",
}


def _moment(numbers: SimpleNamespace) -> dict[str, object]:
    """What the lamps say before the last act, and what the run shows ten seconds after it."""
    *before, act = numbers.acts
    now, later = rig(*before).snapshot(), rig(*before, act, 10.0).snapshot()
    leads, after = _leader(now), _leader(later)
    other = next(unit for unit in now.roles if unit != leads)
    state, could = _role(now, other), not now.alone
    call = ("alarm" if after == "nobody" else
            "call" if later.redundancy_lost or later.alarms else "note")
    fault = rig(*before).known_faults[act]
    return {
        "lamps": seen_at(rig(*before)), "leads": leads, "other": other, "state": state,
        "could": could, "after": after, "call": call, "called": CALLS[call],
        "next": f"Now comes: {fault.label}.",
        "read": f"{leads} leads; {other}: {STATES[state]}.", "sign": SIGNS[state],
        "sorted": f"The racks take the writes of {leads}; {other} is "
                  f"{'' if could else 'not '}ready to take over.",
        "led": f"{after} leads." if after != "nobody" else "nobody leads.",
        "found": "; ".join(f"{unit} {role.value}" for unit, role in later.roles.items()),
    }


TABLE_ROWS = {
    "both healthy": HEALTHY,
    "KF1: no power": POWER_CUT,
    "KF1 back for a minute": POWER_BACK,
    "KF1: stopped": BY_HAND,
}
GIVEN = ("both healthy", "KF1: no power")


def _readings(*actions: str | float) -> tuple[str, ...]:
    """What stands in a row of the table."""
    snapshot = rig(*actions).snapshot()
    return (
        _role(snapshot, "KF1"), _role(snapshot, "KF2"), _writer(snapshot),
        "lit" if snapshot.alone else "dark",
    )


LESSON = read_items(__file__, globals())
