"""The picture of the plant shows the state that the models hold, by shape and word."""

import re
import xml.etree.ElementTree as ET

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import lamps_of
from labkit.switchover.roles import Outputs, Role
from lessons.pictures import boards
from lessons.pictures.layout import layout_of
from lessons.pictures.plant_picture import Trouble, plant_alt_text, plant_svg, troubles_of
from tests.test_layout import plant_of

SVG = "{http://www.w3.org/2000/svg}"
PLANT = load_plant()


def after(*faults, wait_ms=3000):
    """Return the state some time after these faults were switched on."""
    pair = Switchover(PLANT)
    pair.run_for(2000)
    for fault in faults:
        pair.switch_on(fault)
    pair.run_for(wait_ms)
    return pair.snapshot()


def texts(svg):
    return [node.text for node in ET.fromstring(svg).iter(f"{SVG}text")]


def strands(svg, kind):
    """Return how many wires of a kind are drawn."""
    return len(re.findall(f'<path d="[^"]+" class="{kind}"/>', svg))


def lit(svg, colour):
    return len(re.findall(f'class="o?{colour}(?: lk-flash)?"', svg))


def test_healthy_plant_names_every_part_and_shows_no_mark():
    svg = plant_svg(PLANT, after())
    said = " ".join(texts(svg))
    assert all(name in said for name in PLANT.parts)
    assert "ACTIVE" in texts(svg) and "STANDBY" in texts(svg)
    assert strands(svg, "mark") == 0 and 'class="tag"' not in svg
    assert strands(svg, "dead") == 0


def test_strands_follow_the_writer():
    before, later = plant_svg(PLANT, after()), plant_svg(PLANT, after("KF1: no power"))
    # Three strands of the writer and the sync cable are thick; the partner's three are thin.
    assert strands(before, "wire") == 4 and strands(before, "idle") == 3 + 3
    # Without its supply nothing passes on the strands of the first unit, nor on the sync cable.
    assert strands(later, "wire") == 3 and strands(later, "dead") == 3 + 1


def test_lamps_are_those_of_the_lamp_set():
    snapshot = after("KF1: no power")
    svg = plant_svg(PLANT, snapshot, still=True)
    said = texts(svg)
    for shown in lamps_of(snapshot):
        assert shown.name in said
    yellow = [shown for shown in lamps_of(snapshot) if shown.lit and shown.colour == "yellow"]
    assert lit(svg, "yellow") == len(yellow) == 3 + 1 + 1  # three links, ALONE, PLANT
    # Beside its lamps a picture has one green bar on the leader and one for each written rack.
    green = [shown for shown in lamps_of(snapshot) if shown.lit and shown.colour == "green"]
    assert lit(svg, "green") == len(green) + 1 + 3


@pytest.mark.parametrize("fault", faults_of(PLANT).values(), ids=lambda fault: fault.id)
def test_every_fault_that_breaks_something_is_marked_by_cross_and_word(fault):
    svg = plant_svg(PLANT, after(fault.id))
    crosses = strands(svg, "mark") + strands(svg, "tx")
    if fault.breaks:
        assert crosses >= len(fault.breaks)
        word = fault.how.split()[0]
        assert any(word in each or each in fault.breaks for each in texts(svg)), word
    tree = ET.fromstring(svg)
    assert fault.id in tree.get("aria-label")


def test_what_is_only_disturbed_is_no_cross():
    svg = plant_svg(PLANT, after("WF9: noise", "KF2: restarted", "GB1: voltage dip"))
    assert strands(svg, "mark") == strands(svg, "tx") == 0
    assert svg.count('class="tag mild"') == svg.count('class="warn"') == 3
    faults = faults_of(PLANT)
    both = troubles_of([faults["KF1: restarted"], faults["KF1: no power"]])
    assert both == {"KF1": Trouble("restarted, no power", True)}


def test_without_marks_the_picture_does_not_tell_the_fault():
    healthy, frozen = after(), after("KF2: frozen")
    hidden = plant_svg(PLANT, frozen, marks=False)
    assert hidden == plant_svg(PLANT, healthy, marks=False)
    assert "frozen" not in hidden
    assert plant_svg(PLANT, frozen) != hidden


