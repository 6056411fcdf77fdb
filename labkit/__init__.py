"""Models of redundant control: availability, Markov chains, switchover, the rig.

The names of this door stand in `__init__.pyi`; each is loaded when it is asked for.
"""

import lazy_loader

from labkit.plant import watching

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def _share_noticed(plant, unit):
    """Ask the rig in the place of the plant, which stands above it."""
    from labkit.rig.noticed import share_noticed

    return share_noticed(plant, unit)


def _fault_kinds():
    from labkit.switchover.fault_kinds import KINDS

    return KINDS


def _faults_of(plant):
    from labkit.switchover.fault_kinds import faults_of

    return faults_of(plant)


watching.share_noticed = _share_noticed
watching.fault_kinds, watching.faults_of = _fault_kinds, _faults_of
