"""A Jupyter server that listens on this machine only and asks for its token, come what may.

The reader's own settings may open every server on the machine to the network, switch the token off,
or add doors of their own. So none of them is read: what the lab needs is set in `lab_config`.
"""

from pathlib import Path

from jupyter_client.kernelspec import KernelSpecManager
from jupyter_server.serverapp import ServerApp, list_running_servers
from traitlets import default

from lessons.desk.lab import CONFIGURATION


class _OurKernel(KernelSpecManager):
    """Know the kernel of this Python alone: it has the models, and starts on this machine."""

    kernel_dirs = ()


class OnlyHere(ServerApp):
    """Take settings from our own folder alone, and so do the extensions of the server."""

    config_file_paths = [str(CONFIGURATION)]

    @default("kernel_spec_manager_class")
    def _our_kernel(self) -> type[KernelSpecManager]:
        return _OurKernel


def address_of_running(folder: Path) -> str | None:
    """Return the address of a lab that serves this folder already; None where none does."""
    for server in list_running_servers():
        if Path(server["root_dir"]).resolve() == folder.resolve():
            return f"{server['url']}lab?token={server['token']}"
    return None
