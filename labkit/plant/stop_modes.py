"""Which failures together stop a function: minimal sets, from its condition, without any numbers."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from labkit.plant.unfolded import NOBODY_LEADS
from labkit.plant.wiring import Condition, Leads, as_block, with_leaves


@dataclass(frozen=True)
class StopMode:
    """Hold which failures together stop a function, without any numbers.

    Parameters
    ----------
    failures : tuple of str
        Names of single failures (`Plant.single_failures`).
    unit_out : str
        Designation of the unit of the pair that is out beside them, or empty.
    pair_state : str
        State in which nobody leads, or empty.

    >>> StopMode(("BL1",)).failures
    ('BL1',)
    """

    failures: tuple[str, ...]
    unit_out: str = ""
    pair_state: str = ""

    @property
    def size(self) -> int:
        """How many things have to come together."""
        return len(self.failures) + bool(self.unit_out or self.pair_state)


@lru_cache(maxsize=256)
def modes_in(condition: Condition, units: tuple[str, ...], largest: int) -> tuple[StopMode, ...]:
    """Return the minimal sets of at most so many failures that make a condition false.

    They depend on the wiring alone, and are kept for all plants that are wired alike.

    >>> from labkit import load_plant
    >>> [mode.failures for mode in modes_in(load_plant().condition("see and act"), (), 1)]
    [('PH1',), ('TF1',), ('WF3',), ('WF4',)]
    """
    from labkit.availability.parts import Part

    def cuts(leading: Iterable[str]) -> list[frozenset[str]]:
        leading = set(leading)
        left = with_leaves(condition, lambda leaf: leaf.unit in leading
                           if isinstance(leaf, Leads) else leaf)
        # the numbers of the parts stand for nothing
        block = as_block(left, lambda leaf: Part(leaf.name, mtbf_h=largest, mttr_h=largest))
        return list(block.minimal_cut_sets(largest=largest))

    modes = cuts(units)
    found = [StopMode(tuple(sorted(cut))) for cut in modes]
    # one unit out, and nobody leading, are states of their own: neither holds the other
    for leading, out in (*(({*units} - {unit}, [{"unit_out": unit}]) for unit in units),
                         ((), [{"pair_state": state} for state in NOBODY_LEADS])):
        for cut in cuts(leading):
            if len(cut) < largest and not any(other <= cut for other in modes):
                found += [StopMode(tuple(sorted(cut)), **each) for each in out]
    return tuple(found)
