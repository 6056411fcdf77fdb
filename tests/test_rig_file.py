"""The rig in one file and the lecture: their tables, their pages, and the command line."""

import json
import re
import socket
import struct
import zlib
from base64 import b64decode
from contextlib import contextmanager
from http.server import ThreadingHTTPServer
from threading import Thread

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig
from labkit.rig.settled import come_to_rest, state_key, ways_from
from labkit.rig.stories import find_stories
from lessons.__main__ import main
from lessons.desk.lecture import STORIES, Lecture, _handler
from lessons.panels.plant_panel import plant_panel
from lessons.panels.rig_file import rig_file_html, story_words
from lessons.panels.rig_table import Sight, _digest, _Finder, rig_table
from lessons.pictures.layout import WIDTHS
from tests.browser import chromium, find_browser
from tests.rig_walks import pages, walks
from tests.test_layout import large
from tests.test_settled import rig_after

AMONG = ("KF1: no power", "WF9: cut", "KF10: module fault")


@pytest.fixture(scope="module")
def plant():
    return load_plant()


@pytest.fixture(scope="module")
def table(plant):
    return rig_table(plant, among=AMONG, processes=1)


@pytest.fixture(scope="module")
def page(plant, table):
    return rig_file_html(plant, table)


def way(table, state, act):
    return next(each for each in table["states"][state][1:] if each[0] == act)


def seen(table, sight):
    values = dict(table["healthy"])
    for number in sight:
        pairs = iter(table["sets"][number])
        values |= {table["slots"][slot]: table["words"][next(pairs)] for slot in pairs}
    return values


def test_a_table_is_closed_and_holds_each_act_of_each_state(table):
    faults = len(table["faults"])
    for on, *ways in table["states"]:
        acts = [each[0] for each in ways]
        # each that is not on, each that is on, the switchover, and all off where there are two
        assert len(acts) == len(set(acts)) == (
            (faults - len(on)) * (len(on) < 2) + len(on) + 1 + (len(on) == 2))
        for act, target, *_ in ways:
            there = set(table["states"][target][0])
            expected = (set(on) | {act} if act < faults else set(on) - {act - faults}
                        if act < 2 * faults else set(on) if act == 2 * faults else set())
            assert there == expected


def test_what_a_file_holds_is_the_picture_of_each_width_of_the_panel(plant):
    """Put together as `rig_file.js` does: what has a width before its name comes after the rest."""
    sight = Sight(plant)
    assert [*sight.pictures] == plant_panel(plant=plant).widths == [*WIDTHS]
    for fault in ("KF1: no power", "WF9: cut", "TB1: off", "WF1.20: cut", "BL1: stuck", "KF20: module fault"):
        rig = Rig(plant)
        before = rig.view()
        rig.switch_on(fault)
        rig.wait(60.0)
        held = dict(sight.healthy)
        for values in sight.values(before, rig.view()):
            held |= values
        for width, picture in sight.pictures.items():
            own = f"{width:g} "
            here = {key.removeprefix(own): value for key, value in held.items()
                    if not key[0].isdigit() or key.startswith(own)}
            drawn = picture.plant.values(rig.snapshot(), still=True) | picture.level(rig.view())
            assert {key: here[key] for key in drawn} == drawn, (fault, width)


def test_a_path_gone_anew_ends_where_it_ended_when_it_was_found(plant):
    """Else the search for what it leads to has no end: chance reads the clock of a noisy cable."""
    path = [("on", "KF1: no power"), ("on", "WF9: noise"), ("off", "KF1: no power"),
            ("on", "WF9: gaps of beats"), ("off", "WF9: gaps of beats"), ("on", "TF1: no power"),
            ("off", "TF1: no power"), ("on", "KF1: frozen")]
    finder = _Finder(plant, 2, ["KF1: frozen"])
    rig = finder.start
    for act in path:
        (way,) = ways_from(rig, [act], plant)
        rig = way.rig
        last = rig.copy()
        come_to_rest(rig)
    (first, *_) = finder.find(path).ways
    assert first == _digest(state_key(last))


def test_what_a_way_shows_is_what_the_engine_shows(plant, table):
    number = {each["id"]: i for i, each in enumerate(table["faults"])}
    _, target, sight, rows = way(table, 0, number["KF1: no power"])
    values = seen(table, sight)
    rig = Rig(plant)
    rig_after(rig, [("on", "KF1: no power")])
    assert values["head.1"] == dict(rig.view().lines)["Roles"] == "KF2 leads alone; KF1 is off."
    assert (values["KF1.role"], values["KF2.role"]) == ("OFF", "ACTIVE")
    assert "outputs held 234 ms" in values["act"]
    assert "KF1: no power" in table["rows"][rows[-1]]
    assert "head.time" not in values and table["states"][target][0] == [number["KF1: no power"]]


