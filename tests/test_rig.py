"""The rig as a whole: pair, plant and process together, its text twin, and its stories."""

import json
import random
from dataclasses import replace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig import rig as rig_module
from labkit.rig import stories
from labkit.rig.rig import Rig
from labkit.rig.stories import Replay, Story
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings
from tests.test_plant_keys import part, plant_of


def test_healthy_rig_says_so():
    text = Rig().text()
    assert "Roles: KF1 leads; KF2 stands by, ready." in text
    assert "Control now: Works at every rack." in text
    assert "Faults on: none." in text


def test_power_cut_of_the_active_one():
    rig = Rig()
    healthy = rig.plant_state().failures_per_h["control kept"]
    rig.switch_on("KF1: no power")
    rig.wait(10)
    snapshot = rig.snapshot()
    assert snapshot.roles == {"KF1": Role.OFF, "KF2": Role.ACTIVE}
    assert set(snapshot.writers.values()) == {"KF2"}
    state = rig.plant_state()
    assert state.works["control kept"]
    assert "KF2" in state.next_failures["control kept"]
    assert state.failures_per_h["control kept"] > healthy
    # 229 ms to the takeover and 5 ms of output filter: the numbers of lesson 04, with its clocks
    assert [(each.time_ms, each.new) for each in rig.record if (each.who, each.what) == ("KF20", "outputs")] == [
        (0, "held"), (234, "written")]
    # the switchover is shorter than the hold time, so the tank does not notice
    assert rig.happenings == () and rig.event_cost == 0.0
    assert rig.trend().level_m == pytest.approx(1.20, abs=1e-3)


def test_short_hold_time_costs_two_batches():
    rig = Rig(settings=PairSettings(hold_ms=100))
    rig.switch_on("KF1: no power")
    rig.wait(120)
    assert {"pumps off", "low trip", "batches held"} <= {one.name for one in rig.happenings}
    assert rig.event_cost == 11000.0
    assert "Cost of the event: EUR 11\u202f000." in rig.text()


def test_both_controllers_out_is_a_lost_function():
    rig = Rig()
    rig.switch_on("TB1: off")
    rig.wait(5)
    assert not rig.plant_state().works["control kept"]
    assert "Nobody leads" in rig.text() and "fail state" in rig.text()


def test_shut_valve_overflows_after_twelve_seconds():
    rig = Rig()
    rig.switch_on("QM1: shut locally")
    rig.wait(30)
    overflow = next(one for one in rig.happenings if one.name == "overflow")
    assert overflow.time_s == pytest.approx(12.0, abs=1e-6)


def test_bump_without_a_gap():
    rig = Rig()
    rig.switch_on("KF2: integrator not tracking")
    rig.request_role_change()
    rig.wait(120)
    trend = rig.trend()
    assert round(float(trend.level_m.max()) - 1.20, 2) == 0.19
    assert "overflow" not in {one.name for one in rig.happenings}


@pytest.mark.parametrize("seed", range(12))
def test_waiting_in_pieces_is_waiting_at_once(seed):
    """Faults with waits between; each wait cut at random, down to single ms."""
    source = random.Random(seed)
    faults = source.sample(list(faults_of(load_plant())), 3) + ["QM1: shut locally"]
    waits_ms = [round(10 ** source.uniform(0, 5)) for _ in faults]

    def run(pieces_of):
        rig = Rig(seed=seed)
        for fault, wait_ms in zip(faults, waits_ms, strict=True):
            rig.switch_on(fault)
            for piece_ms in pieces_of(wait_ms):
                rig.wait(piece_ms / 1000)
                assert rig.record[:len(told)] == tuple(told)
                told[:] = rig.record
        return rig

    def cut(wait_ms):
        cuts = sorted({0, wait_ms, *(source.randint(0, wait_ms) for _ in range(8))})
        return [end - begin for begin, end in zip(cuts, cuts[1:], strict=False)]

    told = []
    once = run(lambda wait_ms: [wait_ms])
    told.clear()
    pieces = run(cut)
    assert once.record == pieces.record and once.happenings == pieces.happenings
    assert once.event_cost == pieces.event_cost and once.text() == pieces.text()
    for whole, each in zip(vars(once.trend()).values(), vars(pieces.trend()).values(),
                           strict=True):
        assert whole.tolist() == each.tolist()


