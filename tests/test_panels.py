"""The main panel without a browser: what it is told, what it shows, errors, twins."""

import gc
import itertools
import json
import re
import time
from html import unescape
from urllib.parse import unquote

import ipywidgets as widgets
import pytest

from labkit.plant.plant import load_plant
from labkit.rig.acts import act_said, rows_of
from labkit.rig.rig import Rig
from labkit.switchover.roles import Role
from labkit.switchover.settings import PairSettings
from lessons.panels import frame
from lessons.panels import plant_panel as module
from lessons.panels.drill_panel import drill_panel
from lessons.panels.first_failures_panel import first_failures_panel
from lessons.panels.hold_panel import hold_panel
from lessons.panels.limits_panel import limits_panel
from lessons.panels.plant_panel import STEPS_S, plant_panel
from lessons.panels.proof_test_panel import proof_test_panel
from lessons.panels.rig_page import DRAWERS, SPEEDS
from lessons.panels.time_out_panel import time_out_panel
from lessons.panels.two_states_panel import two_states_panel
from lessons.pictures.layout import WIDTHS
from lessons.pictures.slots import filled
from tests.test_layout import plant_of


class Page:
    """Stand for the page: it holds the slots as the front end would, from what is sent alone."""

    def __init__(self, panel):
        self.panel, self.sent = panel, []
        self.page, self.values = panel.page, {}
        self.picture = panel.picture
        panel.send = self.receive

    def receive(self, message, buffers=None):
        message = json.loads(json.dumps(message))
        self.sent.append(message)
        self.picture = message.get("picture", self.picture)
        self.values |= message.get("slots", {})

    def do(self, do, value=None, at=None):
        """Press something."""
        self.panel.receive({"do": do, "value": value, "at": at})

    @property
    def text(self):
        """What can be read in the page."""
        whole = filled(self.page, self.values) + filled(self.picture, self.values)
        return unescape(re.sub(r"[ \n]+", " ", re.sub(r"<[^>]+>", " ", whole)))


@pytest.fixture
def panel():
    made = plant_panel()
    yield made
    made.close()


@pytest.fixture
def page(panel):
    return Page(panel)


def test_it_starts_healthy(page):
    said = page.text
    assert "KF1 leads; KF2 stands by, ready." in said and "NORMAL." in said
    assert "0.000 s" in said and "control kept: WORKS" in said and "Nothing yet." in said
    assert page.panel.problem is None


def test_power_off_the_active_controller_is_shown_at_once(page, panel):
    page.do("switch", ["KF1: no power", True])
    said = page.text
    assert panel.rig.now_s == 10.0
    assert "KF2 leads alone; KF1 is off." in said and "ABNORMAL." in said
    assert re.search(r"last gap at the outputs (1[789]\d|2[0-8]\d) ms", said)
    assert "0.77 outages a year from here, 0.46 when healthy" in said
    assert "KF2 took over, outputs held 234 ms, nothing lost" in said
    page.do("switch", ["KF1: no power", False])
    page.do("step", "60 s")
    page.do("go_on")
    page.do("go_on")
    assert panel.rig.snapshot().roles == {"KF1": Role.STANDBY, "KF2": Role.ACTIVE}
    assert "KF2 leads; KF1 stands by, ready." in page.text


@pytest.mark.parametrize("name", Rig().known_faults)
def test_every_fault_can_be_switched_on_and_off(page, panel, name):
    page.do("step", "1 s")
    page.do("switch", [name, True])
    assert name in panel.rig.faults and json.loads(page.values["=on"]) == [name]
    page.do("switch", [name, False])
    assert panel.rig.faults == () and panel.problem is None
    # What was sent bit by bit is what stands there.
    assert {**panel._values, **page.values} == panel._values


@pytest.mark.parametrize("do, value", [
    ("switch", ["KF1: no power", True]), ("switch", ["KF1: nonsense", True]), ("step", "1 s"),
    ("fit", WIDTHS[1]), ("back", None), ("all_off", None)])