def test_a_fault_that_the_plant_does_not_have_is_named(plant):
    with pytest.raises(ValueError, match=r"fault must be one of the plant's, got 'KF1: no powe'.*"
                       r"did you mean KF1: no power"):
        rig_table(plant, among=["KF1: no powe"])


def test_the_page_needs_nothing_else_and_holds_the_front_end_once(page):
    assert not re.search(r"""(src|href)=["']|@import|https?://(?!www\.w3\.org)""", page)
    assert page.count("function render({ model, el })") == 1
    assert page.count("</script>") == 2 and page.count("</style>") == 1
    data = re.search(r'id="data">([A-Za-z0-9+/=]+)</script>', page)
    assert json.loads(zlib.decompress(b64decode(data[1])))["panel"]["faults_here"]


def test_a_name_that_looks_like_a_script_stays_a_name(plant, table):
    from dataclasses import replace

    odd = replace(plant, name="</script><b>&")
    html = rig_file_html(odd, table)
    assert "<title>&lt;/script&gt;&lt;b&gt;&amp;, V1</title>" in html
    assert html.count("</script>") == 2


def test_each_act_has_one_short_word(plant):
    words = story_words({name: each.label for name, each in Rig(plant).known_faults.items()})
    short = [word for word, _ in words.values()]
    assert len(set(map(str.lower, short))) == len(short) == 2 * 93 + 2
    assert not any(re.search(r"[\s;#]", word) for word in short)


# ------------------------------------------------------------ in a browser

needs_browser = pytest.mark.skipif(
    find_browser() is None, reason="no Chromium found: WORKBOOK_BROWSER names one")


@needs_browser
def test_random_ways_in_the_page_are_those_of_the_engine(plant, table):
    assert walks(plant, table, 10, seed=3, among=AMONG, acts=4) == []


@needs_browser
def test_a_story_opens_from_the_address_and_a_third_fault_is_refused(page, tmp_path):
    file = tmp_path / "rig.html"
    file.write_text(page, encoding="utf-8")
    with pages(file, (1000, 700), (390, 844)) as (window, phone):
        assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
        window.goto(f"{file.as_uri()}#kf1:no power;WF9:cut")
        window.reload()
        window.wait_for_selector(".lk-acts option")
        options = window.eval_on_selector_all(".lk-acts option", "all => all.map(e => e.text)")
        assert [each.partition(". ")[0] for each in options] == ["0", "1", "2"]
        assert window.text_content("[data-s='head.1']") == "KF2 leads alone; KF1 is off."
        window.click("[data-do=back]")
        window.click("[data-do=back]")
        assert window.text_content("[data-s='head.1']") == "KF1 leads; KF2 stands by, ready."
        window.select_option("select[data-do=go_to]", index=2)
        window.fill("[data-find]", "KF10 module")
        window.click("[data-fault='KF10: module fault']")
        assert "up to 2 faults at once: " in window.text_content("[data-s=wrong]")
        assert window.evaluate("decodeURI(location.hash)") == "#KF1:no_power;WF9:cut"
        window.click("[data-drawer=stories]")
        window.fill("[data-story-line]", "KF1:no_power;nonsense")
        window.click("[data-do=open_story]")
        assert 'No act is called "nonsense"' in window.text_content("[data-s=wrong]")
        assert not window.problems


# ------------------------------------------------------------ commands

@needs_browser
def test_on_a_phone_what_to_do_and_what_can_fail_is_seen_without_scrolling(page, tmp_path):
    file = tmp_path / "rig.html"
    file.write_text(page, encoding="utf-8")
    with chromium() as browser:
        phone = browser.new_page(viewport={"width": 390, "height": 844}, has_touch=True)
        phone.goto(file.as_uri())
        hint, picture = (phone.locator(each) for each in ("[data-s=act]", ".lk-picture"))
        assert "Click, tap or press Enter on a part" in hint.inner_text()
        box = hint.bounding_box()
        assert box["y"] + box["height"] <= picture.bounding_box()["y"] <= 400
        phone.locator("[data-part=KF1] > :first-child").tap()
        listed = phone.locator(".lk-pop")
        assert listed.evaluate("list => [list.scrollHeight - list.clientHeight, "
                               "list.getBoundingClientRect().bottom <= innerHeight]") == [0, True]
        listed.get_by_text("no power").tap()
        phone.get_by_text("KF2 leads alone; KF1 is off.").wait_for()
        assert hint.is_visible() and "KF2 took over" in hint.inner_text()
        phone.close()