def test_alarms_of_the_process_stand_in_list_and_record():
    rig = Rig()
    rig.wait(1)
    rig.switch_on("QM1: shut locally")
    rig.wait(30)
    rig.switch_off("QM1: shut locally")
    assert rig.process_alarms == ("level high", "tank overflows")
    assert set(rig.process_alarms) <= set(rig.snapshot().alarms)
    rig.wait(60)
    # 20 mm/s: 0.12 m and 0.24 m above the set-point after 6 s and 12 s
    rows = [(entry.time_ms, entry.who, entry.old, entry.new) for entry in rig.record
            if entry.what == "alarm"]
    assert rows[:2] == [(7000, "BL1", "", "level high"), (13000, "tank", "", "tank overflows")]
    assert [row[2] for row in rows[2:]] == ["tank overflows", "level high"]
    assert rig.process_alarms == rig.snapshot().alarms == ()
    times_ms = [entry.time_ms for entry in rig.record]
    assert times_ms == sorted(times_ms)


def test_an_alarm_of_the_process_comes_with_the_first_whole_ms_at_which_it_is_so():
    """0.12 m of 1.51237 m2 at 30 L/s take 6.04948 s, and of 1.5 m2 6 s to the last digit."""
    for area_m2, time_ms in ((1.51237, 6050), (1.5, 6000)):
        plant = load_plant()
        rig = Rig(replace(plant, process={**plant.process, "tank_area_m2": area_m2}))
        rig.switch_on("QM1: shut locally")
        rig.wait(7)
        assert [(each.time_ms, each.new) for each in rig.record if each.what == "alarm"] == [
            (time_ms, "level high")]


def test_a_copy_begins_record_and_course_where_it_is_taken():
    rig = Rig()
    rig.switch_on("QM1: shut locally")
    rig.wait(10)
    other, told = rig.copy(), len(rig.record)
    assert (other.record, other.actions, other.faults) == ((), (), ("QM1: shut locally",))
    assert other.trend().time_s.tolist() == [10.0] and other.happenings == rig.happenings
    for each in (rig, other):
        each.switch_on("KF1: no power")
        each.wait(10)
    assert other.record == rig.record[told:] and other.record[0].time_ms == 10_000
    assert other.process_alarms == rig.process_alarms == ("level high", "tank overflows")
    assert other.trend().level_m[-1] == rig.trend().level_m[-1] and other.trend().time_s[0] == 10
    assert other.text(entries=0) == rig.text(entries=0)
    dry = Rig(load_plant("mirelow"))
    assert (dry.copy().trend(), dry.copy().happenings, dry.event_cost, dry.view().tank) == (None, (), 0, None)


def test_started_again_it_is_as_at_first():
    rig = Rig(seed=3)
    rig.switch_on("QM1: shut locally")
    rig.wait(20)
    rig.reset()
    assert (rig.now_s, rig.record, rig.actions, rig.happenings, rig.faults) == (0, (), (), (), ())
    assert rig.trend().time_s.tolist() == [0.0] and rig.text() == Rig(seed=3).text()
    rig.switch_on("QM1: shut locally")
    rig.wait(7)
    rig.reset_process()
    assert rig.now_s == 7 and rig.process_alarms == rig.happenings == ()
    assert rig.trend().time_s.tolist() == [7.0] and [each.new for each in rig.record] == ["on", "level high"]
    rig.wait(7)
    assert [each.new for each in rig.record] == ["on", "level high", "level high"]
    plant = load_plant()
    by_hand = Rig(replace(plant, pair=replace(plant.pair, coverage=0.0)))
    assert by_hand.faults == by_hand.on_at_start == ("KF2: stopped",) and Rig().on_at_start == ()


