"""Every fault and every ordered pair of faults, on and off, against the invariants of the rules.

The invariants and the random sequences stand in `tests.sequences`.
"""

import pytest

from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.settings import PairSettings
from tests.sequences import PLANTS, SETTLED_MS, Watcher

PLANT = PLANTS[0]
FAULTS = faults_of(PLANT)


def on_and_at_rest(watcher, fault):
    """Switch a fault on and let it come to rest."""
    watcher.on(fault)
    watcher.go(SETTLED_MS)
    watcher.check_settled()
    return watcher


def off_again(watcher, *faults):
    """Switch faults off one after another, and let each come to rest; then all is healthy."""
    for fault in faults:
        before = watcher.pair.active_history()[-1][1]
        read = watcher.read
        watcher.off(fault)
        watcher.go(SETTLED_MS)
        watcher.check_settled()
        after = watcher.pair.active_history()[-1][1]
        if before is not None and after != before:
            changes = [entry for entry in watcher.pair.record[read:]
                       if entry.what == "role" and entry.new == "active"]
            allowed = ["Rule 5"] + ["Rule 6"] * (watcher.settings.return_policy == "returns")
            assert all(entry.why.startswith(tuple(allowed)) for entry in changes), (
                "went back by itself")
    watcher.check_healthy()


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("settings", [
    PairSettings(),
    PairSettings(count_in_heartbeat=True),
    PairSettings(third_vote=True),
    PairSettings(ask_racks=False, third_vote=True, missed_beats=1),
    PairSettings(return_policy="returns", return_wait_ms=1000),
    PairSettings(hold_ms=100, second_cycle_ms=70, load_ms=500, start_ms=0),
], ids=["as built", "count", "vote", "vote alone", "returns", "uneven"])
def test_single_fault(fault, settings):
    off_again(on_and_at_rest(Watcher(settings), fault), fault)


@pytest.mark.parametrize("first", FAULTS)
def test_ordered_pairs(first):
    begun = on_and_at_rest(Watcher(), first)
    for second in FAULTS:
        if second != first:
            off_again(on_and_at_rest(begun.copy(), second), first, second)


@pytest.mark.parametrize("fault", FAULTS)
def test_same_input_same_record(fault):
    records = []
    for steps in ([12_345], [1, 344, 12_000]):
        pair = Switchover(PLANT, seed=7)
        pair.run_to(500)
        pair.switch_on(fault)
        for step in steps:
            pair.run_for(step)
        pair.switch_off(fault)
        for step in steps:
            pair.run_for(step)
        records.append(pair.record)
    assert records[0] == records[1]
