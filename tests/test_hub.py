"""A class on one server: what the configuration allows and refuses, and how a lab is started."""

import os
import shutil
import stat
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest
from jupyter_client import KernelManager
from traitlets.config import Config

from lessons.exercises.learner_record import (
    FOLDER_VARIABLE,
    LABEL_VARIABLE,
    LearnerRecord,
    open_record,
)
from lessons.exercises.record_actions import HAND_IN_VARIABLE, act
from lessons.teaching.hub import class_room, start
from tests import class_server
from tests.notebooks import ROOT

FOLDER = ROOT / "lessons" / "teaching" / "hub"
NAMES = ("PORT", "ADDRESS", "CERTIFICATE", "KEY", "LEARNERS", "MEMORY_MB", "MOST_LEARNERS",
         "DEMONSTRATION", "PASSWORD", "SEED", "HAND_IN", "INSTRUCTORS", "FILE_MB", "HOME_MB")


class ByPassword:
    """In place of JupyterHub's way of asking the system for the password."""


def answer(waiting):
    """Return what a coroutine says that waits for nothing; a loop may be running here already."""
    with pytest.raises(StopIteration) as ended:
        waiting.send(None)
    return ended.value.value


@pytest.fixture
def configured(monkeypatch, tmp_path):
    """Return what the configuration says with some settings, without JupyterHub."""
    (tmp_path / "learners.txt").write_text("mara\njonas\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    hub = ModuleType("jupyterhub.auth")
    hub.PAMAuthenticator = ByPassword
    monkeypatch.setitem(sys.modules, "jupyterhub", ModuleType("jupyterhub"))
    monkeypatch.setitem(sys.modules, "jupyterhub.auth", hub)
    # The Python of the tests may lie where other accounts cannot go.
    monkeypatch.setattr(class_room, "not_to_be_entered", lambda *files: None)

    def run(**settings):
        for name in NAMES:
            monkeypatch.delenv(f"WORKBOOK_{name}", raising=False)
        for name, value in settings.items():
            monkeypatch.setenv(f"WORKBOOK_{name}", value)
        made = Config()
        text = (FOLDER / "jupyterhub_config.py").read_text(encoding="utf-8")
        exec(compile(text, "jupyterhub_config.py", "exec"), {"get_config": lambda: made})
        return made

    return run


def test_without_settings_it_stays_on_this_machine(configured):
    made = configured()
    assert made.JupyterHub.bind_url == "http://127.0.0.1:8000"
    assert made.JupyterHub.hub_ip == made.Spawner.ip == "127.0.0.1"
    assert made.Spawner.disable_user_config is True
    assert made.ConfigurableHTTPProxy.api_url == "http://127.0.0.1:8002"


def test_only_those_on_the_list_come_in_and_nobody_administers(configured):
    made = configured()
    assert made.Authenticator.allowed_users == {"mara", "jonas"}
    assert "allow_all" not in made.Authenticator and made.Authenticator.admin_users == set()
    assert issubclass(made.JupyterHub.authenticator_class, ByPassword)  # accounts of the system
    assert "--allow-root" not in made.Spawner.args and made.JupyterHub.load_roles == []


def test_who_is_struck_off_stays_out_without_a_restart(configured, tmp_path):
    made = configured()
    learner = made.JupyterHub.authenticator_class()
    mara = SimpleNamespace(name="mara")
    assert learner.check_allowed("mara") and answer(learner.refresh_user(mara))
    (tmp_path / "learners.txt").write_text("jonas\n", encoding="utf-8")
    assert not learner.check_allowed("mara") and not answer(learner.refresh_user(mara))
    assert made.Authenticator.allow_existing_users is False
    assert made.Authenticator.auth_refresh_age <= 60 and made.Authenticator.refresh_pre_spawn


def test_an_instructor_starts_and_stops_labs_and_opens_none(configured):
    role, = configured(INSTRUCTORS="jonas").JupyterHub.load_roles
    assert role["users"] == ["jonas"]
    assert "servers" in role["scopes"]
    assert not [scope for scope in role["scopes"] if scope.startswith(("access", "admin:"))]
    with pytest.raises(ValueError, match="must stand in learners.txt too, got ann"):
        configured(INSTRUCTORS="jonas,ann")


def test_kernels_seed_and_lesson(configured):
    made = configured(SEED="7")
    assert "--KernelManager.transport=ipc" in made.Spawner.args
    assert made.Spawner.environment["WORKBOOK_SEED"] == "7"
    assert made.Spawner.default_url == "/lab/tree/01_one_controller.ipynb"
    with pytest.raises(ValueError, match="WORKBOOK_SEED must be a whole number, got 'x'"):
        configured(SEED="x")


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="needs /proc to look at sockets")
def test_a_kernel_talks_over_files_that_only_its_owner_opens(configured):
    """The kernel that a learner gets, started as the lab starts it, and without a hub."""
    transport, = [word.partition("=")[2] for word in configured().Spawner.args if "transport" in word]
    with tempfile.TemporaryDirectory() as home:
        shut = start.sockets_folder(Path(home))
        assert stat.S_IMODE(shut.stat().st_mode) == 0o700
        manager = KernelManager(transport=transport, connection_file=str(shut / "kernel-1.json"))
        manager.start_kernel(stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        client = manager.client()
        try:
            client.start_channels()
            client.wait_for_ready(60)
            assert stat.S_IMODE((shut / "kernel-1.json").stat().st_mode) == 0o600
            files = f"/proc/{manager.provisioner.pid}/fd"
            held = {os.readlink(f"{files}/{name}") for name in os.listdir(files)}
            ports = [line.split() for table in ("tcp", "tcp6")
                     for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]]
            # One port takes in what children of the kernel print; none gives anything out.
            assert len([row for row in ports if row[3] == "0A" and f"socket:[{row[9]}]" in held]) <= 1
            assert len(list(shut.glob("kernel-1-ipc-*"))) == 5
        finally:
            client.stop_channels()
            manager.shutdown_kernel(now=True)


