"""What stops a function: each cause with how often it comes and how long it lasts.

A cause is a minimal set of failures, of parts, of what twins have in common, or of the pair in one
of its states. Frequencies and down times are those of each set alone (long run, independent), and
their sums count an outage once for each cause that is present. While outages are rare the sums
exceed the exact figures of `Plant.block` by next to nothing: about 1 part in 10 000 for a plant
that is down two hours a year. `meeting` is what is left to the exact figures.

References
----------
M. Rausand, A. Hoyland, "System Reliability Theory", 2nd ed., Wiley 2004, chapter 4 (minimal cut
sets, rare-event approximation).
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from labkit.arguments import instance, one_of
from labkit.plant.failing_parts import Failure
from labkit.plant.hidden import set_figures
from labkit.plant.plant import Plant
from labkit.plant.stop_modes import StopMode, modes_in
from labkit.plant.wiring import Condition, Leads, Whole, all_of, as_block, with_leaves
from labkit.wording import HOURS_PER_YEAR

MEETING = "causes that meet are one outage; sets of four and more"


@dataclass(frozen=True)
class Cause:
    """Hold one cause of outages.

    Parameters
    ----------
    name : str
        What fails, joined by *and*.
    parts : tuple of str
        Designations of all parts concerned.
    outages_per_year : float
        How often it comes each year.
    mean_down_h : float
        How long such an outage lasts on average, hours.
    length : str
        Which of its lengths this is, short or long cuts; empty where there is one.

    >>> Cause("BL1", ("BL1",), 0.0584, 3.0).down_min_per_year
    10.512
    """

    name: str
    parts: tuple[str, ...]
    outages_per_year: float
    mean_down_h: float
    length: str = ""

    @property
    def down_min_per_year(self) -> float:
        """Down time from this cause, minutes a year."""
        return self.outages_per_year * self.mean_down_h * 60.0


def modes_of(plant: Plant, function: str, largest: int = 3) -> tuple[StopMode, ...]:
    """Find which failures together stop a function.

    Parameters
    ----------
    function : str
        One of `plant.functions_counted`.
    largest : int
        Sets of more failures than this are left out, >= 1.

    Returns
    -------
    tuple of StopMode
        Minimal: no mode contains another. They depend on the wiring and not on any number.

    Raises
    ------
    ValueError
        If the function is unknown, or cannot work with all parts whole.

    >>> from labkit import load_plant
    >>> [mode.failures for mode in modes_of(load_plant(), "see and act")]
    [('PH1',), ('TF1',), ('WF3',), ('WF4',)]
    """
    units = plant.pair.units if plant.pair is not None else ()
    condition = plant.condition(function)
    if condition is False:
        raise ValueError("function must be able to work with all parts whole, "
                         f"got {function!r} of {plant.version}: workbook check says why")
    return modes_in(condition, units, largest)


def causes_of(plant: Plant, function: str) -> tuple[Cause, ...]:
    """Say how often each cause stops a function and for how long.

    Parameters
    ----------
    plant : Plant
    function : str
        One of `plant.functions_counted`.

    Returns
    -------
    tuple of Cause
        The most down time first; causes that never come are left out.

    Raises
    ------
    ValueError
        If the function is unknown, or `modes_of` refuses it.

    Notes
    -----
    A set of failures with unavailabilities U_i and restoration rates m_i is present for the share
    prod U_i and ends at the rate sum m_i, so it comes prod U_i x sum m_i times an hour and lasts
    1 / sum m_i. Where some of its failures are hidden at first, it is the chain of
    `labkit.plant.hidden`.

    Examples
    --------
    >>> from labkit import load_plant
    >>> first = causes_of(load_plant(), "control kept")[0]
    >>> first.name, round(first.down_min_per_year, 1)
    ('GB1', 52.6)
    """
    instance("plant", plant, Plant)
    idle = plant.stands_idle(one_of("function", function, plant.functions_counted))
    found = []
    for mode, failures in _possible(plant, function):
        present, often_per_h = set_figures(plant.members(mode, failures, idle), plant.people.crews)
        names = [each.name for each in failures]
        if mode.unit_out:
            names.append(f"{mode.unit_out} out")
        if mode.pair_state:
            names.append(f"{'+'.join(plant.pair.units)} {mode.pair_state}")
        if present > 0:
            lengths = [("", 1.0, present / often_per_h)]
            if len(failures) == mode.size == 1 and not idle:
                lengths = [(length, share, present / often_per_h * mean_h / failures[0].down_h)
                           for length, share, mean_h in plant.lengths_of(failures[0])]
            found += [Cause(" and ".join(names), _parts(plant, mode, failures),
                            often_per_h * share * HOURS_PER_YEAR, mean_h, length)
                      for length, share, mean_h in lengths]
    return tuple(sorted(found, key=lambda each: (-each.down_min_per_year, each.name)))


def meeting(plant: Plant, function: str, causes: Iterable[Cause]) -> Cause:
    """Return what the causes of a function miss of its exact figures: most often less than nothing.

    Causes that are present together are one outage and not two; sets of four and more are in none.

    >>> from labkit import load_plant
    >>> plant = load_plant()
    >>> found = meeting(plant, "control kept", causes_of(plant, "control kept"))
    >>> -1e-3 < found.outages_per_year < 0
    True
    """
    block, causes = plant.block(function), tuple(causes)

    often = left_of(block.failures_per_h * HOURS_PER_YEAR, (each.outages_per_year for each in causes))
    down_min = left_of(block.downtime_h_per_year * 60.0, (each.down_min_per_year for each in causes))
    return Cause(MEETING, (), often, down_min / 60.0 / often if often else 0.0)


def left_of(exact: float, parts: Iterable[float]) -> float:
    """Return what parts leave of a sum, and nothing where that is but their rounding.

    >>> left_of(0.3, [0.1, 0.2]), left_of(0.25, [0.125, 0.25])
    (0.0, -0.125)
    """
    summed = math.fsum(parts)
    return 0.0 if math.isclose(summed, exact, rel_tol=1e-12) else exact - summed


def latent_causes_of(plant: Plant, function: str) -> tuple[Cause, ...]:
    """Say which unnoticed faults stop a function that is asked for after standing idle.

    Parameters
    ----------
    function : str
        One of `plant.functions_counted`; its `idle_h` is how long faults can stay latent.

    Returns
    -------
    tuple of Cause
        The most frequent first. `outages_per_year` is the chance that the function does not
        start, it being asked for once a year; `mean_down_h` is the restoration that follows.
        Empty if the function is never idle or every fault is noticed.

    Raises
    ------
    ValueError
        If the function is unknown.

    Notes
    -----
    A part that fails at the rate L is latent with the chance
    (1 - noticed) x (1 - exp(-L x idle_h)). For a unit of the pair `diagnosed` counts as noticed.
    What twins have in common is latent only if it goes unnoticed in the one that is watched best.

    >>> from labkit import load_plant
    >>> found = latent_causes_of(load_plant("elderhang"), "frost duty")
    >>> max(found, key=lambda cause: "KF1" in cause.parts).name
    'KF1 asleep'
    """
    found, idle_h = [], plant.functions_counted[function].idle_h
    for mode, failures in _possible(plant, function):
        if not idle_h or mode.pair_state == "not taken over":
            continue
        names = [each.name for each in failures]
        factors = [(plant.fails_when_asked(each, idle_h), 1.0 / each.down_h) for each in failures]
        if mode.unit_out or mode.pair_state:
            factors.append(_pair_latent(plant, idle_h, both=bool(mode.pair_state)))
            names.append(mode.unit_out or "+".join(plant.pair.units))
        chance = math.prod(each for each, _ in factors)
        if chance > 0:
            found.append(Cause(" and ".join(names) + " asleep", _parts(plant, mode, failures),
                               chance, 1.0 / sum(rate for _, rate in factors)))
    return tuple(sorted(found, key=lambda each: (-each.outages_per_year, each.name)))


def asleep_when_asked(plant: Plant, function: str) -> float:
    """Return the chance that unnoticed faults stop a function that is asked for after standing idle.

    Exact, where the sum over `latent_causes_of` counts faults that are asleep together twice.

    >>> from labkit import load_plant
    >>> plant = load_plant("elderhang")
    >>> asleep_when_asked(plant, "frost duty") < math.fsum(
    ...     each.outages_per_year for each in latent_causes_of(plant, "frost duty"))
    True
    """
    from labkit.availability.parts import Part

    idle_h, condition = plant.functions_counted[function].idle_h, plant.condition(function)
    chances = {name: plant.fails_when_asked(each, idle_h)
               for name, each in plant.single_failures(condition).items()}
    if plant.pair is not None:
        one, _ = _pair_latent(plant, idle_h, both=False)
        both, _ = _pair_latent(plant, idle_h, both=True)
        chances |= dict.fromkeys(plant.pair.units, one) | {"both": both - one * one}

    def awake(leaf: Whole | Leads) -> Condition:
        names = (leaf.unit, "both") if isinstance(leaf, Leads) else (leaf.name,)
        return all_of(chances[name] < 1 and Whole(name) for name in names if chances[name] > 0)

    return as_block(with_leaves(condition, awake), lambda leaf: Part(
        leaf.name, mtbf_h=1.0 - chances[leaf.name], mttr_h=chances[leaf.name])).unavailability


def _pair_latent(plant: Plant, idle_h: float, both: bool) -> tuple[float, float]:
    """Return the chance that one unit, or both, have failed unnoticed, and the rate of repair."""
    pair, unit = plant.pair, plant.unit
    latent = 1.0 - pair.diagnosed
    exposure = unit.failure_rate_per_h * idle_h
    one = -latent * math.expm1(-(1.0 - pair.common_cause) * exposure)
    if not both:
        return one, 1.0 / unit.mttr_h
    return one * one - latent * math.expm1(-pair.common_cause * exposure), 1.0 / unit.mttr_h


def _possible(plant: Plant, function: str) -> Iterator[tuple[StopMode, list[Failure]]]:
    """Yield the modes with their failures; what can never come stands in no condition."""
    single = plant.single_failures(plant.condition(function))
    for mode in modes_of(plant, function):
        yield mode, [single[name] for name in mode.failures]


def _parts(plant: Plant, mode: StopMode, failures: Iterable[Failure]) -> tuple[str, ...]:
    parts = [name for each in failures for name in each.parts]
    if mode.unit_out:
        parts.append(mode.unit_out)
    if mode.pair_state:
        parts += plant.pair.units
    return tuple(dict.fromkeys(parts))
