"""Measure a class on one server: `python -m tests.benchmarks.hub --learners 20`.

Starts JupyterHub as it is, with the configuration that comes with the workbook, on this machine
only (127.0.0.1). Each simulated learner logs in by the form, runs lesson 04 from the top through
the proxy, opens the main panel and switches faults as a browser would, by messages of the
controls. Printed are times, and memory as PSS (shared pages counted in parts) of every process.

    --learners N     how many at once (default 3)
    --install DIR    install what is needed into a folder first (pip and npm from their registries)
    --most-s S       stop everything after so many seconds (default 600)

It needs a Python with this package and `jupyterhub`, and `configurable-http-proxy` (npm), found in
DIR or on the path. Neither is needed for the workbook or its tests. Linux only (/proc). It stops
all that it has started.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import re
import secrets
import shutil
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode, urljoin

from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from tests.notebooks import ROOT

LESSON = "04_the_pair_at_work.ipynb"
CONFIGURATION = ROOT / "lessons" / "teaching" / "hub" / "jupyterhub_config.py"
FAULTS = ("KF1: no power", "WF9: cut", "TF1: no power", "WF2.10: cut")
THINK_S, RETRY_S = 3.0, 3.0
PANEL = "from lessons import plant_panel\n\nplant_panel()"


@dataclass
class Learner:
    """One simulated learner: what it needs to talk, and the times that it met."""

    name: str
    password: str
    site: str
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""
    seconds: dict[str, float] = field(default_factory=dict)
    switches_ms: list[float] = field(default_factory=list)

    @property
    def server(self) -> str:
        return f"{self.site}/user/{self.name}"

    async def fetch(self, url: str, *, method: str = "GET", body: str | None = None,
                    headers: Mapping[str, str] | None = None, follow: int = 8):
        """Ask as a browser does: cookies kept, redirections followed."""
        for _ in range(follow):
            sent = {"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
                    **(headers or {})}
            answer = await AsyncHTTPClient().fetch(
                HTTPRequest(url, method=method, body=body, headers=sent, follow_redirects=False,
                            request_timeout=120, allow_nonstandard_methods=True),
                raise_error=False)
            for line in answer.headers.get_list("Set-Cookie"):
                for name, morsel in SimpleCookie(line).items():
                    self.cookies[name] = morsel.value
            if answer.code not in (302, 303, 307):
                return answer
            url, method, body, headers = urljoin(url, answer.headers["Location"]), "GET", None, {}
        return answer

    async def api_answer(self, url: str, *, method: str = "GET", data: object = None):
        body = None if method in ("GET", "DELETE") else json.dumps(data or {})
        return await AsyncHTTPClient().fetch(
            url, method=method, body=body, request_timeout=120,
            headers={"Authorization": f"token {self.token}", "Content-Type": "application/json"})

    async def api(self, url: str, *, method: str = "GET", data: object = None):
        answer = await self.api_answer(url, method=method, data=data)
        return json.loads(answer.body) if answer.body else None

    async def log_in(self) -> None:
        begun = time.perf_counter()
        login = f"{self.site}/hub/login"
        page = (await self.fetch(login)).body.decode()
        xsrf = re.search(r'name="_xsrf"\s+value="([^"]*)"', page)[1]
        form = urlencode({"username": self.name, "password": self.password, "_xsrf": xsrf})
        await self.fetch(login, method="POST", body=form,
                         headers={"Content-Type": "application/x-www-form-urlencoded"}, follow=1)
        made = await AsyncHTTPClient().fetch(
            f"{self.site}/hub/api/users/{self.name}/tokens", method="POST",
            body=json.dumps({"note": "measured", "expires_in": 3600}),
            headers={"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
                     "X-XSRFToken": self.cookies["_xsrf"], "Content-Type": "application/json"})
        self.token = json.loads(made.body)["token"]
        self.seconds["log in"] = time.perf_counter() - begun

    async def start(self) -> None:
        begun = time.perf_counter()
        user = f"{self.site}/hub/api/users/{self.name}"
        while not await self._asked_for(f"{user}/server"):
            # The hub starts a few labs at a time; a browser asks again, as the page says.
            await asyncio.sleep(RETRY_S)
        while not (await self.api(user)).get("servers", {}).get("", {}).get("ready"):
            await asyncio.sleep(0.2)
        await self.api(f"{self.server}/api/status")
        self.seconds["lab ready"] = time.perf_counter() - begun

    async def _asked_for(self, server: str) -> bool:
        try:
            await self.api(server, method="POST")
        except HTTPClientError as answer:
            if answer.code != 429:
                raise
            return False
        return True

    async def work(self) -> None:
        """Run the lesson, then open the panel and switch faults."""
        begun = time.perf_counter()
        lesson = await self.api(f"{self.server}/api/contents/{LESSON}?content=1")
        cells = [cell["source"] for cell in lesson["content"]["cells"]
                 if cell["cell_type"] == "code"]
        model = await self.api(f"{self.server}/api/kernels", method="POST",
                               data={"name": "python3"})
        kernel = await Kernel.connect(self, model["id"])
        self.seconds["kernel ready"] = time.perf_counter() - begun
        begun = time.perf_counter()
        for source in cells:
            await kernel.run(source)
        self.seconds["lesson 04"] = time.perf_counter() - begun
        begun = time.perf_counter()
        await kernel.run(PANEL)
        self.seconds["panel"] = time.perf_counter() - begun
        for fault in FAULTS:
            for on in (True, False):
                await asyncio.sleep(THINK_S)
                self.switches_ms.append(1000 * await kernel.switch(fault, on))
        kernel.close()


class Kernel:
    """The wire to one kernel, through the proxy."""

    def __init__(self, socket_):
        self.socket = socket_
        self.session = uuid.uuid4().hex
        self.panel = ""

    @classmethod
    async def connect(cls, learner: Learner, kernel_id: str) -> Kernel:
        url = f"{learner.server}/api/kernels/{kernel_id}/channels".replace("http", "ws", 1)
        wire = await websocket_connect(
            HTTPRequest(url, headers={"Authorization": f"token {learner.token}"},
                        connect_timeout=120), max_message_size=2**26)
        return cls(wire)

    async def send(self, kind: str, content: dict) -> str:
        message = uuid.uuid4().hex
        await self.socket.write_message(json.dumps({
            "channel": "shell", "content": content, "metadata": {}, "parent_header": {},
            "buffers": [], "header": {
                "msg_id": message, "msg_type": kind, "username": "learner",
                "session": self.session, "date": "", "version": "5.3"}}))
        return message

    async def answers(self, message: str):
        """Yield what the kernel says about a message until it is done with it."""
        while True:
            text = await self.socket.read_message()
            if text is None:
                raise RuntimeError("the kernel's wire was closed")
            said = json.loads(text)
            if said["parent_header"].get("msg_id") != message or said["channel"] != "iopub":
                continue
            if said["msg_type"] == "comm_open":
                state = said["content"]["data"].get("state", {})
                if "faults_here" in state:
                    self.panel = said["content"]["comm_id"]
            if said["msg_type"] == "error":
                raise RuntimeError(f"{said['content']['ename']}: {said['content']['evalue']}")
            yield said
            if said["msg_type"] == "status" and said["content"]["execution_state"] == "idle":
                return

    async def run(self, source: str) -> None:
        message = await self.send("execute_request", {
            "code": source, "silent": False, "store_history": True, "user_expressions": {},
            "allow_stdin": False, "stop_on_error": True})
        async for _ in self.answers(message):
            pass

    async def switch(self, fault: str, on: bool) -> float:
        """Switch a fault as the page does; return the seconds until what it changes is here."""
        begun = time.perf_counter()
        message = await self.send("comm_msg", {
            "comm_id": self.panel,
            "data": {"method": "custom", "content": {"do": "switch", "value": [fault, on]}}})
        seen = None
        async for said in self.answers(message):
            content = said["content"].get("data", {}).get("content") or {}
            if seen is None and "slots" in content:
                seen = time.perf_counter() - begun
        if seen is None:
            raise RuntimeError(f"no new picture after {fault!r}")
        return seen

    def close(self) -> None:
        self.socket.close()


# ---------------------------------------------------------------- processes


def children(pid: int) -> list[int]:
    """Return the processes below one, in the order of their numbers."""
    parents: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            try:
                after = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            except OSError:
                continue
            parents.setdefault(int(after[1]), []).append(int(entry.name))
    found, waiting = [], [pid]
    while waiting:
        below = parents.get(waiting.pop(), [])
        found += below
        waiting += below
    return sorted(found)


def pss_mb(pid: int) -> float:
    text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    return int(re.search(r"^Pss:\s+(\d+)", text, re.MULTILINE)[1]) * 1024 / 1e6


def kind_of(pid: int) -> str:
    words = Path(f"/proc/{pid}/cmdline").read_bytes().decode(errors="replace")
    for mark, kind in (("ipykernel", "kernel"), ("singleuser", "lab server"),
                       ("configurable-http-proxy", "proxy")):
        if mark in words:
            return kind
    return "hub"


def memory_mb(hub: int) -> dict[str, list[float]]:
    """Return the PSS of all processes of a hub, by kind."""
    found: dict[str, list[float]] = {}
    for pid in [hub, *children(hub)]:
        try:
            found.setdefault(kind_of(pid), []).append(pss_mb(pid))
        except OSError:
            continue
    return found


def free_port() -> int:
    """Return a port with two free ones above it."""
    while True:
        with socket.socket() as first:
            first.bind(("127.0.0.1", 0))
            port = first.getsockname()[1]
        try:
            for each in (port, port + 1, port + 2):
                with socket.socket() as probe:
                    probe.bind(("127.0.0.1", each))
        except (OSError, OverflowError):
            continue
        return port


class Hub:
    """A hub on this machine that is stopped at the end, with all that it has started.

    Without further settings it is the demonstration: one password, no accounts.
    """

    def __init__(self, python: str, proxy: str, learners: int, **settings: str):
        self.folder = tempfile.TemporaryDirectory(prefix="workbook-class-")
        self.port, self.password = free_port(), secrets.token_urlsafe(12)
        self.log = Path(self.folder.name) / "hub.log"
        settings = settings or {"WORKBOOK_DEMONSTRATION": self.folder.name,
                                "WORKBOOK_PASSWORD": self.password}
        environment = os.environ | settings | {
            "WORKBOOK_PORT": str(self.port), "CONFIGURABLE_HTTP_PROXY": proxy,
            "WORKBOOK_MOST_LEARNERS": str(learners)}
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [python, "-m", "jupyterhub", "-f", str(CONFIGURATION), "--log-level=WARN"],
                cwd=self.folder.name, env=environment, stdin=subprocess.DEVNULL, stdout=log,
                stderr=log, start_new_session=True)

    @property
    def site(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    async def ready(self) -> None:
        while self.process.poll() is None:
            try:
                await AsyncHTTPClient().fetch(f"{self.site}/hub/health")
                return
            except (HTTPClientError, OSError):
                await asyncio.sleep(0.1)
        raise RuntimeError(f"the hub has ended: {self.log.read_text()[-2000:]}")

    def stop(self) -> list[int]:
        """Stop it, and return the processes that had to be ended one by one."""
        started = children(self.process.pid)
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(10)
        left = [pid for pid in started if Path(f"/proc/{pid}").exists()]
        for pid in left:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        self.folder.cleanup()
        return left


# ---------------------------------------------------------------- the measurement


def install(folder: Path) -> None:
    """Install hub and proxy into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    python = folder / "venv" / "bin" / "python"
    subprocess.run([sys.executable, "-m", "venv", folder / "venv"], check=True)
    subprocess.run([python, "-m", "pip", "install", "-q", "-e", ROOT, "jupyterhub"], check=True)
    subprocess.run(["npm", "install", "--silent", "--prefix", folder, "configurable-http-proxy"],
                   check=True)