def test_a_start_is_refused_where_learners_cannot_enter(tmp_path):
    python = tmp_path / "shut" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.write_text("")
    python.chmod(0o644)
    for shut, mode in ((python, 0o600), (tmp_path / "shut", 0o700)):
        before = stat.S_IMODE(shut.stat().st_mode)
        shut.chmod(mode)
        found = class_room.not_to_be_entered(python)
        # The folder of the tests may lie where nobody may go: then that one is named.
        assert found == shut or not found.stat().st_mode & stat.S_IXOTH and found in shut.parents
        shut.chmod(before)
    assert class_room.not_to_be_entered(tmp_path.parents[-1]) is None


def test_a_start_says_what_is_shut(configured, monkeypatch):
    monkeypatch.setattr(class_room, "not_to_be_entered", lambda *files: files[0].parent)
    with pytest.raises(ValueError, match="learners cannot enter .*: install Python"):
        configured()


def test_each_learner_has_a_folder_to_hand_in(tmp_path, monkeypatch):
    account = pytest.importorskip("pwd").getpwuid(os.getuid())
    spawner = SimpleNamespace(user=SimpleNamespace(name=account.pw_name), environment={"A": "1"})
    make = class_room.what_a_learner_gets(tmp_path / "in", None)
    make(spawner)
    own = tmp_path / "in" / account.pw_name
    assert stat.S_IMODE(own.stat().st_mode) == 0o700 and own.stat().st_uid == os.getuid()
    # Others may pass through and see no names.
    assert stat.S_IMODE(own.parent.stat().st_mode) == 0o711
    assert spawner.environment == {"A": "1", HAND_IN_VARIABLE: str(own)}
    make(spawner)
    own.rmdir()
    own.symlink_to(tmp_path)
    with pytest.raises((PermissionError, FileExistsError)):
        make(spawner)
    (tmp_path / "here").mkdir()
    monkeypatch.setenv(HAND_IN_VARIABLE, str(tmp_path / "here"))
    said = act(LearnerRecord(label="mara"), "hand in")
    assert (tmp_path / "here" / "hand-in-mara.json").exists(), said


def test_the_system_limits_a_home_or_the_lab_does_not_start(tmp_path, monkeypatch, configured):
    """With a stand-in for the system's command, which needs a file system of its own."""
    account = pytest.importorskip("pwd").getpwuid(os.getuid())
    spawner = SimpleNamespace(user=SimpleNamespace(name=account.pw_name), environment={})
    command = tmp_path / "bin" / "setquota"
    command.parent.mkdir()
    monkeypatch.setenv("PATH", str(command.parent))
    with pytest.raises(ValueError, match="WORKBOOK_HOME_MB must be left out where"):
        configured(HOME_MB="200")
    command.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/said\n')
    command.chmod(0o755)
    with pytest.raises(ValueError, match="WORKBOOK_HOME_MB must be >= 50, got 2"):
        configured(HOME_MB="2")
    configured(HOME_MB="200", HAND_IN=str(tmp_path / "in")).Spawner.pre_spawn_hook(spawner)
    user, name, soft, hard, *_, place = (tmp_path / "said").read_text().split()
    assert (user, name, soft, hard) == ("-u", account.pw_name, "200000", "200000")
    assert os.path.ismount(place) and account.pw_dir.startswith(place)
    command.write_text("#!/bin/sh\necho no quotas here >&2\nexit 1\n")
    with pytest.raises(PermissionError, match="no limit could be set for .*: no quotas here"):
        class_room.what_a_learner_gets(tmp_path / "in", 200)(spawner)