def test_the_last_message_of_an_answer_says_what_it_answers(do, value, page, panel):
    # The list of acts and the boxes wait for it: what comes before it is not yet the whole answer.
    for number in (1, 1, 2):
        page.sent.clear()
        panel.receive({"do": do, "value": value, "number": number})
        answers = [each["slots"].get("=answered") for each in page.sent]
        assert [each for each in answers if each] == [str(number)]
        assert all("=on" not in each["slots"] for each, answer in zip(page.sent, answers)
                   if not answer)


def test_every_fault_can_be_reached_at_a_part_of_the_picture(panel):
    parts = set(re.findall(r' data-part="([^"]+)"', panel.picture))
    for fault in panel.faults_here:
        assert parts & set(fault["at"]), fault
    by_part = {part: [f["how"] for f in panel.faults_here if part in f["at"]] for part in parts}
    assert by_part["KF1"][:2] == ["no power", "stopped"] and by_part["QM1"] == ["shut locally"]


def test_each_part_has_a_name_and_a_state_for_who_does_not_see_it(page, panel):
    page.do("switch", ["KF1: no power", True])
    parts = re.findall(r' data-part="([^"]+)"[^>]* data-name="([^"]+)" data-state="([^"]*)"',
                       filled(page.picture, page.values))
    said = {part: f"{name}: {state}" for part, name, state in parts}
    assert set(said) >= set(panel.rig.plant.parts)
    assert said["KF1"] == "KF1 controller 1: off, no power"
    assert said["KF2"].startswith("KF2 controller 2: SUPPLY on, ACTIVE leads")
    assert "outputs written" in said["KF10"] and "nothing passes" in said["WF9"]


def test_every_button_has_a_name_and_no_two_the_same(panel):
    names = re.findall(r"<button[^>]*>([^<]+)<", panel.page)
    names += re.findall(r"<label[^>]*>(?:<input[^>]*>)? ?([^<]+)", panel.page)
    assert all(each.strip() for each in names) and len(set(names)) == len(names)
    assert {"Go on", "Play", "Switch over", "All faults off", "Start again", "Find a fault ",
            *DRAWERS.values()} <= set(names)


@pytest.mark.parametrize("step_s", STEPS_S.values())
def test_step_is_what_passes_after_a_switch(step_s):
    panel = plant_panel(step_s=step_s)
    panel.switch("TF1: no power", True)
    assert panel.rig.now_s == step_s
    panel.go_on()
    assert panel.rig.now_s == 2 * step_s
    panel.close()


@pytest.mark.parametrize("speed", SPEEDS)
def test_clock(page, panel, speed):
    page.do("speed", speed)
    page.do("tick")
    assert panel.rig.now_s == 0.0
    page.do("play")
    assert page.values["play"] == "Pause" and json.loads(page.values["=playing"])
    page.do("switch", ["KF1: stopped", True])
    assert panel.rig.now_s == 0.0
    page.do("tick")
    assert panel.rig.now_s == pytest.approx(module.TICK_MS / 1000 * SPEEDS[speed], rel=1e-9, abs=0)
    page.do("play", at=0)
    assert page.values["play"] == "Play" and not panel.playing and panel.rig.now_s > 0.0
    page.do("play", at=0)
    assert panel.playing and panel.rig.now_s == 0.0


def test_start_again_is_as_new(page):
    other = plant_panel()
    new = Page(other)
    page.do("switch", ["TB1: off", True])
    page.do("play")
    page.do("start_again")
    assert page.text == new.text and page.panel.rig.faults == () and not page.panel.playing
    other.close()


def test_all_faults_off(page, panel):
    for name in ("KF1: no power", "WF9: cut", "PH1: dark"):
        page.do("switch", [name, True])
    page.do("all_off")
    assert panel.rig.faults == () and panel.rig.now_s == 40.0
    assert json.loads(page.values["=on"]) == []


def test_change_of_roles_by_hand(page, panel):
    page.do("change_roles")
    assert panel.rig.snapshot().roles == {"KF1": Role.STANDBY, "KF2": Role.ACTIVE}
    page.do("switch", ["KF1: no power", True])
    page.do("change_roles")
    assert "refused" in page.text