def test_a_page_that_is_there_is_not_written_over(tmp_path, capsys):
    file = tmp_path / "rig.html"
    file.write_text("mine")
    assert main(["rig", "--out", str(file)]) == 2
    assert file.read_text() == "mine" and "is there already" in capsys.readouterr().err


def test_the_command_writes_a_page_and_tells_its_size(tmp_path, capsys):
    file = tmp_path / "rig.html"
    assert main(["rig", "mirelow", "--out", str(file), "--faults", "0"]) == 0
    said = capsys.readouterr().out
    assert "rig.html" in said and "states" in said and file.stat().st_size < 5e6


@pytest.mark.parametrize("lesson", STORIES)
def test_a_lecture_shows_what_each_act_of_its_story_did(plant, lesson):
    lecture = Lecture(lesson)
    assert STORIES[lesson] in [story.name for story in find_stories(plant)[0]]
    (answer,) = [each for each in lecture.answer({"do": "next_act"}) if "=position" in each["slots"]]
    assert answer["slots"]["=position"] == "1"
    assert re.match(r"(\d\.\d{3} s: KF2 took over|KF. (still )?leads|KF1 and KF2 lead)", answer["slots"]["act"])
    assert "lk-projector" in lecture.panel.look


# Nothing is answered before the keys are down: the slowest program that one may meet.
FETCH = """const down = new Promise((go) => { window.answerNow = go; });
window.unanswered = 0;
window.fetch = async (_, {body}) => {
    window.unanswered += 1;
    await down;
    const said = await window.asked(body);
    window.unanswered -= 1;
    return {json: async () => JSON.parse(said)};
}"""


@contextmanager
def wall_of(lesson, folder, width, height):
    """Open a lecture in a window of some size; it is answered from `answerNow()` on."""
    lecture, file = Lecture(lesson), folder / "lecture.html"
    file.write_text(lecture.page(), encoding="utf-8")
    with chromium() as browser:
        page = browser.new_page(viewport={"width": width, "height": height})
        page.expose_function("asked", lambda body: json.dumps(lecture.answer(json.loads(body))))
        page.add_init_script(FETCH)
        page.goto(file.as_uri())
        yield page
        page.close()


# A wall, a wall in a window, two laptops, what most projectors take, and a school laptop's window.
WALLS = [(1920, 1080), (1920, 950), (1536, 730), (1366, 768), (1280, 720), (1366, 650)]


@needs_browser
@pytest.mark.parametrize(("width", "height"), WALLS)
def test_no_act_of_the_longest_story_needs_scrolling(width, height, tmp_path):
    with wall_of("08", tmp_path, width, height) as page:
        page.evaluate("answerNow()")
        acts = page.locator("select[data-do=go_to] option").count()
        for act in range(acts):
            page.wait_for_function("unanswered === 0")
            if act:
                page.get_by_role("button", name="Next act").click()
                page.wait_for_function(
                    f"document.querySelector('select[data-do=go_to]').selectedIndex === {act}")
                page.wait_for_function("unanswered === 0")
            assert page.evaluate("[document.documentElement.scrollHeight - innerHeight, "
                                 "document.documentElement.scrollWidth - innerWidth]") == [0, 0], act
        # The reasons of the whole record stand there too where they have room.
        assert page.locator("[data-in=record]").is_visible() == (height == 1080)
        # It opens elsewhere as well, and can be read then.
        if height < 1080:
            page.get_by_role("button", name="Whole record").click()
        assert page.locator(".lk-scroll").bounding_box()["height"] >= 100


@needs_browser
def test_a_low_wall_shows_the_rig_on_one_screen_and_loses_no_key(tmp_path):
    with wall_of("04", tmp_path, 1366, 768) as page:
        acts = page.get_by_label("Acts").first
        acts.focus()
        for key in ("ArrowDown", "ArrowDown", "ArrowUp", "ArrowDown", "ArrowUp"):
            page.keyboard.press(key)
        page.evaluate("answerNow()")
        # The next question follows an answer at once, so between two frames none is left.
        page.wait_for_function("unanswered === 0")
        assert page.locator("[data-s='head.1']").inner_text() == "KF2 leads alone; KF1 is off."
        assert acts.evaluate("list => list.selectedIndex") == 1
        for place in ("[data-part=KF30]", "[data-s='lv.now']", "[data-s='f1']", "[data-s=r3]",
                      "[data-slow]"):
            box = page.locator(f".lk-rig {place}").bounding_box()
            assert box["y"] + box["height"] <= 768, place
        # At a width between, larger things would push the last rack off the screen.
        page.set_viewport_size({"width": 1600, "height": 900})
        page.wait_for_function(
            "document.querySelector('[data-part=KF30]').getBoundingClientRect().bottom <= 900")
        # In a narrow list an act goes on in the next line.
        page.set_viewport_size({"width": 980, "height": 640})
        assert acts.evaluate("list => list.scrollWidth <= list.clientWidth")


