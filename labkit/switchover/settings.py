"""The settings of a pair of controllers, and the time budget that follows from them.

All times are whole milliseconds. The defaults are the invented example of the lessons: heartbeat
50 ms, three missed beats, cycle 40 ms, rack update 20 ms, hold time 500 ms.
"""

from dataclasses import dataclass, field, fields

from labkit.arguments import count, instance, one_of
from labkit.plant.plant import Plant

RETURN_POLICIES = ("stays", "returns")


def _whole(default: int | None, least: int, most: int):
    """Give a setting that is a whole number from `least` to `most`."""
    return field(default=default, metadata={"least": least, "most": most})


@dataclass(frozen=True)
class PairSettings:
    """Hold the settings of a pair of controllers.

    Parameters
    ----------
    cycle_ms : int
        Period of the program, 1 to 1000 ms. A cycle takes its inputs when it begins and has its
        outputs ready when it ends.
    heartbeat_ms : int
        Period of the heartbeat on the sync cable, 2 to 10 000.
    missed_beats : int
        How many beats in a row must be missed, 1 to 50.
    margin_ms : int
        Extra wait after the last of them was due, 0 to less than `heartbeat_ms`.
    decision_ms : int
        Time in which the standby asks the racks and decides, 0 to 1000.
    rack_update_ms : int
        Period in which a controller writes its racks, 1 to 1000.
    output_filter_ms : int
        Delay between the rack's input from the bus and the terminal, 0 to 1000; less than
        `hold_ms`, or the outputs would let go before a write has reached them.
    hold_ms : int
        How long a rack keeps its outputs without an accepted write, up to 60 000; more than
        `cycle_ms` + `rack_update_ms`, or a healthy rack would drop its outputs.
    load_ms : int
        Time to copy the whole state into a standby, 1 to 3 600 000.
    start_ms : int
        Self test after power has returned, 0 to 600 000.
    return_wait_ms : int
        With the return policy "returns": how long the preferred unit must have been ready before
        it gets its role back, 0 to 86 400 000.
    wait_limit_ms : int
        How long a unit that is whole waits for a partner that only beats and never leads, up to
        600 000; more than a whole partner takes to lead, two cycles and a rack update.
    second_cycle_ms : int or None
        Period of the second controller's program, where it differs; None: as `cycle_ms`.
    return_policy : str
        "stays": nothing goes back by itself; "returns": the first unit of the pair leads again
        after `return_wait_ms`.
    ask_racks : bool
        Whether the controllers read the writer's marks in the racks: before a takeover, and when a
        rack has a new writer.
    count_in_heartbeat : bool
        Whether the heartbeat carries the count of program cycles.
    third_vote : bool
        Whether a third voter, with supply and wires of its own, must agree before a silent
        partner is replaced.

    Raises
    ------
    TypeError
        If a time is not an int, a switch not a bool, or the policy not a str.
    ValueError
        If a value is outside its range.

    Examples
    --------
    >>> PairSettings(missed_beats=2).detection_most_ms
    110
    >>> PairSettings(hold_ms=50)
    Traceback (most recent call last):
        ...
    ValueError: hold_ms must be > cycle_ms + rack_update_ms = 60, got 50
    """

    cycle_ms: int = _whole(40, 1, 1_000)
    heartbeat_ms: int = _whole(50, 2, 10_000)
    missed_beats: int = _whole(3, 1, 50)
    margin_ms: int = _whole(10, 0, 9_999)
    decision_ms: int = _whole(20, 0, 1_000)
    rack_update_ms: int = _whole(20, 1, 1_000)
    output_filter_ms: int = _whole(5, 0, 1_000)
    hold_ms: int = _whole(500, 3, 60_000)
    load_ms: int = _whole(8_000, 1, 3_600_000)
    start_ms: int = _whole(2_000, 0, 600_000)
    return_wait_ms: int = _whole(300_000, 0, 86_400_000)
    wait_limit_ms: int = _whole(5_000, 4, 600_000)
    second_cycle_ms: int | None = _whole(None, 1, 1_000)
    return_policy: str = "stays"
    ask_racks: bool = True
    count_in_heartbeat: bool = False
    third_vote: bool = False

    def __post_init__(self) -> None:
        for each in fields(self):
            name, value = each.name, getattr(self, each.name)
            if each.metadata:
                if value is not None or each.default is not None:
                    object.__setattr__(self, name, count(name, value, **each.metadata))
            elif name == "return_policy":
                if not isinstance(value, str):
                    raise TypeError(f"return_policy must be a str, got {value!r}")
                one_of(name, value, RETURN_POLICIES)
            elif not isinstance(value, bool):
                raise TypeError(f"{name} must be True or False, got {value!r}")
        if self.margin_ms >= self.heartbeat_ms:
            raise ValueError(
                f"margin_ms must be < heartbeat_ms = {self.heartbeat_ms}, got {self.margin_ms}")
        slowest = "cycle_ms" if self.second_cycle_ms is None else "the longer cycle"
        if self.hold_ms <= self.longest_write_gap_ms:
            raise ValueError(f"hold_ms must be > {slowest} + rack_update_ms = "
                             f"{self.longest_write_gap_ms}, got {self.hold_ms}")
        if self.output_filter_ms >= self.hold_ms:
            raise ValueError(f"output_filter_ms must be < hold_ms = {self.hold_ms}, "
                             f"got {self.output_filter_ms}")
        to_lead_ms = 2 * max(self.cycle_of(0), self.cycle_of(1)) + self.rack_update_ms
        if self.wait_limit_ms <= to_lead_ms:
            raise ValueError(f"wait_limit_ms must be > 2 * {slowest} + rack_update_ms = "
                             f"{to_lead_ms}, got {self.wait_limit_ms}")

    def cycle_of(self, index: int) -> int:
        """Return the cycle period of a controller.

        Parameters
        ----------
        index : int
            0 for the first of the pair, 1 for the second.

        Returns
        -------
        int
            Period, ms.

        Examples
        --------
        >>> PairSettings(second_cycle_ms=60).cycle_of(1)
        60
        """
        index = count("index", index, most=1)
        return self.cycle_ms if index == 0 or self.second_cycle_ms is None else self.second_cycle_ms

    @property
    def longest_write_gap_ms(self) -> int:
        """Longest time between two writes of a healthy rack, ms."""
        return max(self.cycle_of(0), self.cycle_of(1)) + self.rack_update_ms

    @property
    def silence_ms(self) -> int:
        """Time after the last beat at which a partner counts as silent, ms."""
        return self.missed_beats * self.heartbeat_ms + self.margin_ms

    @property
    def detection_least_ms(self) -> int:
        """Shortest time from a loss of power to its detection, ms."""
        return self.silence_ms - self.heartbeat_ms

    @property
    def detection_most_ms(self) -> int:
        """Longest time from a loss of power to its detection, ms."""
        return self.silence_ms