def test_flashing_can_be_written_and_weak_points_marked(page, panel):
    before = page.text
    page.do("mark_weak", True)
    page.do("write_flashing", True)
    assert json.loads(page.values["=look"]) == ["still"]
    assert sum(each.endswith(" weak") for each in page.values.values()) == 6
    page.do("mark_weak", False)
    page.do("write_flashing", False)
    assert page.text == before and panel.problem is None


@pytest.mark.parametrize("width", WIDTHS)
def test_the_picture_is_drawn_for_the_width_of_the_page(page, panel, width):
    page.do("switch", ["KF1: no power", True])
    page.do("fit", width)
    assert f'viewBox="0 0 {width:g} ' in page.picture
    assert "KF2" in page.picture and page.text.count("no power") >= 2
    page.do("switch", ["KF1: no power", False])
    assert {**panel._values, **page.values} == panel._values


def test_between_two_widths_nothing_is_drawn_much_larger_and_each_name_is_whole():
    for wide, next_one in itertools.pairwise(WIDTHS):
        assert wide / next_one < 1.27, (wide, next_one)
    for width in WIDTHS:
        drawn = re.findall(">([^<]+)</text>", module._picture(load_plant(), width).svg(Rig().view(), {}))
        assert {"KF1", "KF2"} <= {*drawn}, width


def test_an_error_in_a_handler_is_shown_in_words(page, panel, monkeypatch):
    def fail(fault_id):
        raise ValueError("fault_id must be known, got 'KF7'")

    monkeypatch.setattr(panel.rig, "switch_on", fail)
    page.do("switch", ["WF9: cut", True])
    assert "That did not work: fault_id must be known, got 'KF7'" in page.text
    assert isinstance(panel.problem, ValueError)
    # The box that was ticked is taken back.
    assert json.loads(page.sent[-2]["slots"]["=on"]) == []
    monkeypatch.undo()
    page.do("switch", ["WF9: cut", True])
    assert "did not work" not in page.text and panel.problem is None


@pytest.mark.parametrize("message", [{"do": "nothing"}, {"do": "fit", "value": 7},
                                     {"do": "unfold", "value": "x"}, {"do": "switch", "value": ["KF7: gone", True]}])
def test_what_is_unknown_is_refused_in_words(page, panel, message):
    panel.receive(message)
    assert panel.problem is not None and "That did not work" in page.text


def test_two_panels_do_not_disturb_each_other(page):
    other = plant_panel(task="another")
    page.do("switch", ["KF1: no power", True])
    assert other.rig.faults == () and "KF1 leads" in Page(other).text
    other.close()


def test_text_says_what_the_panel_shows(page, panel):
    page.do("switch", ["KF1: no power", True])
    page.do("switch", ["WF2.20: cut", True])
    said = panel.text()
    view = panel.rig.view()
    assert panel.task in said and "10 s" in said
    for heading, sentence in view.lines:
        assert f"{heading}: {sentence}" in said
    for lamp in view.lamps:
        assert f"{lamp.name} {lamp.text}" in said
    for entry in view.record:
        assert entry.why in said
    assert page.values["head.gap"] in said and page.values["act"] in said
    assert all(panel.faults[name].label in said for name in panel.rig.faults)


def test_output_of_the_cell_carries_picture_and_text(panel):
    data, _ = panel._repr_mimebundle_()
    assert data["text/plain"].startswith("Task: ") and "PlantPanel(" not in data["text/plain"]
    assert "application/vnd.jupyter.widget-view+json" in data
    html = data["text/html"]
    assert html.count("<img ") == 1 and "<svg" not in html and "<script" not in html
    alternative, source = re.search(r'alt="([^"]+)".* src="data:image/svg\+xml;utf8,([^"]+)"',
                                    html).groups()
    assert "KF1 active" in alternative
    svg = unquote(source)
    assert svg.startswith("<svg") and svg.endswith("</svg>") and "<style>" in svg
    # The picture stands in the output once, and the same cell gives the same output.
    again, _ = plant_panel()._repr_mimebundle_()
    assert again["text/html"] == html and again["text/plain"] == data["text/plain"]
    assert len(html) < 55_000