def test_what_is_said_of_the_process():
    rig = Rig()
    rig.wait(1)
    # 30 L/s in balance
    assert dict(rig.view().lines)["Process"] == "Level 1.20 m, in 30.0 L/s, out 30.0 L/s, oxygen 7.2 mg/L."
    rig.switch_on("QM1: shut locally")
    rig.wait(20)
    assert dict(rig.view().lines)["Process"] == (
        "Level 1.44 m, in 30.0 L/s, out 0.0 L/s, oxygen 7.2 mg/L. So far: valve shut, overflow. "
        "Cost of the event: EUR 900.")
    assert [heading for heading, _ in rig.view().lines][:2] == ["Process", "Alarms"]
    rig.switch_on("KF2: no power")
    rig.wait(20)
    # the worst first; of what is as bad the process before the pair, and alarms last
    assert [heading for heading, _ in rig.view().lines][:4] == ["Process", "Roles", "Alarms", "Control now"]
    assert [heading for heading, _ in Rig().view().lines][:2] == ["Roles", "Control now"]
    assert dict(rig.view().lines)["Faults on"] == (
        "QM1 shut-off valve: shut locally; KF2 controller 2: no power.")


def test_the_record_in_words_ends_with_its_latest_lines():
    rig = Rig()
    for fault in ("PH1: dark", "TF1: no power", "WF9: cut", "KF1: no power", "KF2: no power"):
        rig.switch_on(fault)
        rig.wait(1)
    told = rig.text().partition("Record, ")[2].splitlines()
    assert told[0] == f"latest 12 of {len(rig.record)}:" and len(told) == 13
    last = rig.record[-1]
    assert told[-1] == f"  {last.time_ms / 1000:9.3f} s  {last.who} {last.what}: {last.old} -> {last.new}. {last.why}"
    assert rig.text(entries=1).endswith(f"Record, latest 1 of {len(rig.record)}:\n{told[-1]}")
    assert "Record" not in rig.text(entries=0) and "Record" not in Rig().text()
    assert "t = 5.000 s" in rig.text() and "\n  TF1: SUPPLY NEAR dark, no supply, FRAMES NEAR" in rig.text()


def test_a_wait_is_counted_in_whole_ms():
    rig = Rig()
    for seconds, now_s in ((0.001, 0.001), (0.0016, 0.003), (2, 2.003)):
        rig.wait(seconds)
        assert rig.now_s == now_s
    with pytest.raises(ValueError, match="seconds must be from 0.001 to 31536000.0, got 31536000.1"):
        rig.wait(31_536_000.1)


def test_two_writers_by_turns_both_write_and_held_outputs_nobody():
    rig = Rig()
    history = [(0, Outputs.WRITTEN, "KF1"), (5, Outputs.HELD, "KF1"), (9, Outputs.WRITTEN, "KF2"),
               (12, Outputs.WRITTEN, None), (15, Outputs.FAIL_STATE, None)]
    assert [rig._writing(history, time_ms) for time_ms in (0, 4, 5, 8, 9, 11, 12, 15, 99)] == [
        ("KF1",), ("KF1",), (), (), ("KF2",), ("KF2",), ("KF1", "KF2"), (), ()]


def test_each_rack_moves_its_own_outputs_from_the_moment_on_at_which_it_lets_go():
    for fault, fails in (("KF10: module fault", {"pumps"}), ("KF20: module fault", {"valve", "uv"}),
                         ("KF30: module fault", {"blowers"}), ("PH1: dark", set())):
        rig = Rig()
        rig.switch_on(fault)
        rig.wait(1)
        drive = rig._tank._drive
        assert {name for name in ("pumps", "valve", "uv", "blowers")
                if getattr(drive, name) == "fail state"} == fails
    frozen = Rig()
    frozen.switch_on("KF1: frozen")
    frozen.wait(5)
    (let_go_ms,) = {each.time_ms for each in frozen.record if each.new == "fail state"}
    assert 0 < let_go_ms < 1000 and {each.time_s for each in frozen.happenings} == {let_go_ms / 1000}


def test_a_sensor_that_is_none_of_the_loop_blinds_nothing():
    plant = load_plant()
    known = faults_of(plant)
    seen = []
    for unit, breaks in (("BL1", {"BL1"}), ("BL9", {"BL9"})):
        rig = Rig(plant)
        rig.known_faults = {**known, "BL1: stuck": replace(known["BL1: stuck"], unit=unit, breaks=frozenset(breaks))}
        rig._tank.run = lambda until_s, drive: seen.append(drive)
        rig.switch_on("BL1: stuck")
        rig.switch_on("KF2: integrator not tracking")
        rig.wait(1)
    assert [(each.sensor_stuck, each.valve_shut, each.untracked, each.leaders) for each in seen] == [
        (stuck, False, frozenset({"KF2"}), ("KF1",)) for stuck in (True, False)]


