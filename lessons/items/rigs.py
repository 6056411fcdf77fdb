"""Rigs on which the acts of a question were played."""

import functools

from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings


@functools.cache
def rig(*actions: str | float, ask_racks: bool = True) -> Rig:
    """A rig after faults were switched on, switched off ("-" before the id), and waited for."""
    played = Rig(settings=PairSettings(ask_racks=ask_racks))
    for action in actions:
        if not isinstance(action, str):
            played.wait(action)
        elif action.startswith("-"):
            played.switch_off(action[1:])
        else:
            played.switch_on(action)
    return played
