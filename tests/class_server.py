"""Try a class server with three accounts of the system: `python -m tests.class_server`.

Makes three accounts and takes them away again, starts JupyterHub as lessons/teaching/hub/README.md
sets it up, and lets each account try to reach what is not its own: files, kernels, labs, hand-ins.
Each line says what was tried and what came of it.

    --install DIR    install what is needed into a folder first, one that every account may enter

Linux only, as root, on a machine that may have three more accounts for a minute.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import pwd
import secrets
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

from tornado.httpclient import HTTPClientError

from tests.benchmarks.hub import Hub, Kernel, Learner, tools

SEED = "11"
# In the kernel of a learner: what the account of another one gives away.
PROBE = """
import json, os, pwd
from pathlib import Path

def tried(path):
    try:
        return os.listdir(path) if os.path.isdir(path) else Path(path).read_text()
    except OSError as problem:
        return type(problem).__name__

def listening(uid):
    found = []
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        for line in Path(table).read_text().splitlines()[1:]:
            words = line.split()
            if words[3] == "0A" and int(words[7]) == uid:
                found.append(int(words[1].rpartition(":")[2], 16))
    return found

def heard(port):
    # What a kernel says is said to whoever subscribes, if it is said on a port.
    import zmq

    with zmq.Context() as context, context.socket(zmq.SUB) as ear:
        ear.linger, ear.rcvtimeo = 0, 1500
        ear.subscribe(b"")
        ear.connect(f"tcp://127.0.0.1:{{port}}")
        try:
            return repr(ear.recv())[:60]
        except zmq.Again:
            return ""

other = pwd.getpwnam({other!r})
print(json.dumps({{
    "home": tried(other.pw_dir + "/my-workbook"),
    "record": tried(other.pw_dir + "/my-workbook/record/record.json"),
    "sockets": tried(other.pw_dir + "/.workbook"),
    "handed in": tried({hand_in!r} + "/" + other.pw_name),
    "all handed in": tried({hand_in!r}),
    "ports": listening(other.pw_uid),
    "heard": "".join(map(heard, listening(other.pw_uid))),
}}))
"""
HAND_IN = """
import os
from lessons import check, my_record
check("01-downtime", "35 min/a")
print(my_record("hand in"))
print(os.environ["WORKBOOK_SEED"], os.getcwd())
"""
SPEAK = """
import time
for number in range(50):
    print(number, flush=True)
    time.sleep(0.1)
"""
# What a learner may write into the settings of an own server.
OPEN_TO_ALL = """
open(__file__ + ".was_read", "w").close()
c.ServerApp.ip = "0.0.0.0"
c.ServerApp.allow_origin = "*"
"""
LARGE = """
try:
    open("large", "wb").write(bytes(3_000_000))
except OSError as problem:
    print(problem.strerror)