def test_worth_and_state_are_kept_and_a_plant_without_costs_has_none():
    rig = Rig()
    state, worth = rig.plant_state(), rig.worth()
    rig.wait(5)
    assert rig.plant_state() is state and rig.worth() is worth  # but for the time nothing has changed
    rig.switch_on("KF2: no power")
    assert rig.plant_state() is not state and rig.worth() is not worth
    assert Rig(plant_of(part("EC1", "fan"))).worth() is None


def played(story):
    """Return the rig at the end of a story."""
    return Replay(story).go_to(len(story.actions))


def test_story_is_saved_and_replayed(tmp_path):
    rig = Rig(seed=3, settings=PairSettings(hold_ms=400))
    rig.switch_on("KF1: stopped")
    rig.wait(3)
    rig.switch_off("KF1: stopped")
    rig.wait(30)
    rig.request_role_change()
    rig.wait(2)
    file = Story.of(rig, "stop, return, hand back").save(tmp_path / "story.json")
    story = Story.from_json(file.read_text("utf-8"))
    assert story.name == "stop, return, hand back"
    replayed = played(story)
    assert replayed.record == rig.record
    assert replayed.text() == rig.text()
    assert [action.verb for action in replayed.actions] == ["on", "off", "role change"]


@pytest.mark.parametrize(
    "change, words",
    [
        ({"kind": "recipe"}, "it must be a story, as a panel saves it"),
        ({"format": 9}, "format must be 1, got 9"),
        ({"name": " "}, "name must not be empty"),
        ({"more": 1}, "keys must be"),
        ({"actions": [{"time_ms": 1, "verb": "blow up"}]}, "verb must be one of on, off"),
        ({"actions": [{"when": 1}]}, "actions and settings must have their keys"),
        ({"end_ms": -1}, "end_ms must be 0 to 86400000, got -1"),
    ],
)
def test_damaged_story_is_refused(change, words):
    data = json.loads(Story.of(Rig(), "quiet").to_json()) | change
    with pytest.raises(ValueError, match=words):
        Story.from_json(json.dumps(data))
    with pytest.raises(ValueError, match="a story, as a panel saves it, must be JSON"):
        Story.from_json("{")


def test_story_of_another_plant_is_refused():
    story = Story("quiet", "Elsewhere, V9", (), 0)
    with pytest.raises(ValueError, match="plant must be 'Elsewhere, V9', got 'Brackenquay"):
        Replay(story, load_plant())


def test_bad_calls_are_named():
    rig = Rig()
    with pytest.raises(ValueError, match="seconds must be from 0.001 to 31536000.0, got 0"):
        rig.wait(0)
    with pytest.raises(ValueError, match="entries must be >= 0, got -1"):
        rig.text(entries=-1)
    with pytest.raises(ValueError, match="KF9: no power"):
        rig.switch_on("KF9: no power")


def test_trend_grows_and_leaves_what_was_read():
    rig = Rig()
    rig.wait(10)
    before = rig.trend()
    kept = before.level_m.copy()
    rig.switch_on("QM1: shut locally")
    rig.wait(300)
    after = rig.trend()
    assert len(after.time_s) > 2 * len(before.time_s)
    assert (before.level_m == kept).all() and (after.level_m[: len(kept)] == kept).all()
    assert (after.level_m[1:] != after.level_m[0]).any()
    with pytest.raises(ValueError):
        after.level_m[0] = 0.0


def test_worth_follows_the_state():
    rig = Rig()
    healthy = rig.worth()
    rig.switch_on("KF1: no power")
    rig.wait(1)
    assert rig.worth().here_per_year > healthy.here_per_year
    rig.switch_off("KF1: no power")
    rig.wait(1)
    assert rig.worth().here_per_year > healthy.here_per_year, "it loads, and cannot take over yet"
    rig.wait(70)
    assert rig.worth() == healthy
    written = f"{healthy.here_per_year:,.0f}".replace(",", "\u202f")
    assert f"EUR {written} a year" in rig.text()