def tools(folder: Path | None) -> tuple[str, str]:
    """Return the Python and the proxy to use, installed into the folder where one is named.

    Raises
    ------
    RuntimeError
        What is missing, and how to get it.
    """
    if folder and not (folder / "venv").exists():
        install(folder)
    ours = folder / "venv" / "bin" / "python" if folder else None
    python = str(ours) if ours and ours.exists() else sys.executable
    own = folder / "node_modules" / ".bin" / "configurable-http-proxy" if folder else None
    proxy = str(own) if own and own.exists() else shutil.which("configurable-http-proxy")
    has = subprocess.run([python, "-c", "import jupyterhub, labkit"], capture_output=True,
                         check=False)
    if has.returncode or not proxy:
        raise RuntimeError("this needs jupyterhub beside the package, and configurable-http-proxy; "
                           "--install DIR gets both")
    return python, proxy


async def refused(one: Learner, other: Learner) -> int:
    """Return the answer that a learner gets at the lab of another."""
    answer = await one.fetch(f"{other.server}/api/contents", follow=1,
                             headers={"Authorization": f"token {one.token}"})
    return answer.code


async def measure(hub: Hub, count: int) -> None:
    AsyncHTTPClient.configure(None, max_clients=4 * count + 10)
    begun = time.perf_counter()
    await hub.ready()
    print(f"hub up after {time.perf_counter() - begun:.1f} s")
    learners = [Learner(f"learner{n:02d}", hub.password, hub.site) for n in range(1, count + 1)]
    begun = time.perf_counter()
    await asyncio.gather(*(one.log_in() for one in learners))
    await asyncio.gather(*(one.start() for one in learners))
    print(f"all {count} labs ready after {time.perf_counter() - begun:.1f} s")
    await asyncio.gather(*(one.work() for one in learners))
    print(f"all done after {time.perf_counter() - begun:.1f} s\n")
    for step in ("log in", "lab ready", "kernel ready", "lesson 04", "panel"):
        report(step, [one.seconds[step] for one in learners], "s")
    report("switch", [ms for one in learners for ms in one.switches_ms], "ms")
    print()
    used = memory_mb(hub.process.pid)
    for kind, each in sorted(used.items()):
        print(f"{kind:11} {len(each):3d} x PSS {statistics.mean(each):6.1f} MB, most "
              f"{max(each):6.1f}")
    labs, kernels = used.get("lab server", []), used.get("kernel", [])
    print(f"a learner   PSS {(sum(labs) + sum(kernels)) / count:.1f} MB (lab server and kernel)")
    if count > 1:
        print(f"a learner at the lab of another is answered {await refused(*learners[:2])}")


def report(step: str, values: list[float], unit: str) -> None:
    print(f"{step:13} median {statistics.median(values):8.2f} {unit}, most {max(values):8.2f}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--learners", type=int, default=3)
    parser.add_argument("--install", type=Path, metavar="DIR")
    parser.add_argument("--most-s", type=float, default=600.0)
    arguments = parser.parse_args()
    try:
        python, proxy = tools(arguments.install)
    except RuntimeError as problem:
        print(problem, file=sys.stderr)
        return 2
    hub = Hub(python, proxy, arguments.learners)

    def interrupted(number, frame):
        raise SystemExit(1)

    signal.signal(signal.SIGTERM, interrupted)
    try:
        asyncio.run(asyncio.wait_for(measure(hub, arguments.learners), arguments.most_s))
    except BaseException:
        print(hub.log.read_text()[-4000:], file=sys.stderr)
        raise
    finally:
        left = hub.stop()
        print(f"stopped; {len(left)} processes had to be ended one by one")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
