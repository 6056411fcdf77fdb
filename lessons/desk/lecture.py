"""The story of a lesson on a wall: the panel in a window of its own, with the engine behind it.

No notebook is needed. The page asks this process, which listens on this machine only, and under a
name that nobody else knows.
"""

import json
import re
import secrets
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Lock

from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig
from labkit.wording import listed
from lessons.panels.alone import alone_html
from lessons.panels.plant_panel import PlantPanel
from lessons.panels.story_desk import StoryDesk

STORIES = {
    "01": "One stop and its repair",
    "02": "One part after the other",
    "04": "Power cut and return",
    "05": "Sync cable cut, racks asked",
    "06": "Short hold time and the tank",
    "07": "Sync cable cut, racks not asked",
    "08": "What a pair does not survive",
    "09": "A sleeping fault and its test",
    "10": "Dark panel in the office",
    "12": "The switchover test",
}
"""The story of each lesson that has one."""

INSTEAD = {
    "03": "a chance settles there, and no rig shows one: show its panel, whose curve grows",
    "11": "a log is read there, and no rig runs: show its panel, whose limits close in",
}
"""Why a lesson has none, and what to show."""

TASK = "Before each act: what will be seen?"
_LENGTH = re.compile(r"[0-9]{1,5}")
_PATIENCE_S = 10


class _Wall(PlantPanel):
    """Keep what goes to the page, for the next answer."""

    def send(self, content: object, buffers: object = None) -> None:
        self.outbox.append(content)


class Lecture:
    """Hold the panel of a lesson's story, its page, and the answers to it.

    Raises
    ------
    ValueError
        When the lesson has no story.

    >>> lecture = Lecture("04")
    >>> lecture.answer({"do": "next_act"})[0]["slots"]["KF2.role"]
    'ACTIVE'
    """

    def __init__(self, lesson: str):
        if lesson not in STORIES:
            why = f": {INSTEAD[lesson]}" if lesson in INSTEAD else ""
            raise ValueError(f"lesson must be one that has a story, {listed([*STORIES])}, "
                             f"got {lesson!r}{why}")
        plant = load_plant()
        self.panel = _Wall(lambda: Rig(plant), task=TASK, projector=True,
                           story=StoryDesk(plant).named(STORIES[lesson]))
        self.title = f"Lesson {lesson}: {STORIES[lesson]}"

    def page(self) -> str:
        """Return the page."""
        panel = {name: getattr(self.panel, name)
                 for name in ("page", "picture", "look", "faults_here", "widths")}
        return alone_html(self.title, panel, Path(__file__).with_suffix(".js"))

    def answer(self, message: dict) -> list[object]:
        """Do what was pressed in the page, and return what it is to show."""
        said = self.panel.outbox = []
        self.panel.receive(message)
        return said


def _handler(lecture: Lecture, path: str) -> type[BaseHTTPRequestHandler]:
    one_at_a_time = Lock()

    class Handler(BaseHTTPRequestHandler):
        timeout = _PATIENCE_S

        def handle(self) -> None:
            # A page that was closed or loaded anew waits for nothing more.
            with suppress(ConnectionError):
                super().handle()

        def do_GET(self) -> None:
            self._reply(lecture.page, "text/html; charset=utf-8")

        def do_POST(self) -> None:
            length = self.headers.get("Content-Length", "")
            try:
                message = json.loads(self.rfile.read(int(length) if _LENGTH.fullmatch(length) else 0))
                message["do"]
            except (ValueError, TypeError, KeyError, RecursionError):
                self.send_error(400)
                return
            self._reply(lambda: json.dumps(lecture.answer(message)), "application/json")

        def _reply(self, make: Callable[[], str], kind: str) -> None:
            if self.path != path:
                self.send_error(404)
                return
            with one_at_a_time:
                body = make().encode()
            self.send_response(200)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing of each request."""

    return Handler


def open_lecture(lesson: str, *, browser: bool = True, say: Callable[[str], None] = print) -> None:
    """Show the story of a lesson in the browser until Ctrl-C."""
    lecture = Lecture(lesson)
    path = f"/{secrets.token_urlsafe(16)}"
    with ThreadingHTTPServer(("127.0.0.1", 0), _handler(lecture, path)) as server:
        server.daemon_threads = True
        address = f"http://127.0.0.1:{server.server_port}{path}"
        say(f"{lecture.title}\n{address}\nKeep this window open; Ctrl-C in it ends the lecture.")
        if browser:
            webbrowser.open(address)
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            say("The lecture is over.")