SHIPPED = {story.name: story for story in stories.find_stories(folder="none here")[0]}


def test_the_stories_that_come_with_it():
    assert set(SHIPPED) == {
        "Power cut and return", "Sync cable cut, racks asked", "Sync cable cut, racks not asked",
        "Short hold time and the tank", "A sleeping fault and its test", "One stop and its repair",
        "The switchover test", "One part after the other", "What a pair does not survive",
        "Dark panel in the office"}
    assert all(story.about for story in SHIPPED.values())
    power = played(SHIPPED["Power cut and return"])
    assert power.snapshot().roles == {"KF1": Role.STANDBY, "KF2": Role.ACTIVE}
    short = played(SHIPPED["Short hold time and the tank"])
    assert short.event_cost == 11000.0
    for name, leading in (("Sync cable cut, racks asked", 1),
                          ("Sync cable cut, racks not asked", 2)):
        roles = stories.Replay(SHIPPED[name]).go_to(1).snapshot().roles.values()
        assert sum(role is Role.ACTIVE for role in roles) == leading


def test_replay_goes_back_and_forth():
    replay = stories.Replay(SHIPPED["Power cut and return"])
    said = [replay.go_to(position).text() for position in (0, 1, 2)]
    assert [replay.go_to(position).text() for position in (1, 0, 2, 1)] == [
        said[1], said[0], said[2], said[1]]
    assert said[2] == played(SHIPPED["Power cut and return"]).text()
    assert len(replay.acts()) == 3 and "KF1 controller 1: no power" in replay.acts()[1]
    with pytest.raises(ValueError, match="position must be 0 to 2, got 3"):
        replay.go_to(3)


def test_a_story_with_a_fault_that_the_plant_has_not_is_refused():
    plant = load_plant()
    story = Story("odd", f"{plant.name}, {plant.version}",
                  (rig_module.Action(0, "on", "KF9: no power"),), 10)
    with pytest.raises(ValueError, match="fault_id must be one of the plant's, got 'KF9"):
        stories.Replay(story)


def test_own_stories_are_kept_found_and_not_written_over(tmp_path):
    rig = Rig()
    rig.wait(1)
    first = Story.of(rig, "Quiet: nothing / at all")
    file = first.keep(tmp_path / "stories")
    assert file == tmp_path / "stories" / "quiet_nothing_at_all.json"
    assert first.keep(tmp_path / "stories") == file
    rig.wait(1)
    with pytest.raises(ValueError, match="name must not be taken by another story, got 'Quiet"):
        Story.of(rig, "Quiet: nothing / at all").keep(tmp_path / "stories")
    (tmp_path / "stories" / "broken.json").write_text("{")
    found, wrong = stories.find_stories(folder=tmp_path / "stories")
    assert found[-1] == first and len(found) == len(SHIPPED) + 1
    assert len(wrong) == 1 and "broken.json" in wrong[0]


@pytest.mark.parametrize(("faults", "settings"), [
    (["KF1: frozen"], {}), (["WF9: cut"], {"ask_racks": False}), (["TB1: off"], {})])
def test_lost_control_is_said_on_cards_and_in_words(faults, settings):
    rig = Rig(settings=PairSettings(**settings))
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(60)
    assert "Control kept: Lost:" in rig.text()
    assert not rig.plant_state().works["control kept"]


def test_a_unit_that_cannot_take_over_counts_as_out():
    """With another program in KF2 each way of KF1 stands alone; KF2 leads once KF1 is gone."""
    rig = Rig()
    rig.switch_on("KF2: program differs")
    rig.wait(70)
    state = rig.plant_state()
    assert state.works["control kept"]
    named = set(state.next_failures["control kept"])
    assert {"WF1.10", "WF1.20", "WF1.30", "KF10A", "KF20A", "KF30A"} <= named
    assert "KF1" not in named and "KF1+KF2 common cause" in named
    assert rig.snapshot().roles["KF2"].value == "loading"


