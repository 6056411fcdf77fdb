"""A class on one server: what the configuration allows and refuses, and how a lab is started."""

import os
import subprocess
import sys

import pytest
from traitlets.config import Config

from lessons.exercises.learner_record import FOLDER_VARIABLE
from lessons.teaching.hub import start
from tests.notebooks import ROOT

FOLDER = ROOT / "lessons" / "teaching" / "hub"
NAMES = ("PORT", "ADDRESS", "CERTIFICATE", "KEY", "LEARNERS", "MEMORY_MB", "MOST_LEARNERS",
         "DEMONSTRATION", "PASSWORD")


@pytest.fixture
def configured(monkeypatch, tmp_path):
    """Return what the configuration says with some settings, without JupyterHub."""
    (tmp_path / "learners.txt").write_text("mara\njonas\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

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
    assert made.ConfigurableHTTPProxy.api_url == "http://127.0.0.1:8002"


def test_only_those_on_the_list_come_in_and_nobody_administers(configured):
    made = configured()
    assert made.Authenticator.allowed_users == {"mara", "jonas"}
    assert "allow_all" not in made.Authenticator and made.Authenticator.admin_users == set()
    assert "authenticator_class" not in made.JupyterHub  # accounts of the system
    assert "--allow-root" not in made.Spawner.args


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
    monkeypatch.setattr(os, "execve", lambda path, words, env: became.update(
        words=words, env=env, folder=os.getcwd()))
    monkeypatch.chdir(tmp_path)
    start.main()
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