def test_settings_and_plants_can_be_handed_over():
    hasty = plant_panel("brackenquay", PairSettings(ask_racks=False), step_s=1.0)
    page = Page(hasty)
    page.do("switch", ["WF9: cut", True])
    assert "lead at the same time" in page.text
    small = plant_panel(plant_of(1, 1))
    assert "lk-svg" in small.picture and "level [m]" not in small.picture
    hasty.close()
    small.close()


def test_other_steps_and_faults_are_refused():
    with pytest.raises(ValueError, match="step_s must be one of 1, 10, 60, 300, got 7"):
        plant_panel(step_s=7)
    with pytest.raises(ValueError, match="faults must be of the plant, got 'KF7: gone'"):
        plant_panel(faults=["KF7: gone"])


def test_a_lesson_chooses_faults_cards_and_what_is_ticked():
    chosen = ["KF1: no power", "KF2: no power"]
    panel = plant_panel(faults=chosen, cards=False, task="Cut a power.", ticks=["KF2 leads <now>"])
    assert [fault["id"] for fault in panel.faults_here] == chosen == list(panel.faults)
    said = Page(panel).text
    assert "Task: Cut a power." in said and "KF2 leads <now>" in said and "Cards" not in said
    panel.close()


def test_only_what_changed_is_sent_in_one_small_message(page):
    # The whole of it, with two notes on the state of the kernel, is held by the benchmark.
    sizes, messages = [], []
    for _ in range(3):
        for name in ("KF1: no power", "WF9: cut", "TF1: no power", "WF2.10: cut"):
            for on in (True, False):
                page.sent.clear()
                page.do("switch", [name, on])
                messages.append(len(page.sent))
                sizes.append(sum(len(json.dumps(each, ensure_ascii=False).encode())
                                 for each in page.sent))
    assert set(messages) == {1}
    assert max(sizes) < 4200 and sum(sizes) / len(sizes) < 2800
    page.sent.clear()
    page.do("step", "10 s")
    assert page.sent == []


