"""Models of redundant control: availability, Markov chains, switchover, the rig.

The names of this door stand in `__init__.pyi`; each is loaded when it is asked for.
"""

import lazy_loader

from labkit.plant import below

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def _faults_of(plant):
    from labkit.switchover.fault_kinds import faults_of

    return faults_of(plant)


def _share_noticed(plant, unit):
    from labkit.rig.noticed import share_noticed

    return share_noticed(plant, unit)


# A plant stands above pair and rig, which know this of it; the door stands above all of them.
below.faults_of, below.share_noticed = _faults_of, _share_noticed
