"""The picture of the plant shows the state that the models hold, by shape and word."""

import re
import xml.etree.ElementTree as ET

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.acts import rows_of
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Entry, Outputs, Role
from lessons.panels.rig_page import page_values, record_rows_html
from lessons.pictures import boards
from lessons.pictures.layout import NARROW, WIDE
from lessons.pictures.plant_picture import (
    PlantPicture,
    Trouble,
    plant_alt_text,
    plant_svg,
    troubles_of,
)
from lessons.pictures.slots import changed, filled, group, slot
from lessons.pictures.svg import document, shape
from tests.test_layout import PLANTS, every_plant, every_width, overlap, plant_of, words_of

SVG = "{http://www.w3.org/2000/svg}"
PLANT = load_plant()
PICTURE, NARROW_PICTURE = PlantPicture(PLANT), PlantPicture(PLANT, NARROW)


def after(*faults, wait_ms=3000):
    """Return the state some time after these faults were switched on."""
    pair = Switchover(PLANT)
    pair.run_for(2000)
    for fault in faults:
        pair.switch_on(fault)
    pair.run_for(wait_ms)
    return pair.snapshot()


def texts(svg):
    return [node.text for node in ET.fromstring(svg).iter(f"{SVG}text") if node.text]


def cables(snapshot):
    """Return how each cable is drawn, by its name."""
    values = PICTURE.values(snapshot)
    return {cable.name: values[f"~{i}@"]
            for i, cable in enumerate(PICTURE.layout.cables) if cable.kind != "feed"}


def test_slots_are_filled_by_name_and_nothing_is_taken_for_markup():
    made = group("part", slot("text", "a.t", "old", x=1) + slot("path", "a.s", d="M0"), class_="q")
    assert filled(made, {}) == made
    given = {"a.t": "<b> & more", "a.s@d": "M1", "part@": 'x"', "part@aria-label": "é"}
    found = ET.fromstring(filled(made, given))
    assert found.get("class") == 'x"' and found.get("aria-label") == "é"
    assert found[0].text == "<b> & more" and found[0].get("x") == "1" and found[1].get("d") == "M1"
    assert changed({"a": "1", "b": "2"}, {"a": "1", "b": "1", "c": "3"}) == {"b": "1", "c": "3"}


@every_width
@every_plant
def test_every_value_has_its_slot_and_every_slot_a_name_of_its_own(plant, width):
    picture = PlantPicture(plant, width)
    names = re.findall(r' data-s="([^"]+)"', picture.template() + picture.opened)
    assert len(names) == len(set(names))
    pair = Switchover(plant)
    for fault in faults_of(plant):
        pair.switch_on(fault)
    values = picture.values(pair.snapshot(), weak=plant.parts)
    assert {key.partition("@")[0] for key in values} <= set(names)


def test_template_and_values_are_the_still_picture():
    snapshot = after("KF1: no power")
    svg = plant_svg(PLANT, snapshot, width=WIDE)
    picture = PlantPicture(PLANT, WIDE, process=False)
    assert filled(picture.template(), picture.still_values(snapshot)) in svg


def test_a_still_draws_a_setting_where_it_has_a_fault_and_not_before():
    def hidden(svg):
        return set(re.findall(r'class="no"[^>]* data-part="([^"]+)"', svg)) | set(
            re.findall(r'data-part="([^"]+)"[^>]* class="no"', svg))

    no_parts = {"WF1+WF2", "QM1", "settings", "test"}
    assert hidden(plant_svg(PLANT, after())) == no_parts
    assert hidden(plant_svg(PLANT, after("settings: racks not asked"))) == no_parts - {"settings"}


def test_healthy_plant_names_every_part_and_shows_no_mark():
    svg = plant_svg(PLANT, after())
    said = " ".join(texts(svg))
    assert all(name in said for name in PLANT.parts)
    assert "ACTIVE" in texts(svg) and "STANDBY" in texts(svg)
    assert " bad" not in svg and "dead" not in cables(after()).values()


