"""What a meter reads on a bus line: resistance with the supplies off, voltage when it is idle.

A two-wire bus line has a terminator at each end. With the supplies off a meter at one end sees its
own terminator beside the copper of the line and the far terminator. On a long line a good reading
is therefore well above half a terminator: the copper has to be added. A bias network of one
resistor to each rail holds the idle line at a small voltage, which says which wire is which.

Usual values, from memory of TIA/EIA-485-A and of common practice: terminators of 120 ohm, loop
resistance of 0.2 mm2 copper 168 ohm/km, bias resistors of 560 ohm on 5 V, threshold 200 mV.
"""

from __future__ import annotations

import math
import re

from labkit.arguments import amount, count, number, positive
from labkit.plant.plant_data import PlantPart

__all__ = ["LOOP_OHM_PER_KM", "TERMINATOR_OHM", "bus_readings", "idle_voltage_mv",
           "length_in_words_m", "length_of_part_m", "line_resistance_ohm", "line_states"]

TERMINATOR_OHM = 120.0
LOOP_OHM_PER_KM = 168.0
BIAS_OHM = 560.0
SUPPLY_V = 5.0


def line_resistance_ohm(length_m: float, *, near: int = 1, far: int = 1, whole: bool = True,
                        terminator_ohm: float = TERMINATOR_OHM,
                        loop_ohm_per_km: float = LOOP_OHM_PER_KM) -> float:
    """Return what a meter at the near end reads between the two wires, supplies off.

    Parameters
    ----------
    length_m : float
        Length of the line, >= 0, in m.
    near, far : int
        How many terminators are fitted at either end, >= 0.
    whole : bool
        False: the line is open somewhere, so that the far end is not seen.
    terminator_ohm, loop_ohm_per_km : float
        One terminator in ohm; both wires of the line together in ohm per km; > 0.

    Returns
    -------
    float
        Ohm; inf where nothing is fitted that could be seen.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> round(line_resistance_ohm(0)), round(line_resistance_ohm(900))
    (60, 83)
    >>> round(line_resistance_ohm(900, far=0)), round(line_resistance_ohm(900, near=0))
    (120, 271)
    """
    length_m, near, far = amount("length_m", length_m), count("near", near), count("far", far)
    terminator_ohm = positive("terminator_ohm", terminator_ohm)
    loop_ohm_per_km = positive("loop_ohm_per_km", loop_ohm_per_km)
    conductance = near / terminator_ohm
    if whole and far:
        conductance += 1.0 / (length_m * loop_ohm_per_km / 1000.0 + terminator_ohm / far)
    return 1.0 / conductance if conductance else math.inf


def idle_voltage_mv(line_ohm: float, *, bias_ohm: float = BIAS_OHM,
                    supply_v: float = SUPPLY_V) -> float:
    """Return the voltage between the wires while nobody sends, at the bias network.

    Parameters
    ----------
    line_ohm : float
        What the line puts between the wires, >= 0, in ohm; inf for nothing.
    bias_ohm : float
        Each of the two bias resistors, > 0, in ohm.
    supply_v : float
        Supply of the bias network, > 0, in V.

    Returns
    -------
    float
        mV, 0 to the supply. Below 200 mV receivers need not agree on what they see.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> [round(idle_voltage_mv(60, bias_ohm=each)) for each in (390, 560, 680, 720, 1000)]
    [357, 254, 211, 200, 146]
    """
    bias_ohm, supply_v = positive("bias_ohm", bias_ohm), positive("supply_v", supply_v)
    if number("line_ohm", line_ohm) == math.inf:
        return 1000.0 * supply_v
    line_ohm = amount("line_ohm", line_ohm)
    return 1000.0 * supply_v * line_ohm / (line_ohm + 2.0 * bias_ohm)


def length_in_words_m(words: str) -> float | None:
    """Return the length that a text speaks of, as in "panel bus, 870 m"; None if it has none.

    Returns
    -------
    float or None
        In m; the last one of several.

    >>> length_in_words_m("hall to intake house, 870 m"), length_in_words_m("hall to roof")
    (870.0, None)
    """
    found = re.findall(r"(\d+(?:\.\d+)?) ?m\b", words)
    return float(found[-1]) if found else None


def line_states(length_m: float) -> dict[str, tuple[float, float]]:
    """Return what each state of a bus segment puts between its wires: (ohm, mV), near end.

    Parameters
    ----------
    length_m : float
        Length of the segment, >= 0, in m; 0 leaves the copper out.

    >>> [round(each) for each in line_states(0)["A and B swapped"]]
    [60, -254]
    """
    two, one, three = (line_resistance_ohm(length_m, **ends)
                       for ends in ({}, {"far": 0}, {"near": 2}))
    return {
        "good": (two, idle_voltage_mv(two)),
        "open line or a terminator missing": (one, idle_voltage_mv(one)),
        "short, or no bias": (0.0, 0.0),
        "one terminator too many": (three, idle_voltage_mv(three)),
        "A and B swapped": (two, -idle_voltage_mv(two)),
    }


def bus_readings(length_m: float) -> dict[str, tuple[str, str]]:
    """Return what each state of a bus segment reads: meaning -> (ohm, mV), in words.

    Parameters
    ----------
    length_m : float
        Length of the segment, >= 0, in m; 0 leaves the copper out.

    >>> bus_readings(0)["good"]
    ('about 60 ohm', 'about +254 mV')
    """
    length_m = amount("length_m", length_m)
    ends = {} if length_m == 0 else {
        "open line or a terminator missing":
            f" ({line_resistance_ohm(length_m, near=0):.0f} from the far end)",
        "one terminator too many":
            f" ({line_resistance_ohm(length_m, far=2):.0f} if it is at the far end)"}
    return {state: (f"about {ohm:.0f} ohm{ends.get(state, '')}",
                    f"about {mv:+.0f} mV" if mv else "about 0 mV")
            for state, (ohm, mv) in line_states(length_m).items()}


def length_of_part_m(part: PlantPart) -> float:
    """Return the length of a cable that its place or name speaks of, in m; 0 where none does."""
    return length_in_words_m(f"{part.place}; {part.what}") or 0.0