def test_drawing_is_quick(page):
    page.do("switch", ["KF1: no power", True])
    times = []
    for _ in range(15):
        start = time.process_time()
        page.do("go_on")
        times.append(time.process_time() - start)
    # Time of the processor: 5 ms is the aim, and the bound leaves room for a slow machine.
    assert sorted(times)[len(times) // 2] < 0.02


def test_many_switches_leave_memory_figures_and_widgets_where_they_were(page, panel):
    from matplotlib import pyplot

    page.receive = lambda message, buffers=None: None
    panel.send = page.receive

    def alive():
        gc.collect()
        found = gc.get_objects()
        return len(found), sum(isinstance(each, widgets.Widget) for each in found)

    page.do("step", "1 s")
    names = list(panel.faults)[:10]

    def go(rounds):
        for _ in range(rounds):
            for name in names:
                page.do("switch", [name, True])
                page.do("switch", [name, False])
        # The record and the trend are kept on purpose, until one starts again.
        page.do("start_again")

    go(1)
    figures, (objects, controls_alive) = pyplot.get_fignums(), alive()
    # A thousand of them: python -m tests.fuzz_panel
    go(5)
    after, controls_after = alive()
    assert controls_after == controls_alive and pyplot.get_fignums() == figures
    assert panel.problem is None
    # A leak of one object in each switch would be 100; a few come and go with the clock.
    assert after - objects < 60


# ---------------------------------------------------------------- the last act, moment by moment


def test_each_moment_of_the_last_act_is_what_the_engine_held_then(page, panel):
    page.do("go_on")
    page.do("switch", ["KF1: no power", True])
    page.do("frames")
    frames = page.sent[-1]["frames"]
    assert frames["at"][0] < 0 == frames["at"][1] and frames["words"][0] == "before the act"
    record = panel.rig.record
    assert frames["at"][1:] == sorted({entry.time_ms - 10_000 for entry in record})
    shown = {}
    picture = module._picture(panel.rig.plant, panel.width)
    for at, slots in zip(frames["at"], frames["slots"], strict=True):
        shown |= slots
        again = Rig(seed=panel.rig.seed)
        again.wait(10)
        if at >= 0:
            again.switch_on("KF1: no power")
        if at > 0:
            again.wait(at / 1000)
        whole = picture.values(again.view()) | module.page_values(again.view())
        assert {key: whole[key] for key in shown if key in whole} == {
            key: value for key, value in shown.items() if key in whole}
    # Set after set leads to the state of now, without what only time has changed.
    said = " ".join(frames["words"])
    assert all(row.text in said for row in rows_of(record))
    assert "heartbeat of KF1: heard to missed" in said and "mark ageing" in said


def test_an_act_in_the_past_begins_another_story_and_the_record_says_so(page, panel):
    page.do("switch", ["KF1: no power", True])
    page.do("switch", ["WF9: cut", True], at=150)
    assert "Another story begins here, at 0.150 s." in page.text
    assert panel.rig.now_s == 10.15
    assert [(a.time_ms, a.fault_id) for a in panel.rig.actions] == [
        (0, "KF1: no power"), (150, "WF9: cut")]
    page.do("unfold", "record")
    assert page.text.count("Another story begins.") == 1
    page.do("fold", "record")


def test_the_same_act_again_in_the_past_brings_the_page_back_to_the_present(page, panel):
    page.do("switch", ["KF1: no power", True])
    page.sent.clear()
    page.do("switch", ["KF1: no power", True], at=-20)
    assert any("=moments" in message["slots"] for message in page.sent)


@pytest.mark.parametrize("on", [True, False])
def test_an_act_that_the_past_has_seen_shows_the_past(on, page, panel):
    for known in (on, not on, on):
        page.do("switch", ["KF20A: dead", known])
    page.do("switch", ["KF20A: dead", not on])
    end_s = panel.rig.now_s
    page.do("switch", ["KF20A: dead", on], at=round(1000 * end_s) - 15_000)
    # In that moment it stood so already: nothing is switched, and the page goes back with the rig.
    assert panel.rig.now_s == end_s - 15
    assert ("bad" in page.values["KF20A@"].split()) == on == bool(panel.rig.faults)
    assert json.loads(page.values["=on"]) == list(panel.rig.faults)


def test_another_story_begins_inside_the_record(page, panel):
    page.do("switch", ["KF1: no power", True])
    # The page may still show a record that another story has cut short: its end is meant.
    page.do("go_on", at=99_000)
    assert not panel.problem
    assert "Another story begins here, at 10.000 s." in page.text and panel.rig.now_s == 20.0
    # Before the act means without it, at the very start too.
    page.do("switch", ["WF9: cut", True], at=-8)
    assert panel.rig.faults == ("WF9: cut",) and panel.rig.now_s == 10.0


def test_the_last_act_is_said_from_the_two_states(page, panel):
    before = panel.rig.view()
    page.do("switch", ["TF1: no power", True])
    assert page.values["act"] == act_said(before, panel.rig.view())
    page.do("go_on")
    assert page.values["act"] == act_said(before, panel.rig.view())


# ---------------------------------------------------------------- stories, record, projector


@pytest.fixture
def placed(tmp_path, monkeypatch):
    """A page whose files go into a folder of the test."""
    monkeypatch.chdir(tmp_path)
    made = plant_panel()
    yield Page(made)
    made.close()


def test_a_story_is_opened_and_stepped_through(placed):
    panel = placed.panel
    placed.do("unfold", "stories")
    assert "Power cut and return" in placed.text
    placed.do("open_story", "Power cut and return")
    assert panel.problem is None and panel.rig.now_s == 5.0 and panel.rig.faults == ()
    placed.do("go_to", 1)
    assert panel.rig.faults == ("KF1: no power",) and placed.values["=position"] == "1"
    placed.do("next_act")
    assert panel.rig.snapshot().roles == {"KF1": Role.STANDBY, "KF2": Role.ACTIVE}
    placed.do("next_act")
    assert placed.values["=position"] == "2"
    placed.do("back")
    assert "KF2 leads alone; KF1 is off." in placed.text and placed.values["=position"] == "1"
    assert "Story: Power cut and return, stands after act 1." in panel.text()
    placed.do("close_story")
    assert "Next act" not in placed.text and "Story:" not in panel.text()


def test_a_page_that_is_loaded_anew_shows_what_stands_now(placed):
    loaded = [("unfold", "record"), ("fit", WIDTHS[1])]

    def press(*presses, begin):
        for number, (do, value) in enumerate(presses, begin):
            placed.panel.receive({"do": do, "value": value, "number": number})

    press(*loaded, ("open_story", "Power cut and return"), ("next_act", None), begin=1)
    anew = Page(placed.panel)
    press(*loaded, begin=1)
    assert "Next act" in anew.text and "Record, latest first" in anew.text
    assert anew.text == placed.text


def test_who_goes_on_by_hand_can_come_back_to_the_story(placed):
    panel = placed.panel
    panel.open_story("Power cut and return")
    placed.do("go_to", 1)
    placed.do("switch", ["WF9: cut", True])
    assert "left by hand after act 1" in panel.text()
    assert "went on by hand" in placed.values["story.astray"]
    placed.do("next_act")
    assert panel.rig.faults == () and panel.rig.now_s == 185.0
    assert placed.values["story.astray"] == ""


def test_what_was_done_is_saved_listed_and_replayed(placed, tmp_path):
    panel = placed.panel
    placed.do("unfold", "stories")
    placed.do("switch", ["WF9: cut", True])
    placed.do("save_story", "My sync cut")
    assert panel.problem is None
    assert f"Story saved: {tmp_path / 'stories' / 'my_sync_cut.json'}" in placed.text
    assert "My sync cut" in placed.values["stories@html"]
    told = panel.rig.text()
    placed.do("start_again")
    placed.do("open_story", "My sync cut")
    placed.do("next_act")
    assert panel.rig.text() == told
    other = plant_panel(story="My sync cut")
    assert other.stories.replay.story.name == "My sync cut"
    other.close()


def test_the_record_goes_into_a_file_and_the_panel_says_where(placed, tmp_path):
    placed.do("switch", ["KF1: no power", True])
    placed.do("save_csv")
    file = tmp_path / "record.csv"
    assert f"Record saved: {file}" in placed.text
    lines = file.read_text(encoding="utf-8-sig").splitlines()
    assert len(lines) == 1 + len(placed.panel.rig.record)


def test_a_folder_that_cannot_be_written_is_said(placed, tmp_path):
    placed.panel.folder = tmp_path / "gone"
    placed.do("save_csv")
    assert "That did not work" in placed.text and isinstance(placed.panel.problem, OSError)


def test_stories_by_name_and_those_that_are_not():
    with pytest.raises(ValueError, match="story must be one of Power cut and return.*got 'none'"):
        plant_panel(story="none")
    small = plant_panel(plant_of(1, 1), projector=True)
    assert small.stories.replay is None and small.problem is None
    small.close()


def test_projector_opens_a_story(placed):
    wall = plant_panel(projector=True)
    page = Page(wall)
    assert wall.look == "lk-projector" and wall.stories.replay.position == 0
    assert "Full screen" in page.text and "Acts" in page.text
    page.do("next_act")
    assert "KF2 leads alone; KF1 is off." in page.text
    wall.close()


def test_what_it_is_worth_is_shown_where_it_is_asked_for(page):
    assert "loss:" not in page.text
    page.do("unfold", "cards")
    assert "loss: EUR 8\u202f652 A YEAR" in page.text
    page.do("switch", ["KF1: no power", True])
    assert re.search(r"loss: EUR 15\u202f\d{3} A YEAR .*EUR 8\u202f652 when healthy", page.text)
    page.do("switch", ["KF2: no power", True])
    assert "MONEY RUNS NOW" in page.text and "EUR 20\u202f800 after 40 min" in page.text


def test_a_cell_that_runs_again_closes_the_panel_of_its_former_run(monkeypatch):
    runs = iter([("cell", "1"), ("cell", "1"), ("other", "2"), ("cell", "3")])
    monkeypatch.setattr(frame, "running_cell", lambda: next(runs))
    monkeypatch.setattr(frame.Shown, "_of_cells", {})
    first, second, other = plant_panel(), drill_panel("10-drill"), plant_panel()
    assert first.comm is not None and second.comm is not None
    held = [second, *second.children, second.layout, second.check_box]
    third = plant_panel()
    assert first.comm is None and first.layout.comm is None and first.page == ""
    assert all(each.comm is None for each in held)
    assert other.comm is not None and third.comm is not None
    other.close()
    third.close()


ENTRIES = (
    (first_failures_panel, "Years since the common start", "a number from 0 to 20", "12.3",
     {"2.7": 2.7, "2,7": 2.7, "1e1": 10.0, "two": 2.0, "half": 0.5, "18 months": 1.5, "5 a": 5.0, "1/4": 0.25},
     ("-1", "", "20.1", "1,000", "soon", "1e999", "3 beats", "5 %", "2 to 3", "5 or 6")),
    (limits_panel, "Years watched", "a whole number from 1 to 50", "12",
     {"7": 7, "5.0": 5, "1e1": 10, "5 a": 5, "36 months": 3, "twelve": 12},
     ("2.7", "2,7", "0", "-1", "", "999999", "1.000", "5 EUR", "6 months")),
    (limits_panel, "Failures", "a whole number from 0 to 30", "3", {"0": 0, "7 failures": 7, "no": 0},
     ("2.7", "31", "-1", "5 a", "5 %")),
    (time_out_panel, "Beats missed in a row", "a whole number from 1 to 8", "4",
     {"8": 8, "5 beats": 5}, ("2.7", "9", "-1", "", "150 ms")),
    (proof_test_panel, "Weeks from test to test", "a whole number from 1 to 520", "52",
     {"520": 520, "26 weeks": 26, "14 days": 2}, ("2.7", "1,5", "521", "-1", "", "13 months", "1/week")),
    (hold_panel, "Hold time of the racks in ms", "a whole number from 80 to 1\u202f000", "90",
     {"1 000": 1000, "1\u202f000": 1000, "1e3": 1000, "85": 85, "250 ms": 250, "0.85 s": 850},
     ("79", "0.25", "0.001 s", "99.5", "-1", "1001", "")),
    (two_states_panel, "MTTR [h]", "a number from 0.5 to 100", "9",
     {"45 min": 0.75, "1 d": 24.0, "1 h 30 min": 1.5}, ("0.1", "20 min", "5 %", "two months")),
    (two_states_panel, "MTBF [h]", "a number from 1 to 100\u202f000", "355",
     {"2.7": 2.7, "1,5": 1.5, "12345.6": 12345.6, "5 a": 43800.0, "2 weeks": 336.0}, ("0.5", "-1", "", "999999", "1,000")),
)


def entry_and_slider(panel, about):
    """Return the entry of this name and the slider beside it."""
    rows = [panel]
    for row in rows:
        rows += [each for each in row.children if hasattr(each, "children")]
        if about in [getattr(each, "tooltip", "") for each in row.children]:
            return sorted(row.children, key=lambda each: not isinstance(each, widgets.Text))[:2]
    raise LookupError(about)


@pytest.mark.parametrize("make, about, rule, moved, good, bad", ENTRIES, ids=[str(e[1]) for e in ENTRIES])
def test_an_entry_takes_the_number_that_was_typed_or_says_its_rule(make, about, rule, moved, good, bad):
    panel = make()
    entry, slider = entry_and_slider(panel, about)
    slider.value = float(moved)
    assert entry.value == moved and panel.problem is None
    for typed, meant in good.items():
        entry.value = typed
        assert slider.value == meant and panel.problem is None and entry.value == typed, typed
    entry.value = str(int(slider.min + 2))
    before = entry.value, slider.value, panel.text()
    for typed in bad:
        entry.value = typed
        assert (entry.value, slider.value, panel.text()) == before, typed
        told = f"{typed!r} can be 1 or 1000" if typed in ("1,000", "1.000") else (
            f"{about} must be {rule}, got {typed!r}")
        assert told == str(panel.problem) and told in unescape(panel._message.value)
        assert 'role="alert"' in panel._message.value
    slider.value = float(moved)
    assert panel.problem is None and not panel._message.value


@pytest.mark.parametrize("times", [{"mtbf_h": 0.5}, {"mtbf_h": 1e6}, {"mttr_h": 0.4}, {"mttr_h": 200}])
def test_times_beyond_the_sliders_are_refused_by_name(times):
    with pytest.raises(ValueError, match=f"^{next(iter(times))} must be from"):
        two_states_panel(**times)