def test_outputs_are_said_in_words_and_shapes():
    assert texts(plant_svg(PLANT, after())).count("outputs written") == 3
    dead = plant_svg(PLANT, after("KF10: module fault"))
    assert any("fail state" in each for each in texts(dead))
    assert lit(dead, "red") >= 1
    gap = after("KF1: no power", wait_ms=100)
    assert set(gap.outputs.values()) == {Outputs.HELD}
    assert texts(plant_svg(PLANT, gap)).count("outputs held") == 3


def test_two_writers_are_shown():
    both = after("settings: racks not asked", "WF9: cut")
    assert list(both.roles.values()) == [Role.ACTIVE, Role.ACTIVE]
    svg = plant_svg(PLANT, both)
    assert both.writes_fight and texts(svg).count("two writers") == 3
    assert texts(svg).count("ACTIVE") == 2 + 2  # role and lamp of each


def test_flashing_can_be_written():
    loading = after("KF2: restarted", wait_ms=3000)
    assert loading.roles["KF2"] is Role.LOADING
    moving = plant_svg(PLANT, loading)
    written = plant_svg(PLANT, loading, still=True)
    assert moving.count("lk-flash") == 1 and "lk-still" not in moving
    assert "lk-still" in written and "flashing" in texts(written)


def test_next_failures_are_marked():
    weak = ["TB1", "KF10", "BL1", "KF10A", "WF1.10", "WF3"]
    plain, marked = plant_svg(PLANT, after()), plant_svg(PLANT, after(), weak=weak)
    assert lit(marked, "yellow") - lit(plain, "yellow") == len(weak)
    broken = plant_svg(PLANT, after("BL1: dead"), weak=["BL1"])
    assert lit(broken, "yellow") == lit(plant_svg(PLANT, after("BL1: dead")), "yellow")


def test_alternative_text_keeps_to_sixty_words():
    crowd = after(*[name for name in faults_of(PLANT) if "cut" in name or "dead" in name])
    assert len(plant_alt_text(PLANT, crowd).split()) <= 60
    assert "Nobody writes" in plant_alt_text(PLANT, crowd)
    assert "KF2 active" in plant_alt_text(PLANT, after("KF1: no power"))


@pytest.mark.parametrize("racks", [1, 2, 4, 9])
@pytest.mark.parametrize("units", [1, 2])
def test_plants_of_other_sizes_are_drawn(units, racks):
    plant = plant_of(units, racks, loose=2)
    svg = plant_svg(plant, Switchover(plant).snapshot())
    assert set(plant.racks) | set(plant.controllers) <= set(texts(svg))
    assert strands(svg, "halo") == units * racks


def test_layout_and_faults_may_be_handed_over():
    snapshot = after("WF2.20: cut")
    assert plant_svg(PLANT, snapshot) == plant_svg(
        PLANT, snapshot, layout=layout_of(PLANT), faults=faults_of(PLANT))


def test_standing_alone_it_carries_its_style():
    svg = plant_svg(PLANT, after(), standalone=True)
    tree = ET.fromstring(svg)
    assert tree.find(f"{SVG}style") is not None and tree.get("width")
    assert "<style>" not in plant_svg(PLANT, after())


def test_shared_event_marks_all_that_it_breaks():
    cut = Trouble("cut", True)
    assert troubles_of([faults_of(PLANT)["WF1+WF2: cut"]]) == {"WF1.10": cut, "WF2.10": cut}
    assert strands(plant_svg(PLANT, after("WF1+WF2: cut")), "mark") == 2


# ---------------------------------------------------------------- what is written around it


def rig_after(*faults, wait_s=3.0):
    rig = Rig()
    rig.wait(2)
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(wait_s)
    return rig


