"""JupyterHub for one class: `jupyterhub -f jupyterhub_config.py`. README.md says how.

What differs from class to class stands in the environment:

    WORKBOOK_PORT            where to listen (8000); the two ports above it are used inside
    WORKBOOK_ADDRESS         on which address (127.0.0.1: this machine only)
    WORKBOOK_CERTIFICATE     file of the certificate, and
    WORKBOOK_KEY             file of its key: needed for any other address
    WORKBOOK_LEARNERS        file with one login name on each line (learners.txt); read at each
                             login and each minute, so that who is struck off stays out
    WORKBOOK_INSTRUCTORS     login names, with commas, who may start and stop labs; they stand in
                             the file above too, and cannot open the lab of somebody else
    WORKBOOK_HAND_IN         folder for hand-ins (/srv/handed-in); one folder in it for each
                             learner, which only that learner and root can open
    WORKBOOK_SEED            the numbers of the questions of this class (0: those of the plant)
    WORKBOOK_MEMORY_MB       most memory of one process of a learner (1024)
    WORKBOOK_FILE_MB         the largest file that a learner may write (100)
    WORKBOOK_HOME_MB         all that a learner may write, kept by the system's quota; without it
                             there is no limit
    WORKBOOK_MOST_LEARNERS   how many labs may run at once (30)
    WORKBOOK_DEMONSTRATION   a folder: one password for all and no accounts, on this machine only
    WORKBOOK_PASSWORD        that password
"""

import os
import sys
from importlib.util import find_spec
from ipaddress import ip_address
from pathlib import Path

from lessons.exercises.session import class_seed
from lessons.teaching.hub.class_room import (
    as_learner,
    learners,
    not_to_be_entered,
    what_a_learner_gets,
)

c = get_config()  # noqa: F821  JupyterHub provides it

port = int(os.environ.get("WORKBOOK_PORT", "8000"))
address = os.environ.get("WORKBOOK_ADDRESS", "127.0.0.1")
certificate, key = (os.environ.get(f"WORKBOOK_{name}", "") for name in ("CERTIFICATE", "KEY"))
hand_in = Path(os.environ.get("WORKBOOK_HAND_IN", "/srv/handed-in"))
instructors = set(filter(None, os.environ.get("WORKBOOK_INSTRUCTORS", "").split(",")))
demonstration = os.environ.get("WORKBOOK_DEMONSTRATION", "")
alone = ip_address(address).is_loopback

if not alone and (demonstration or not (certificate and key)):
    raise ValueError(
        "WORKBOOK_ADDRESS must be 127.0.0.1 for a demonstration, and without WORKBOOK_CERTIFICATE "
        f"and WORKBOOK_KEY: passwords would cross the network in clear. Got {address}")

# Only the proxy can be reached from outside; the hub and the labs listen on this machine.
c.JupyterHub.bind_url = f"http{'s' if certificate else ''}://{address}:{port}"
c.JupyterHub.ssl_cert, c.JupyterHub.ssl_key = certificate, key
c.JupyterHub.hub_ip = "127.0.0.1"
c.JupyterHub.hub_port = port + 1
c.ConfigurableHTTPProxy.api_url = f"http://127.0.0.1:{port + 2}"
c.ConfigurableHTTPProxy.command = os.environ.get(
    "CONFIGURABLE_HTTP_PROXY", "configurable-http-proxy").split()
c.Spawner.ip = "127.0.0.1"
# A learner's own settings could open the lab to the other accounts.
c.Spawner.disable_user_config = True

# One lab for each learner, in the learner's name, on the learner's own folder.
c.Spawner.cmd = [sys.executable, "-m", "lessons.teaching.hub.start"]
c.Spawner.default_url = "/lab/tree/01_one_controller.ipynb"
c.Spawner.environment = {
    "WORKBOOK_MEMORY_MB": os.environ.get("WORKBOOK_MEMORY_MB", "1024"),
    "WORKBOOK_FILE_MB": os.environ.get("WORKBOOK_FILE_MB", "100"),
    "WORKBOOK_SEED": str(class_seed()),
}
c.Spawner.args = [
    # Kernels talk over files that only their owner can open; a port is open to every account.
    "--KernelManager.transport=ipc",
    # Who has gone home does not keep memory: kernels after half an hour, the lab after another.
    "--MappingKernelManager.cull_idle_timeout=1800",
    "--MappingKernelManager.cull_interval=120",
    "--ServerApp.shutdown_no_activity_timeout=1800",
    # The lessons need none.
    "--ServerApp.terminals_enabled=False",
]
c.Spawner.start_timeout = c.Spawner.http_timeout = 120
c.JupyterHub.active_server_limit = int(os.environ.get("WORKBOOK_MOST_LEARNERS", "30"))
c.JupyterHub.concurrent_spawn_limit = 8

if demonstration:
    password = os.environ.get("WORKBOOK_PASSWORD", "")
    if len(password) < 12:
        raise ValueError("WORKBOOK_PASSWORD must have at least 12 characters")
    c.JupyterHub.authenticator_class = "dummy"
    c.JupyterHub.spawner_class = "simple"
    c.DummyAuthenticator.password = password
    c.Authenticator.allow_all = True
    c.SimpleLocalProcessSpawner.home_dir_template = f"{Path(demonstration).resolve()}/{{username}}"
    if os.geteuid() == 0:
        c.Spawner.args.append("--allow-root")
else:
    # Accounts of the system, with their passwords; only those on the list may come in.
    closed = not_to_be_entered(Path(sys.executable), Path(find_spec("lessons").origin))
    if closed:
        raise ValueError(
            f"learners cannot enter {closed}: install Python and the workbook where every account "
            "may read, such as /opt/workbook")
    listed = Path(os.environ.get("WORKBOOK_LEARNERS", "learners.txt"))
    if instructors - learners(listed):
        raise ValueError(f"WORKBOOK_INSTRUCTORS must stand in {listed} too, got "
                         f"{', '.join(sorted(instructors - learners(listed)))}")
    c.JupyterHub.authenticator_class = as_learner(listed)
    c.Authenticator.allowed_users = learners(listed)
    # A name that is in the hub's own books from last year is not enough.
    c.Authenticator.allow_existing_users = False
    c.Authenticator.auth_refresh_age = 60
    c.Authenticator.refresh_pre_spawn = True
    home_mb = os.environ.get("WORKBOOK_HOME_MB")
    c.Spawner.pre_spawn_hook = what_a_learner_gets(hand_in, int(home_mb) if home_mb else None)
    c.JupyterHub.load_roles = [{
        "name": "instructor", "users": sorted(instructors),
        "scopes": ["admin-ui", "list:users", "read:servers", "servers"],
    }] if instructors else []
# Nobody is an administrator of the hub: nobody can open the lab of somebody else.
c.Authenticator.admin_users = set()