"""


async def printed(kernel: Kernel, source: str) -> str:
    """Run a cell and return what it prints."""
    message = await kernel.send("execute_request", {
        "code": source, "silent": False, "store_history": False, "user_expressions": {},
        "allow_stdin": False, "stop_on_error": True})
    return "".join([said["content"]["text"] async for said in kernel.answers(message)
                    if said["msg_type"] == "stream"])


async def code_of(answer) -> int:
    """Return the number of an answer, also of a refusal."""
    try:
        return (await answer).code
    except HTTPClientError as refusal:
        return refusal.code


@contextmanager
def accounts(names: list[str], homes: Path):
    """Make accounts of the system with homes that are closed to others; yield their passwords."""
    made = {}
    try:
        for name in names:
            made[name] = secrets.token_urlsafe(12)
            subprocess.run(["useradd", "--create-home", "--home-dir", homes / name, "--shell",
                            "/bin/bash", name], check=True)
            (homes / name).chmod(0o700)
            settings = homes / name / ".jupyter" / "jupyter_server_config.py"
            settings.parent.mkdir()
            settings.write_text(OPEN_TO_ALL, "utf-8")
            shutil.chown(settings.parent, name)
        subprocess.run(["chpasswd"], text=True, check=True,
                       input="".join(f"{name}:{word}\n" for name, word in made.items()))
        yield made
    finally:
        for name in made:
            subprocess.run(["pkill", "-KILL", "-u", name], check=False)
            subprocess.run(["userdel", "--remove", name], check=False, capture_output=True)


class Trials:
    """What was tried, printed as it comes, and how much of it went wrong."""

    def __init__(self) -> None:
        self.wrong = 0

    def say(self, what: str, holds: bool, seen: object) -> None:
        self.wrong += not holds
        print(f"{'holds' if holds else 'WRONG':6} {what}: {seen}", flush=True)


async def begin(learner: Learner) -> Kernel:
    await learner.log_in()
    await learner.start()
    model = await learner.api(f"{learner.server}/api/kernels", method="POST",
                              data={"name": "python3"})
    return await Kernel.connect(learner, model["id"])


async def attempt(hub: Hub, passwords: dict[str, str], listed: Path, hand_in: Path) -> int:
    """Let three accounts try everything; return how much of it went wrong."""
    trials = Trials()
    await hub.ready()
    first, second, teacher = (Learner(name, word, hub.site) for name, word in passwords.items())
    kernels = await asyncio.gather(*map(begin, (first, second, teacher)))

    for learner, kernel in zip((first, second), kernels, strict=False):
        said = await printed(kernel, HAND_IN)
        account = pwd.getpwnam(learner.name)
        files = list((hand_in / learner.name).iterdir())
        modes = [(file.stat().st_uid, oct(file.stat().st_mode & 0o777)) for file in files]
        trials.say("a hand-in is the owner's alone", modes == [(account.pw_uid, "0o600")], modes)
        label = json.loads(files[0].read_text())["label"]
        read = Path(account.pw_dir, ".jupyter", "jupyter_server_config.py.was_read").exists()
        trials.say("settings of a learner's own are not read", not read, read)
        trials.say("the label is the login", label == learner.name, label)
        trials.say("the class has its seed", f"{SEED} " in said, said.split()[-2:])
    for kernel, other, speaking in ((kernels[0], second, kernels[1]),
                                    (kernels[1], first, kernels[0])):
        probe = PROBE.format(other=other.name, hand_in=str(hand_in))
        text, _ = await asyncio.gather(printed(kernel, probe), printed(speaking, SPEAK))
        seen = json.loads(text)
        for what in ("home", "record", "sockets", "handed in", "all handed in"):
            trials.say(f"the {what} of another", seen[what] == "PermissionError", seen[what])
        # Beside the lab a kernel keeps one port, for what its own children print; it only takes in.
        trials.say("another listens with the lab and one intake", len(seen["ports"]) <= 2,
                   seen["ports"])
        trials.say("what another's kernel says, heard on a port", not seen["heard"],
                   repr(seen["heard"]))
    trials.say("a file beyond the limit", "File too large" in (
        said := await printed(kernels[0], LARGE)), said.strip())
    for one, other in ((first, second), (second, first), (teacher, first)):
        for path in ("api/contents", "api/kernels", "lab"):
            code = await code_of(one.fetch(
                f"{other.server}/{path}", follow=1,
                headers={"Authorization": f"token {one.token}"}))
            trials.say(f"/{path} of another", code in (401, 403, 404), code)
    own = await code_of(first.fetch(f"{first.server}/api/contents", follow=1,
                                    headers={"Authorization": f"token {first.token}"}))
    trials.say("one's own lab", own == 200, own)
    user = f"{hub.site}/hub/api/users"
    code = await code_of(first.api_answer(f"{user}/{second.name}/server", method="DELETE"))
    trials.say("a learner stops the lab of another", code in (403, 404), code)
    code = await code_of(teacher.api_answer(f"{user}/{second.name}/server", method="DELETE"))
    trials.say("an instructor stops a lab", code in (202, 204), code)

    table = listed.with_name("class.csv")
    found = subprocess.run([sys.executable, "-m", "lessons", "class", str(hand_in), "--csv",
                            str(table)], capture_output=True, text=True, check=False)
    names = table.read_text(encoding="utf-8-sig") if table.exists() else found.stderr
    trials.say("the class table has both", all(one.name in names for one in (first, second)),
               found.stdout.split(".")[0])

    listed.write_text(f"{first.name}\n{teacher.name}\n", encoding="utf-8")
    later = Learner(second.name, second.password, hub.site)
    try:
        await later.log_in()
        seen = "came in"
    except (HTTPClientError, KeyError, TypeError) as refusal:
        seen = f"refused: {refusal}"
    trials.say("who is struck off logs in", seen != "came in", seen)
    await asyncio.sleep(65)
    code = await code_of(second.api_answer(f"{user}/{second.name}/server", method="POST"))
    trials.say("who is struck off starts a lab with an old token", code in (401, 403, 404), code)
    answer = await second.fetch(f"{hub.site}/hub/home", follow=1)
    trials.say("who is struck off opens the hub with an old cookie", answer.code in (302, 403),
               answer.code)
    return trials.wrong


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.class_server",
                                     description=__doc__.splitlines()[0])
    parser.add_argument("--install", type=Path, metavar="DIR")
    arguments = parser.parse_args(argv)
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or not shutil.which("useradd"):
        print("this needs Linux and root: it makes three accounts", file=sys.stderr)
        return 2
    try:
        python, proxy = tools(arguments.install)
    except RuntimeError as problem:
        print(problem, file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="workbook-accounts-") as temporary:
        root = Path(temporary)
        root.chmod(0o755)
        names = [f"wb{secrets.token_hex(4)}" for _ in range(3)]
        with accounts(names, root) as passwords:
            listed, hand_in = root / "learners.txt", root / "handed-in"
            listed.write_text("\n".join(names), encoding="utf-8")
            hub = Hub(python, proxy, 10, WORKBOOK_LEARNERS=str(listed), WORKBOOK_SEED=SEED,
                      WORKBOOK_HAND_IN=str(hand_in), WORKBOOK_INSTRUCTORS=names[2],
                      WORKBOOK_FILE_MB="2")
            try:
                wrong = asyncio.run(asyncio.wait_for(
                    attempt(hub, passwords, listed, hand_in), 400))
            except BaseException:
                print(hub.log.read_text()[-4000:], file=sys.stderr)
                raise
            finally:
                hub.stop()
    print(f"{wrong} went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
