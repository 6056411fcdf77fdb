"""What is said of a state: one sentence for each thing, the worst first.

Panel, text and pictures take their words from here. Levels are those of IEC 60073 for the process
(from memory): normal, abnormal, and lost for its emergency.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from labkit.plant.plant import PlantState
from labkit.switchover.roles import Outputs, Role, Snapshot
from labkit.wording import HOURS_PER_YEAR, capital, listed

LEVELS = ("normal", "abnormal", "lost")


@dataclass(frozen=True)
class Line:
    """Hold what is said of one thing, and how bad that is, one of `LEVELS`.

    >>> Line("Panel", "Sees the plant.").rank
    0
    """

    heading: str
    sentence: str
    level: str = "normal"

    @property
    def rank(self) -> int:
        """How bad it is, 0 for the best."""
        return LEVELS.index(self.level)


def worst(lines: Iterable[Line]) -> str:
    """Return the worst level of some lines."""
    return LEVELS[max((line.rank for line in lines), default=0)]


def _roles(snapshot: Snapshot, broken: Iterable[str]) -> Line:
    by_role: dict[Role, list[str]] = {}
    for name, role in snapshot.roles.items():
        by_role.setdefault(role, []).append(name)
    active = by_role.get(Role.ACTIVE, [])
    words = {
        Role.STANDBY: "stands by, ready",
        Role.LOADING: "is loading",
        Role.STOPPED: "is stopped",
        Role.OFF: "is off",
    }
    rest = "; ".join(f"{name} {word}" for role, word in words.items()
                     for name in by_role.get(role, []))
    if len(active) > 1:
        first = f"{listed(active)} lead at the same time"
    elif active:
        first = f"{active[0]} leads" + (" alone" if snapshot.alone else "")
    else:
        first = "nobody leads" if snapshot.roles else "no controller leads in this plant"
    level = ("lost" if len(active) != bool(snapshot.roles) else
             "abnormal" if snapshot.alone or broken else "normal")
    return Line("Roles", capital(f"{first}; {rest}." if rest else f"{first}."), level)


def _control(snapshot: Snapshot) -> Line:
    fight = sorted(snapshot.writes_fight)
    if fight:
        return Line("Control now", f"Two writers fight: {listed(fight)} "
                    f"flap{'s' if len(fight) == 1 else ''} between two writers.", "lost")
    by_state: dict[Outputs, list[str]] = {}
    for rack, outputs in snapshot.outputs.items():
        by_state.setdefault(outputs, []).append(rack)
    if set(by_state) <= {Outputs.WRITTEN}:
        return Line("Control now", "Works at every rack." if by_state else "Needs no rack.")
    parts = []
    if Outputs.FAIL_STATE in by_state:
        parts.append(f"lost at {listed(by_state[Outputs.FAIL_STATE])}, outputs in fail state")
    if Outputs.HELD in by_state:
        parts.append(f"interrupted at {listed(by_state[Outputs.HELD])}, outputs held")
    return Line("Control now", capital("; ".join(parts)) + ".", "lost")


def rate_words(state: PlantState, function: str) -> str:
    """Say how often a function is lost from here, beside the healthy plant."""
    healthy = f"{HOURS_PER_YEAR * state.healthy_failures_per_h[function]:.2g}"
    if not state.works[function]:
        return f"healthy: {healthy} outages a year"
    here = f"{HOURS_PER_YEAR * state.failures_per_h[function]:.2g}"
    return f"{here} outages a year from here, " + (
        "as when healthy" if here == healthy else f"{healthy} when healthy")


def battery_words(hours: float) -> str:
    """Say that what a battery keeps is lost once it is empty.

    >>> battery_words(2.0)
    'lost after 2 h on battery'
    """
    return f"lost after {hours:.3g} h on battery"


def next_words(state: PlantState, function: str) -> str:
    """Say what would stop a function next, single parts before what parts share."""
    if not state.works[function]:
        return "the plant cannot do it as it stands now"
    groups: dict[str, list[str]] = {"": [], "shared: ": [], "not in this rate: ": []}
    for each in state.next_failure_details[function]:
        group = ("not in this rate: " if each.name in state.not_in_rate.get(function, ())
                 else "shared: " if len(each.parts) > 1 else "")
        groups[group].append(each.name)
    found = [f"{group}{', '.join(names)}" for group, names in groups.items() if names]
    return f"would stop it next: {'; '.join(found) or 'nothing alone'}"


def _panel(snapshot: Snapshot, control: Line) -> Line:
    if snapshot.panel_sees:
        return Line("Panel", "Sees the plant.")
    sentence = "Sees nothing and does nothing"
    if all(role is Role.OFF for role in snapshot.roles.values()):
        sentence += ": no controller has supply"
    if control.level == "normal":
        sentence += "; control is not touched by that"
    return Line("Panel", f"{sentence}.", "abnormal")


def lines_of(snapshot: Snapshot, state: PlantState, of_control: Mapping[str, bool]) -> list[Line]:
    """Return what is to be said of pair and plant.

    Parameters
    ----------
    of_control : mapping of str to bool
        For each function whether a controller must reach racks for it.

    >>> from labkit import Rig
    >>> Rig().view().lines[1]
    ('Control now', 'Works at every rack.')
    """
    control = _control(snapshot)
    lines = [_roles(snapshot, state.broken), control]
    for name, works in state.works.items():
        rate, after = rate_words(state, name), next_words(state, name)
        lasts_h = state.lost_after_h.get(name)
        lasts = "" if lasts_h is None else f", and is {battery_words(lasts_h)}"
        words = f"Works{lasts}. {capital(rate)}. {capital(after)}." if works else \
            f"Lost: {after}. {capital(rate)}."
        level = "normal" if works else "lost" if of_control[name] else "abnormal"
        lines.append(Line(capital(name), words, level))
    if snapshot.panels:
        lines.append(_panel(snapshot, control))
    if snapshot.alarms:
        lines.append(Line("Alarms", f"{'; '.join(snapshot.alarms)}.", "abnormal"))
    return lines