def test_cables_follow_the_writer():
    before, later = cables(after()), cables(after("KF1: no power"))
    assert {name for name, kind in before.items() if kind == "wire"} == {
        "WF9", "WF1.10", "WF1.20", "WF1.30"}
    # Without its supply nothing passes on the links of the first unit, nor on the sync cable.
    assert {name for name, kind in later.items() if kind == "dead"} == {
        "WF9", "WF1.10", "WF1.20", "WF1.30"}
    assert {name for name, kind in later.items() if kind == "wire"} == {
        "WF2.10", "WF2.20", "WF2.30"}


def test_a_cable_of_a_ring_is_live_while_any_way_through_it_is():
    plant = PLANTS["a ring of four switches"]
    picture, pair = PlantPicture(plant), Switchover(plant)

    def kinds():
        values = picture.values(pair.snapshot())
        return {cable.name: values[f"~{i}@"]
                for i, cable in enumerate(picture.layout.cables) if cable.kind == "link"}

    assert set(kinds().values()) == {"wire", "idle"} and kinds()["WF20"] == "wire"
    pair.switch_on("WF20: cut")
    pair.run_for(3000)
    dead = [name for name, kind in kinds().items() if kind == "dead"]
    assert dead == ["WF20"]


@pytest.mark.parametrize("faults", [(), ("KF1: no power",), ("KF2: restarted",),
                                    ("TF1: no power",), ("PH1: dark",), ("KF10: module fault",)])
def test_lamps_are_those_of_the_lamp_set(faults):
    snapshot = after(*faults)
    values = PICTURE.values(snapshot, still=True)
    numbers = {}
    for each in lamps_of(snapshot):
        number = numbers[each.unit] = numbers.get(each.unit, -1) + 1
        key = f"{each.unit}.{number}"
        kind = values[f"{key}@"].split()
        assert ("off" in kind) is (not each.lit) and (each.colour in kind or not each.lit)
        assert ("lk-flash" in kind) is each.flashing
        assert values[f"{key}.s@d"] == shape(each.shape, 0, 0, 5)
        # An unlit lamp is silent; one that is lit says its state where there is room for it.
        assert values[f"{key}.t"] == "" if not each.lit else \
            f"{each.text}, flashing".startswith(values[f"{key}.t"])
        if each.lit and each.unit not in PICTURE.layout.sockets:
            assert values[f"{key}.t"], key
            assert f"{each.name} {each.text}" in values[f"{each.unit}@data-state"]


def test_a_lamp_more_in_the_set_needs_no_change_here(monkeypatch):
    from lessons.pictures import layout, plant_picture

    def more(snapshot):
        found = []
        for each in lamps_of(snapshot):
            if each.name == "ACTIVE":
                found.append(Lamp(each.unit, "NEW LAMP", True, False, "green", "dot", "on"))
            found.append(each)
        return tuple(found)

    for place in (layout, plant_picture):
        monkeypatch.setattr(place, "lamps_of", more)
    picture = PlantPicture(PLANT)
    svg = document([filled(picture.template(), picture.values(after()))], 9, 9, "")
    assert texts(svg).count("NEW LAMP") == 2
    words = words_of(svg)
    assert not [1 for i, (_, a) in enumerate(words) for _, b in words[:i] if overlap(a, b)]


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("fault", faults_of(PLANT).values(), ids=lambda fault: fault.id)
def test_every_fault_is_marked_where_it_is_and_covers_no_name(fault, width):
    values = {WIDE: PICTURE, NARROW: NARROW_PICTURE}[width].values(after(fault.id))
    assert fault.id in plant_alt_text(PLANT, after(fault.id))
    for name in sorted(fault.breaks) or [fault.unit]:
        assert values[f"{name}@"] == ("part bad" if fault.breaks else "part mild")
        assert fault.how in values[f"{name}@data-state"]
    svg = plant_svg(PLANT, after(fault.id), width=width)
    words = words_of(svg)
    said = [each for each, _ in words]
    assert all(name in said for name in (*PLANT.parts, fault.unit))
    # What a mark takes the place of is not shown while it is there.
    hidden = set(re.findall(r'class="pq what"[^>]*>([^<]*)<', svg))
    shown = [(each, box) for each, box in words if each not in hidden]
    assert not [(a, b) for i, (a, one) in enumerate(shown) for b, other in shown[:i]
                if overlap(one, other)]


