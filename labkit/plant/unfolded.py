"""The pair as a chain whose states say which of the two units has failed."""

import math
from collections.abc import Iterable
from functools import lru_cache
from types import MappingProxyType

from labkit.plant.hidden import Member
from labkit.plant.plant_data import PairData

NOBODY_LEADS = ("both failed", "not taken over")

# States of the pair in which one unit has failed, and how they are named with the unit.
ONE_FAILED = MappingProxyType({"one failed": "{} failed",
                               "standby failed unnoticed": "{} failed unnoticed",
                               "standby failed, no test finds it": "{} failed, no test finds it"})


@lru_cache(maxsize=64)
def unfolded_pair(pair: PairData, *, mtbf_h: float, mttr_h: float):
    """Return the chain of the pair with states that say which unit has failed.

    Parameters
    ----------
    pair : PairData
        Units and settings.
    mtbf_h, mttr_h : float
        Of one unit, hours, > 0.

    Returns
    -------
    MarkovModel
        With states such as ``KF1 failed`` and ``KF2 failed unnoticed``. Both units are alike, so
        every rate into the two states of one kind is halved, and sums over the two are those of
        `labkit.markov.pair.redundant_pair`.

    Raises
    ------
    ValueError
        If a number is out of its range.

    >>> model = unfolded_pair(PairData(("KF1", "KF2")), mtbf_h=60_000, mttr_h=4)
    >>> "KF2 failed" in model.states
    True
    """
    from labkit.markov.chain import MarkovModel
    from labkit.markov.pair import redundant_pair

    folded = redundant_pair(
        mtbf_h, mttr_h, common_cause=pair.common_cause, coverage=pair.coverage,
        diagnosed=pair.diagnosed, test_interval_h=pair.test_interval_h,
        restart_h=pair.restart_mean_h(mttr_h), crews=pair.crews, standby_ratio=pair.standby_ratio,
        missed=pair.missed, overhaul_interval_h=pair.overhaul_interval_h)
    states = {state: [ONE_FAILED[state].format(unit) for unit in pair.units]
              if state in ONE_FAILED else [state] for state in folded.states}
    rates = {}
    for row, source in enumerate(folded.states):
        for column, target in enumerate(folded.states):
            rate = float(folded.generator[row, column])
            if row == column or rate == 0.0:
                continue
            for position, before in enumerate(states[source]):
                # What has failed stays the same unit while its state changes.
                same = len(states[source]) == len(states[target]) == 2
                for after in states[target][position:position + 1] if same else states[target]:
                    rates[before, after] = rate if same else rate / len(states[target])
    up = {each for state in folded.up for each in states[state]}
    return MarkovModel(rates, up & {state for way in rates for state in way})


def leading_states(units: tuple[str, str], unit: str) -> frozenset[str]:
    """Return the states of the unfolded pair in which this unit may lead.

    >>> sorted(leading_states(("KF1", "KF2"), "KF1"))
    ['KF2 failed', 'KF2 failed unnoticed', 'KF2 failed, no test finds it', 'both good']
    """
    other = units[1 - units.index(unit)]
    return frozenset({"both good"}) | failed_states(other)


def failed_states(unit: str) -> frozenset[str]:
    """Return the states of the unfolded pair in which this unit has failed and the other leads.

    >>> sorted(failed_states("KF1"))
    ['KF1 failed', 'KF1 failed unnoticed', 'KF1 failed, no test finds it']
    """
    return frozenset(name.format(unit) for name in ONE_FAILED.values())


class PairTimes:
    """Shares of time and rates of ending of what can be wrong with the unfolded pair.

    >>> pair = PairData(("KF1", "KF2"), diagnosed=0.9)
    >>> times = PairTimes(pair, unfolded_pair(pair, mtbf_h=60_000, mttr_h=4))
    >>> round(times.member("KF1").hidden, 3), times.member("KF1").down_h
    (0.05, 4.0)
    """

    def __init__(self, pair: PairData, model) -> None:
        self.pair, self.units, self.model = pair, pair.units, model
        shares = map(float, model.steady_state())
        self.share = dict(zip(model.states, shares, strict=True))

    def _within(self, states: Iterable[str], after: Iterable[str]) -> tuple[float, float]:
        """Return the share of time in states and how often per hour that ends in others."""
        states, after = {*states} & self.share.keys(), {*after} & self.share.keys()
        share = math.fsum(self.share[state] for state in states)
        flow = math.fsum(self.share[one] * rate for (one, two), rate in self.model.rates.items()
                         if one in states and two in after)
        return share, flow / share if share > 0 else 0.0

    def out(self, unit: str) -> tuple[float, float]:
        """Return the share of time that a unit is out while the other leads, and its ending."""
        return self._within(failed_states(unit), leading_states(self.units, unit))

    def nobody(self, state: str) -> tuple[float, float]:
        """Return the share of time in a state in which nobody leads, and its ending."""
        return self._within([state], self.share.keys() - {*NOBODY_LEADS})

    def member(self, unit: str) -> Member:
        """Return a unit that is out as one failure of a set.

        However it comes to be out: a failed takeover that is made up for by hand counts, too. Where
        nothing is hidden its share of time is that of `out`.
        """
        known, *unseen = (state.format(unit) for state in ONE_FAILED.values())
        whole = self.share.keys() - failed_states(unit)
        _, hidden = self._within(whole, unseen)
        _, seen = self._within(whole, [known])
        _, ends = self._within([known], leading_states(self.units, unit))
        _, leaves = self._within([known], self.share.keys() - {known})
        # What ends by the failure of the other one is an outage of the pair, and no restoration.
        seen *= ends / leaves
        return Member(seen + hidden, 1.0 / ends, hidden / (seen + hidden), missed=self.pair.missed,
                      test_interval_h=self.pair.test_interval_h,
                      overhaul_interval_h=self.pair.overhaul_interval_h, late=self.late(unit))

    def late(self, unit: str) -> float:
        """Return the share of the times that a unit comes to be out in which nobody led before."""
        out = failed_states(unit)
        share, after_outage = self._within(NOBODY_LEADS, out)
        whole, all_of_it = self._within(self.share.keys() - out, out)
        return share * after_outage / (whole * all_of_it)