def story_of(*actions, end_ms=9_000, **more):
    plant = load_plant()
    return Story("x", f"{plant.name}, {plant.version}", tuple(rig_module.Action(*each) for each in actions), end_ms,
                 **more)


ACTS = ((0, "on", "PH1: dark"), (2_500, "role change"), (2_500, "off", "PH1: dark"), (7_000, "on", "WF9: cut"))


def test_each_place_of_a_story_is_the_moment_before_its_next_act():
    replay = Replay(story_of(*ACTS, seed=4, settings=PairSettings(hold_ms=400)))
    assert replay.acts() == (
        "0. the beginning", f"1. at 0 s: on: {faults_of(load_plant())['PH1: dark'].label}",
        "2. at 2.5 s: switchover by hand", f"3. at 2.5 s: off: {faults_of(load_plant())['PH1: dark'].label}",
        f"4. at 7 s: on: {faults_of(load_plant())['WF9: cut'].label}")
    assert (replay.rig.seed, replay.rig.settings.hold_ms, replay.position) == (4, 400, 0)
    first = replay.rig
    for position, now_s, done in ((1, 2.5, 1), (2, 2.5, 2), (3, 7, 3), (4, 9, 4), (4, 9, 4)):
        assert (replay.go_to(position).now_s, len(replay.rig.actions), replay.position) == (now_s, done, position)
        assert replay.rig is first  # forwards it goes on
    assert replay.go_to(0).now_s == 0 and replay.rig is not first
    for position in (-1, 5):
        with pytest.raises(ValueError, match=f"position must be 0 to 4, got {position}"):
            replay.go_to(position)


@pytest.mark.parametrize(("actions", "end_ms", "match"), [
    (ACTS, 7_000, None), ((), 0, None), ((), 86_400_000, None), (ACTS[:1] * 10_000, 0, None),
    (ACTS, 6_999, "end_ms must be 7000 to 86400000, got 6999"),
    ((), 86_400_001, "end_ms must be 0 to 86400000, got 86400001"),
    (ACTS[:1] * 10_001, 0, "actions must be at most 10000, got 10001"),
    (ACTS[::-1], 9_000, "time_ms must not go back, got 2500 after 7000"),
])
def test_acts_of_a_story_stand_in_order_and_within_a_day(actions, end_ms, match):
    if match is None:
        story = story_of(*actions, end_ms=end_ms)
        assert (story.seed, story.about, story.settings, story.end_ms) == (1, "", PairSettings(), end_ms)
        return
    with pytest.raises(ValueError, match=match):
        story_of(*actions, end_ms=end_ms)


def test_a_rig_at_an_earlier_moment_has_the_acts_of_that_moment():
    rig = Rig(seed=3, settings=PairSettings(hold_ms=400))
    rig.wait(1.5)
    rig.switch_on("PH1: dark")
    rig.wait(1)
    rig.switch_on("WF9: cut")
    rig.wait(1)
    for time_ms, faults, now_s in ((-5, (), 0), (0, (), 0), (1499, (), 1.499), (1500, ("PH1: dark",), 1.5),
                                   (2499, ("PH1: dark",), 2.499), (3500, ("PH1: dark", "WF9: cut"), 3.5)):
        at = stories.rig_at(rig, time_ms)
        assert (at.faults, at.now_s, at.seed, at.settings) == (faults, now_s, 3, rig.settings)
    assert stories.rig_at(rig, 3500).record == rig.record and rig.now_s == 3.5
    with pytest.raises(ValueError, match="time_ms must be <= 3500, got 3501"):
        stories.rig_at(rig, 3501)


def test_a_story_is_kept_in_a_folder_that_is_made_and_found_for_its_plant_alone(tmp_path):
    folder = tmp_path / "a" / "b"
    story = story_of(*ACTS, about="what is to be seen")
    assert json.loads(story.to_json())["format"] == 1 and story.to_json().endswith("}\n")
    story.keep(folder)
    replace(story, name="another", plant="Elsewhere, V1").keep(folder)
    assert stories.find_stories(folder=folder)[0][-1] == story
    names = [each.name for each in stories.find_stories(folder=folder)[0]]
    assert "another" not in names and len(names) == len(SHIPPED) + 1
    assert stories.find_stories(load_plant("mirelow"), folder)[0] == ()