def test_what_is_only_disturbed_is_no_cross():
    svg = plant_svg(PLANT, after("WF9: noise", "KF2: restarted", "GB1: voltage dip"))
    assert 'class="part bad' not in svg and svg.count('class="part mild"') == 3
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
    assert texts(plant_svg(PLANT, after(), width=WIDE)).count("outputs written") == 3
    dead = PICTURE.values(after("KF10: module fault"))
    assert "fail state" in dead["KF10.out.t"] and dead["KF10.out@"] == "lamp red"
    gap = after("KF1: no power", wait_ms=100)
    assert set(gap.outputs.values()) == {Outputs.HELD}
    assert [PICTURE.values(gap)[f"{rack}.out.t"] for rack in PLANT.racks] == ["outputs held"] * 3


def test_two_writers_are_shown():
    both = after("settings: racks not asked", "WF9: cut")
    assert list(both.roles.values()) == [Role.ACTIVE, Role.ACTIVE]
    values = PICTURE.values(both)
    assert both.writes_fight and all(
        "two writers" in values[f"{rack}.out.t"] for rack in PLANT.racks)
    assert texts(plant_svg(PLANT, both)).count("ACTIVE") == 2 + 2  # role and lamp of each


def test_flashing_can_be_written():
    loading = after("KF2: restarted", wait_ms=3000)
    assert loading.roles["KF2"] is Role.LOADING
    moving, written = PICTURE.values(loading), PICTURE.values(loading, still=True)
    flashing = [key for key, value in moving.items() if "lk-flash" in value]
    assert len(flashing) == 1
    text = f"{flashing[0].partition('@')[0]}.t"
    assert "flashing" not in moving[text] and "flashing" in written[text]


def test_next_failures_are_framed_and_said():
    weak = ["TB1", "KF10", "BL1", "KF10A", "WF1.10", "WF3"]
    values = PICTURE.values(after("BL1: dead"), weak=weak)
    framed = {key.partition("@")[0] for key, value in values.items() if value.endswith(" weak")}
    assert framed == set(weak)
    assert all("would stop the plant next" in values[f"{name}@data-state"] for name in weak)


def test_alternative_text_keeps_to_sixty_words():
    crowd = after(*[name for name in faults_of(PLANT) if "cut" in name or "dead" in name])
    assert len(plant_alt_text(PLANT, crowd).split()) <= 60
    assert "Nobody writes" in plant_alt_text(PLANT, crowd)
    assert "KF2 active" in plant_alt_text(PLANT, after("KF1: no power"))


def test_standing_alone_it_carries_its_style():
    svg = plant_svg(PLANT, after(), standalone=True)
    tree = ET.fromstring(svg)
    assert tree.find(f"{SVG}style") is not None and tree.get("width")
    assert "<style>" not in plant_svg(PLANT, after())


def test_shared_event_marks_all_that_it_breaks():
    cut = Trouble("cut", True)
    assert troubles_of([faults_of(PLANT)["WF1+WF2: cut"]]) == {"WF1.10": cut, "WF2.10": cut}
    values = PICTURE.values(after("WF1+WF2: cut"))
    crossed = [key for key, value in values.items() if key.endswith(".x@") and value == "cut"]
    assert len(crossed) == 2


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
    assert page_values(view)["head.level"] == f"{level.upper()}."


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
    rows = rows_of(record)
    html = record_rows_html(rows)
    assert html.count("<tr") == len(rows) + 1
    times = [float(each) for each in re.findall(r"<tr[^>]*><td>([0-9.]+)</td>", html)]
    assert times == sorted(times, reverse=True) and times[0] == record[-1].time_ms / 1000


def test_nothing_in_the_record_is_taken_for_markup():
    html = record_rows_html(rows_of([Entry(1, "<b>", "a & b", "<", ">", '"')]))
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
