"""A seeded share of the random sequences; all of them by `python -m tests.sequences`."""

from dataclasses import replace

import pytest

from labkit.switchover.engine import Switchover
from labkit.switchover.roles import Role
from labkit.switchover.rules import RULES
from tests import sequences
from tests.sequences import Sequence, Watcher, hold, recovery_ms, sequence, watched

SHARE = 20
BATCH = 20


@pytest.mark.parametrize("first", range(0, SHARE * BATCH, BATCH))
def test_a_share_of_the_sequences(first):
    for number in range(first, first + BATCH):
        hold(number, seed=2)


def test_sequences_are_drawn_from_their_numbers_alone():
    assert sequence(3) == sequence(3) and sequence(3) != sequence(4) != sequence(3, seed=2)
    used = [sequence(number) for number in range(200)]
    for name in ("ask_racks", "third_vote", "count_in_heartbeat", "return_policy"):
        assert len({getattr(each.settings, name) for each in used}) == 2, name
    assert all(step in {step for each in used for step, _ in each.steps}
               for step in ("on", "off", "wait", "hand", "settle"))
    # every fault that is switched on is switched off at the end
    for each in used:
        ons = sorted(value for step, value in each.steps if step == "on")
        assert ons == sorted(value for step, value in each.steps if step == "off")


def test_the_time_of_recovery_is_a_sum():
    """Self test 2000; thrice 160 + 50; two answers of 20; limit 5000; four times two cycles and an
    update, 4 x 100, and the filter 5; two loadings of 8000."""
    assert recovery_ms(sequences.PairSettings()) == (
        2000 + 3 * 210 + 2 * 20 + 5000 + 405 + 2 * 8000)


def without(key):
    return tuple(rule for rule in RULES if rule.key != key)


# What the watcher must see: each of these breaks one property on purpose.
@pytest.mark.parametrize("key, steps, changes, message", [
    ("waited", ("KF2: frozen", "KF1: restarted"), {}, "KF1 is whole and does not lead"),
    ("announced", ("KF1: stopped",), {}, "KF2 is whole and does not lead"),
    ("no majority", ("WF9: cut", "third voter: lost"), {"third_vote": True},
     "leads without a majority"),
])
def test_the_watcher_sees_a_rule_that_is_left_out(key, steps, changes, message):
    watcher = Watcher(sequences.PairSettings(**changes))
    watcher.pair = Switchover(watcher.plant, watcher.settings, rules=without(key))
    with pytest.raises(AssertionError, match=message):
        for fault in steps:
            watcher.on(fault)
            watcher.go(sequences.SETTLED_MS)
        watcher.check_settled()


def test_the_watcher_sees_what_does_not_recover():
    given = sequence(0)
    never = Sequence(given.plant, replace(given.settings, load_ms=3_600_000), 1,
                     (("on", "KF1: restarted"), ("wait", 5000), ("off", "KF1: restarted")))
    assert recovery_ms(never.settings) > 3_600_000
    watched(never)
    watcher = Watcher(never.settings)
    watcher.on("KF2: restarted")
    watcher.off("KF2: restarted")
    watcher.go(60_000)
    with pytest.raises(AssertionError, match="loading"):
        watcher.check_healthy()


def test_the_watcher_sees_a_lamp_and_a_line_that_are_not_so(monkeypatch):
    watcher = Watcher()
    truth = watcher.pair.snapshot()
    lies = replace(truth, roles={"KF1": Role.ACTIVE, "KF2": Role.LOADING})
    monkeypatch.setattr(watcher.pair, "snapshot", lambda: lies)
    with pytest.raises(AssertionError, match="KF2"):
        watcher.check()
    monkeypatch.undo()
    monkeypatch.setattr(sequences, "lamps_of", lambda seen: ())
    with pytest.raises(AssertionError, match="KF1"):
        Watcher().check()