@pytest.mark.parametrize(
    ("faults", "level"),
    [
        ((), "normal"),
        (("KF1: no power",), "abnormal"),
        (("KF2: own fault",), "abnormal"),
        (("WF9: cut",), "abnormal"),
        (("TF1: no power",), "abnormal"),
        (("KF1: frozen",), "lost"),
        (("TB1: off",), "lost"),
        (("KF10: module fault",), "lost"),
        (("settings: racks not asked", "WF9: cut"), "lost"),
        # A frozen standby shows nothing, but it is switched on here and the plant counts it.
        (("KF2: frozen",), "abnormal"),
    ],
)
def test_headline_judges_for_the_plant(faults, level):
    view = rig_after(*faults).view()
    assert view.level == level
    said = boards.headline_html(boards.verdict_of(view), view.snapshot.time_ms)
    assert level.upper() in said


def test_gap_is_that_at_the_terminals():
    rig = rig_after("KF1: no power")
    # Budget of the lessons' settings: 175 to 285 ms.
    gap_ms = int(re.search(r"(\d+) ms", boards.gap_words(rig.record, 5000)).group(1))
    assert 175 <= gap_ms <= 285
    unwritten = [e for e in rig.record if e.what == "outputs" and e.who == "KF10"]
    assert gap_ms == unwritten[1].time_ms - unwritten[0].time_ms
    lost = rig_after("TB1: off")
    assert boards.gap_words(lost.record, 5000) == "outputs unwritten for 3000 ms"
    assert boards.gap_words([], 5000) == ""


def test_cards_give_the_numbers_of_the_plant():
    view = rig_after("KF1: no power").view()
    state = PLANT.state({"KF1"})
    html = boards.cards_html(view)
    here = 8760 * state.failures_per_h["control kept"]
    healthy = 8760 * state.healthy_failures_per_h["control kept"]
    assert f"{here:.2g} outages a year from here, {healthy:.2g} when healthy" in html
    assert all(name in html for name in state.next_failures["control kept"])
    lost = boards.cards_of(rig_after("TB1: off").view())
    assert lost[0].level == "lost" and lost[0].heading == "control kept: LOST"


def test_card_of_the_process_says_what_it_cost():
    view = rig_after("TB1: off", wait_s=60).view()
    assert view.event_cost > 0
    assert boards.cards_of(view)[-1].heading == "process: EUR 11\u202f000 LOST"
    assert boards.cards_of(view)[-1].level == "lost"


def test_record_is_a_table_latest_first():
    record = rig_after("KF1: no power").record
    html = boards.record_html(record, most=1000)
    assert html.count("<tr>") == len(record) + 1
    times = [float(each) for each in re.findall(r"<tr><td>([0-9.]+)</td>", html)]
    assert times == sorted(times, reverse=True) and times[0] == record[-1].time_ms / 1000
    short = boards.record_html(record, most=5)
    assert f"and {len(record) - 5} earlier ones" in short and short.count("<tr>") == 5 + 2


def test_nothing_in_the_record_is_taken_for_markup():
    entry = type(rig_after("KF1: no power").record[0])(1, "<b>", "a & b", "<", ">", '"')
    html = boards.record_html([entry])
    assert "&lt;b&gt;" in html and "a &amp; b" in html


@pytest.mark.parametrize("words", ["0.999 s", "119.999 s", "2 min 00.000 s"])
def test_clock(words):
    time_ms = {"0.999 s": 999, "119.999 s": 119_999, "2 min 00.000 s": 120_000}[words]
    assert boards.clock_words(time_ms) == words


def test_a_plant_without_a_process_has_no_card_for_it():
    plant = plant_of(2, 1)
    assert not any("process" in card.heading for card in boards.cards_of(Rig(plant).view()))


def test_the_worst_stands_first_and_a_flooding_hall_is_not_normal():
    flooding = boards.verdict_of(rig_after("QM1: shut locally", wait_s=30).view())
    assert flooding.level == "abnormal" and flooding.sentence == "Level high; tank overflows."
    lost = boards.verdict_of(rig_after("KF1: frozen", wait_s=30).view())
    assert lost.level == "lost" and lost.sentence.startswith("Control lost at KF10")
    assert "KF1 leads; KF2 stands by, ready." in lost.more
