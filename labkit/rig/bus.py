"""What a meter reads on a bus line: resistance with the supplies off, voltage when it is idle.

A two-wire bus line has a terminator at each end. With the supplies off a meter at one end sees its
own terminator beside the copper of the line and the far terminator. On a long line a good reading
is therefore well above half a terminator: the copper has to be added. What is amiss at one end, or
in the middle, reads otherwise from the other end. A bias network of one resistor to each rail, at
the near end, holds the idle line at a small voltage. Makers letter the wires A and B both ways, so
that the voltage says which wire is which only against a station that is known to be good.

Usual values, from memory of TIA/EIA-485-A and of common practice: terminators of 120 ohm, loop
resistance of 0.2 mm2 copper 168 ohm/km, threshold 200 mV, least load of a driver 54 ohm. The bias
resistors of 390 ohm on 5 V are chosen so that both ends of 1000 m stay above the threshold, and two
terminators side by side with them above the 54 ohm.
"""

import math
import re
from dataclasses import dataclass

from labkit.arguments import amount, count, number, positive
from labkit.plant.plant_data import PlantPart

TERMINATOR_OHM = 120.0
LOOP_OHM_PER_KM = 168.0
BIAS_OHM = 390.0
SUPPLY_V = 5.0


@dataclass(frozen=True)
class LineReading:
    """Hold what a meter reads at both ends: ohm with the supplies off, mV while nobody sends.

    >>> LineReading(83.0, 83.0, 480.0, 216.0).words
    ('83 ohm from either end', 'near +480 mV, far +216 mV')
    """

    near_ohm: float
    far_ohm: float
    near_mv: float
    far_mv: float

    @property
    def words(self) -> tuple[str, str]:
        """Both readings in words."""
        ohm = (f"{self.near_ohm:.0f} ohm from either end"
               if round(self.near_ohm) == round(self.far_ohm)
               else f"{self.near_ohm:.0f} ohm near, {self.far_ohm:.0f} ohm from the far end")
        return ohm, f"near {self.near_mv:+.0f} mV, far {self.far_mv:+.0f} mV"


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


def line_states(length_m: float) -> dict[str, LineReading]:
    """Return what each state of a bus line puts between its wires, from both ends.

    Parameters
    ----------
    length_m : float
        Length of the line, >= 0, in m; 0 leaves the copper out.

    Returns
    -------
    dict of str to LineReading
        State to its readings. The bias sits at the near end; cut, short and crossing in the middle.
        The sign counts on the two wires that are plus and minus at a good station.

    Raises
    ------
    ValueError
        If the length is negative.

    Examples
    --------
    >>> states = line_states(870)
    >>> for name in ("good", "far terminator missing", "line open"):
    ...     print(f"{name}: {'; '.join(states[name].words)}")
    good: 83 ohm from either end; near +479 mV, far +216 mV
    far terminator missing: 120 ohm near, 266 ohm from the far end; near +667 mV, far +667 mV
    line open: 120 ohm from either end; near +667 mV, far +0 mV
    """
    length_m = amount("length_m", length_m)
    good, alone_mv = _reading(length_m), idle_voltage_mv(TERMINATOR_OHM)
    return {
        "good": good,
        "near terminator missing": _reading(length_m, near=0),
        "far terminator missing": _reading(length_m, far=0),
        "line open": _reading(length_m, middle="open"),
        "third terminator near": _reading(length_m, near=2),
        "third terminator far": _reading(length_m, far=2),
        "short in the middle": _reading(length_m, middle="short"),
        # Two biases alike drive nothing through the copper: each has its own terminator alone.
        "second bias far": LineReading(good.near_ohm, good.far_ohm, alone_mv, alone_mv),
        "no bias": LineReading(good.near_ohm, good.far_ohm, 0.0, 0.0),
        "A and B swapped": LineReading(good.near_ohm, good.far_ohm, good.near_mv, -good.far_mv),
    }


def _reading(length_m: float, *, near: int = 1, far: int = 1, middle: str = "whole") -> LineReading:
    whole = middle == "whole"
    copper_ohm = length_m * LOOP_OHM_PER_KM / 1000.0
    near_ohm, far_ohm = (
        _beside(TERMINATOR_OHM / here, copper_ohm / 2) if middle == "short" else
        line_resistance_ohm(length_m, near=here, far=there, whole=whole)
        for here, there in ((near, far), (far, near)))
    near_mv = idle_voltage_mv(near_ohm)
    passed = TERMINATOR_OHM / (far * copper_ohm + TERMINATOR_OHM)
    return LineReading(near_ohm, far_ohm, near_mv, near_mv * passed if whole else 0.0)


def _beside(one_ohm: float, other_ohm: float) -> float:
    return one_ohm * other_ohm / (one_ohm + other_ohm)


def bus_readings(length_m: float) -> dict[str, tuple[str, str]]:
    """Return what each state of a bus line reads: meaning -> (ohm, mV), in words.

    >>> bus_readings(0)["good"]
    ('60 ohm from either end', 'near +357 mV, far +357 mV')
    """
    return {state: reading.words for state, reading in line_states(length_m).items()}


def length_of_part_m(part: PlantPart) -> float:
    """Return the length of a cable that its place or name speaks of, in m; 0 where none does."""
    return length_in_words_m(f"{part.place}; {part.what}") or 0.0
