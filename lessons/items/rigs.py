"""Rigs on which the acts of a question were played."""

import functools

from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings


def played(*actions: str | float, ask_racks: bool = True) -> Rig:
    """A rig after faults were switched on, switched off ("-" before the id), and waited for."""
    rig = Rig(settings=PairSettings(ask_racks=ask_racks))
    for action in actions:
        if not isinstance(action, str):
            rig.wait(action)
        elif action.startswith("-"):
            rig.switch_off(action[1:])
        else:
            rig.switch_on(action)
    return rig


rig = functools.cache(played)
"""The same, played once for all questions."""