def test_the_label_is_the_login_until_another_is_chosen(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "record"))
    monkeypatch.setenv(LABEL_VARIABLE, "mara")
    assert open_record().label == "mara"


def test_idle_labs_end_and_memory_is_limited(configured):
    made = configured(MEMORY_MB="700", MOST_LEARNERS="12")
    assert made.Spawner.environment["WORKBOOK_MEMORY_MB"] == "700"
    assert made.JupyterHub.active_server_limit == 12
    assert {"--MappingKernelManager.cull_idle_timeout=1800",
            "--ServerApp.shutdown_no_activity_timeout=1800"} <= set(made.Spawner.args)


PASSWORD = "a long password"


@pytest.mark.parametrize("settings", [
    {"ADDRESS": "192.0.2.7"},
    {"ADDRESS": "192.0.2.7", "CERTIFICATE": "cert.pem"},
    {"ADDRESS": "0.0.0.0", "DEMONSTRATION": ".", "PASSWORD": PASSWORD},
    {"ADDRESS": "192.0.2.7", "CERTIFICATE": "c", "KEY": "k", "DEMONSTRATION": ".",
     "PASSWORD": PASSWORD},
])
def test_no_password_crosses_the_network_in_clear(configured, settings):
    with pytest.raises(ValueError, match="WORKBOOK_ADDRESS must be 127.0.0.1"):
        configured(**settings)


def test_on_the_network_with_a_certificate(configured):
    made = configured(ADDRESS="192.0.2.7", PORT="443", CERTIFICATE="c.pem", KEY="k.pem")
    assert made.JupyterHub.bind_url == "https://192.0.2.7:443"
    assert (made.JupyterHub.ssl_cert, made.JupyterHub.ssl_key) == ("c.pem", "k.pem")
    assert made.JupyterHub.hub_ip == made.Spawner.ip == "127.0.0.1"


def test_demonstration_has_a_password(configured, tmp_path):
    made = configured(DEMONSTRATION=str(tmp_path), PASSWORD=PASSWORD)
    assert made.DummyAuthenticator.password == PASSWORD
    assert made.SimpleLocalProcessSpawner.home_dir_template == f"{tmp_path}/{{username}}"
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    assert ("--allow-root" in made.Spawner.args) == root
    with pytest.raises(ValueError, match="WORKBOOK_PASSWORD must have at least 12 characters"):
        configured(DEMONSTRATION=str(tmp_path), PASSWORD="short")


def test_a_lab_starts_on_the_learners_own_folder(monkeypatch, tmp_path):
    became = {}
    monkeypatch.setenv("WORKBOOK_FOLDER", str(tmp_path / "mara"))
    monkeypatch.setenv("WORKBOOK_MEMORY_MB", "512")
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setattr(sys, "argv", ["start", "--port=1"])
    monkeypatch.setattr(start, "limit_memory", lambda mb: became.update(mb=mb))
    monkeypatch.setattr(start, "limit_files", lambda mb: became.update(file_mb=mb))
    monkeypatch.setenv("JUPYTERHUB_USER", "mara")
    monkeypatch.setattr(start, "sockets_folder", lambda home: tmp_path / "sockets")
    monkeypatch.setattr(os, "execve", lambda path, words, env: became.update(
        words=words, env=env, folder=os.getcwd()))
    monkeypatch.chdir(tmp_path)
    before = os.umask(0o022)
    try:
        start.main()
        shut = os.umask(0o022)
    finally:
        os.umask(before)
    assert shut == 0o077 and became["file_mb"] == 100 and became["env"][LABEL_VARIABLE] == "mara"
    assert became["env"]["JUPYTER_RUNTIME_DIR"] == str(tmp_path / "sockets")
    assert became["words"][1:] == ["-m", "jupyterhub.singleuser", "--port=1"]
    assert became["folder"] == str(tmp_path / "mara") and became["mb"] == 512
    assert became["env"][FOLDER_VARIABLE] == str(tmp_path / "mara" / "record")
    assert became["env"]["OPENBLAS_NUM_THREADS"] == "1"
    assert list((tmp_path / "mara").glob("*.ipynb"))


def test_a_greedy_process_meets_its_limit_alone():
    pytest.importorskip("resource")
    code = ("from lessons.teaching.hub.start import limit_memory\nlimit_memory(600)\n"
            "try:\n    bytearray(2_000_000_000)\nexcept MemoryError:\n    print('refused')\n"
            "print(len(bytearray(100_000_000)))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          check=False)
    assert done.stdout.split() == ["refused", "100000000"], done.stderr


@pytest.mark.skipif(not (hasattr(os, "geteuid") and os.geteuid() == 0 and find_spec("jupyterhub")
                         and shutil.which("configurable-http-proxy")),
                    reason="needs root, JupyterHub and its proxy")
def test_three_accounts_reach_nothing_of_each_other():
    assert class_server.main([]) == 0