def test_slow_motion_goes_through_an_act_of_a_story():
    lecture = Lecture("04")
    lecture.answer({"do": "next_act"})
    frames = lecture.answer({"do": "frames"})[0]["frames"]
    # 229 ms after the cut KF2 leads, as the sentence of the act says
    assert 229 in frames["at"] and "KF2 role" in frames["words"][frames["at"].index(229)]


def test_what_is_no_message_is_refused_and_the_lecture_goes_on(capsys):
    class Echo:
        def page(self):
            return "page" * 1_000_000

        def answer(self, message):
            return [message]

    def sent(text, length=None):
        with socket.create_connection(server.server_address, timeout=30) as line:
            head = f"POST /x HTTP/1.0\r\nContent-Length: {len(text) if length is None else length}"
            line.sendall(f"{head}\r\n\r\n{text}".encode())
            return line.makefile("rb").read().split(b"\r\n")[0]

    with ThreadingHTTPServer(("127.0.0.1", 0), _handler(Echo(), "/x")) as server:
        server.daemon_threads = True
        thread = Thread(target=server.serve_forever)
        thread.start()
        for text in ("", "{", "[]", "null", "{}", "[" * 90_000):
            assert b" 400 " in sent(text), text[:9]
        assert all(b" 400 " in sent('{"do": 1}', length) for length in ("x", "-1", "9" * 5000, ""))
        # Who holds the line, and who leaves before the page is there, stop nobody.
        with socket.create_connection(server.server_address) as holding:
            holding.sendall(b"POST /x HTTP/1.0\r\nContent-Length: 9\r\n\r\n")
            with socket.create_connection(server.server_address) as leaving:
                leaving.sendall(b"GET /x HTTP/1.0\r\n\r\n")
                leaving.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            assert b" 200 " in sent('{"do": 1}')
        server.shutdown()
        thread.join()
    assert capsys.readouterr().err == ""


def test_a_lesson_without_a_story_names_those_that_have_one(capsys):
    for lesson in ("03", "11"):
        assert main(["lecture", lesson]) == 2
        assert f"10 and 12, got '{lesson}': a " in capsys.readouterr().err


@needs_browser
def test_a_room_of_a_large_plant_opens_by_keys_and_says_what_is_wrong_inside(tmp_path):
    plant = large()
    table = rig_table(plant, most_faults=1, among=("BL100: dead",), processes=1)
    (tmp_path / "rig.html").write_text(rig_file_html(plant, table), encoding="utf-8")
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        errors = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto((tmp_path / "rig.html").as_uri())
        room = page.locator("[data-part='KF100 room']")

        def focused():
            return page.evaluate("document.activeElement.closest('[data-part]')?.dataset.part")

        # What is in a room is out of reach until it is opened.
        assert page.get_by_role("button", name="BL100 sensor").count() == 0
        room.focus()
        for key, part in (("Enter", "KF100"), ("ArrowRight", "KF100A"), ("End", "BQ100"),
                          ("Escape", "KF100 room"), ("ArrowLeft", "KF30 room"),
                          ("ArrowRight", "KF100 room"), ("Enter", "KF100"), ("End", "BQ100"),
                          ("Home", "KF100"), ("ArrowRight", "KF100A"), ("ArrowRight", "KF100B"),
                          ("ArrowRight", "BL100")):
            page.keyboard.press(key)
            assert focused() == part, key
        page.keyboard.press("Enter")
        page.locator(".lk-pop input").press("Space")
        page.wait_for_function("document.querySelector('[data-s=\"KF100 room.mt\"]').textContent")
        assert room.get_attribute("aria-label") == (
            "Room of rack KF100, house 1, 7 parts: outputs written, BL100, dead")
        assert page.locator("[data-s='KF100 room.mt']").text_content() == "BL100, dead"
        # A click beside it shuts it, and the Tab key finds the room again.
        page.locator("[data-part=KF1] > :first-child").click()
        page.keyboard.press("Escape")
        page.locator(".lk-picture .lk-svg").click(position={"x": 3, "y": 200})
        assert not page.locator("[data-part=BL100]").is_visible()
        assert page.locator("[data-part][tabindex='0']").count() == 1
        assert errors == []
        page.close()
