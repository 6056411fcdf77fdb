"""JupyterHub for one class: `jupyterhub -f jupyterhub_config.py`. README.md says how.

What differs from class to class stands in the environment:

    WORKBOOK_PORT            where to listen (8000); the two ports above it are used inside
    WORKBOOK_ADDRESS         on which address (127.0.0.1: this machine only)
    WORKBOOK_CERTIFICATE     file of the certificate, and
    WORKBOOK_KEY             file of its key: needed for any other address
    WORKBOOK_LEARNERS        file with one login name on each line (learners.txt)
    WORKBOOK_MEMORY_MB       most memory of one process of a learner (1024)
    WORKBOOK_MOST_LEARNERS   how many labs may run at once (30)
    WORKBOOK_DEMONSTRATION   a folder: one password for all and no accounts, on this machine only
    WORKBOOK_PASSWORD        that password
"""

import os
import sys
from ipaddress import ip_address
from pathlib import Path

c = get_config()  # noqa: F821  JupyterHub provides it

port = int(os.environ.get("WORKBOOK_PORT", "8000"))
address = os.environ.get("WORKBOOK_ADDRESS", "127.0.0.1")
certificate, key = (os.environ.get(f"WORKBOOK_{name}", "") for name in ("CERTIFICATE", "KEY"))
memory_mb = os.environ.get("WORKBOOK_MEMORY_MB", "1024")
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

# One lab for each learner, in the learner's name, on the learner's own folder.
c.Spawner.cmd = [sys.executable, "-m", "lessons.teaching.hub.start"]
c.Spawner.default_url = "/lab"
c.Spawner.environment = {"WORKBOOK_MEMORY_MB": memory_mb}
c.Spawner.args = [
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
    learners = Path(os.environ.get("WORKBOOK_LEARNERS", "learners.txt"))
    c.Authenticator.allowed_users = set(learners.read_text(encoding="utf-8").split())
# Nobody is an administrator of the hub: nobody can open the lab of somebody else.
c.Authenticator.admin_users = set()