@dataclass(frozen=True)
class BudgetTerm:
    """Hold one term of a time budget.

    Parameters
    ----------
    name : str
        What takes this time.
    least_ms, most_ms : int
        Bounds, ms.
    why : str
        Why it varies.

    >>> BudgetTerm("output filter", 5, 5, "constant").most_ms
    5
    """

    name: str
    least_ms: int
    most_ms: int
    why: str


@dataclass(frozen=True)
class Budget:
    """Hold the terms of a time budget in their order.

    Parameters
    ----------
    cause : str
        What the budget begins with, as `switchover_budget` takes it.

    >>> budget = switchover_budget()
    >>> budget.least_ms, budget.most_ms
    (175, 285)
    """

    cause: str
    terms: tuple[BudgetTerm, ...]

    @property
    def least_ms(self) -> int:
        """Sum of the least, ms."""
        return sum(term.least_ms for term in self.terms)

    @property
    def most_ms(self) -> int:
        """Sum of the most, ms."""
        return sum(term.most_ms for term in self.terms)


CAUSES = ("no power", "stopped", "handed over", "frozen")


def usual_settings(plant: Plant) -> PairSettings:
    """Return the settings of a plant where nobody gives others: a voter that is there votes.

    >>> from labkit import load_plant
    >>> usual_settings(load_plant()) == PairSettings()
    True
    """
    return PairSettings(third_vote=plant.pair is not None and bool(plant.of_kind("voter")))


def switchover_budget(settings: PairSettings | None = None, *, cause: str = "no power",
                      takes_over: int = 1) -> Budget:
    """Return the terms of the time from a fault to the first correct output.

    Parameters
    ----------
    settings : PairSettings, optional
    cause : str
        "no power": the active unit falls silent and must be missed. "stopped": it announces that
        its program has stopped. "handed over": it reaches fewer racks than the standby, and
        says so at its next cycle. "frozen": its program stands still; only with
        `count_in_heartbeat`, or it is never missed.
    takes_over : int
        Which unit takes over: 0 the first, 1 the second.

    Returns
    -------
    Budget
        Bounds for any phases of the clocks. In whole milliseconds each term that depends on a
        phase takes as many values as its period has milliseconds, its bound "most" included: what
        becomes ready in the very millisecond in which something begins is too late for it.

    Raises
    ------
    ValueError
        If the cause is unknown, or is never noticed with these settings.

    Notes
    -----
    With period P, n missed beats and margin d, a silent partner is found between (n - 1) P + d and
    n P + d after it fell silent. Without supply its links carry nothing, and its marks in the
    racks are gone at once. The mark of a frozen program stays fresh until its next write was due;
    if the racks are asked earlier, they are asked again then.

    Examples
    --------
    >>> [(term.name, term.least_ms, term.most_ms) for term in switchover_budget().terms]
    ... # doctest: +NORMALIZE_WHITESPACE
    [('detection', 110, 160), ('decision', 20, 20), ('cycle', 40, 80), ('rack update', 0, 20),
     ('output filter', 5, 5)]
    >>> switchover_budget(cause="stopped").most_ms
    105
    """
    instance("settings", settings, PairSettings, or_none=True)
    settings = settings or PairSettings()
    one_of("cause", cause, CAUSES)
    if cause == "frozen" and not settings.count_in_heartbeat:
        raise ValueError("cause 'frozen' must have count_in_heartbeat=True, or it is never missed")
    cycle_ms = settings.cycle_of(count("takes_over", takes_over, most=1))
    terms = []
    if cause == "handed over":
        terms.append(BudgetTerm("announcement", 0, settings.cycle_of(1 - takes_over),
                                "wait for the next cycle of the active unit"))
    if cause in ("no power", "frozen"):
        most_ms = settings.detection_most_ms
        if cause == "frozen" and settings.ask_racks:
            most_ms = max(most_ms, settings.longest_write_gap_ms)
        terms += [
            BudgetTerm("detection", settings.detection_least_ms, most_ms,
                       "how long before the fault the last beat was sent"),
            BudgetTerm("decision", settings.decision_ms, settings.decision_ms,
                       "the standby asks the racks once"),
        ]
    terms += [
        BudgetTerm("cycle", cycle_ms, 2 * cycle_ms, "wait for the next cycle, then one cycle"),
        BudgetTerm("rack update", 0, settings.rack_update_ms, "wait for the next update"),
        BudgetTerm("output filter", settings.output_filter_ms, settings.output_filter_ms,
                   "from the rack's input to the terminal"),
    ]
    return Budget(cause, tuple(terms))
