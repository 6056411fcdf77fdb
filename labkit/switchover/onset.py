"""What a fault does to a controller and its settings in the moment in which it comes or goes."""

from collections.abc import Set
from dataclasses import replace

from labkit.switchover.fault_kinds import SHORT_HOLD_MS
from labkit.switchover.knowledge import Knowledge, UnitState
from labkit.switchover.roles import Role
from labkit.switchover.settings import PairSettings

CHANGED = {
    # never so short that a healthy rack would drop its outputs
    "short hold": lambda settings: {"hold_ms": min(settings.hold_ms, max(
        SHORT_HOLD_MS, settings.longest_write_gap_ms + 1, settings.output_filter_ms + 1))},
    "one beat": lambda settings: {"missed_beats": 1},
    "racks not asked": lambda settings: {"ask_racks": False},
}
"""What a fault of a setting makes of the settings, by its mode."""


def settings_with(settings: PairSettings, modes: Set[str]) -> PairSettings:
    """Return the settings that count while faults of these modes are on.

    >>> settings_with(PairSettings(), {"short hold"}).hold_ms
    200
    """
    for mode, changed in CHANGED.items():
        if mode in modes:
            settings = replace(settings, **changed(settings))
    return settings


def bring_to(pair: Knowledge, unit: UnitState, modes: Set[str]) -> None:
    """Bring a controller to what its supply and the faults of these modes make of it."""
    name = unit.name
    unit.held = next((mode for mode in ("own fault", "stopped") if mode in modes), "")
    was_frozen, unit.frozen = unit.frozen, "frozen" in modes
    if unit.frozen and not was_frozen:
        unit.answer_ms = unit.yield_ms = unit.offer_ms = unit.return_ms = None
        pair.stop_load(unit, f"{name} stands still.")
    unit.put_out = unit.put_out and unit.frozen and name in pair.damage.powered
    if name not in pair.damage.powered:
        unit.start_ms = None
        pair.set_role(unit, Role.OFF, f"{name} has no supply.")
    elif unit.role is Role.OFF:
        unit.start_ms = pair.time_ms + pair.settings.start_ms
        pair.set_role(unit, Role.STOPPED, f"{name} has supply again and tests itself.")
    elif unit.role is Role.STOPPED:
        if was_frozen and not unit.frozen and unit.start_ms is not None:
            unit.start_ms = pair.time_ms + pair.settings.start_ms
        if unit.start_ms is None and not (unit.held or unit.put_out or unit.frozen):
            pair.begin(unit, f"Rule 2: {name} is started and listens.")
    elif unit.held:
        by = "by hand" if unit.held == "stopped" else "by its own fault"
        pair.set_role(unit, Role.STOPPED, f"Rule 3: {name} is stopped {by} and announces it.")
    elif was_frozen and not unit.frozen:
        _thaw(pair, unit)


def _thaw(pair: Knowledge, unit: UnitState) -> None:
    if unit.role is Role.STANDBY:
        pair.begin(unit, f"Rule 2: {unit.name} has missed data while it stood still; it starts "
                         "again.")
    else:
        pair.listen(unit)


def restart(pair: Knowledge, unit: UnitState) -> None:
    """Stop the program of a controller and start it again at once."""
    if unit.runs:
        pair.begin(unit, f"Rule 2: {unit.name} is restarted by hand and listens.")
