"""A Jupyter server that listens on this machine only and asks for its token, come what may.

The reader's own settings may open every server on the machine to the network, or switch the token
off; some of them go before the arguments of a command. So this stands behind all of them.
"""

import secrets
from pathlib import Path

from jupyter_server.auth.authorizer import AllowAllAuthorizer
from jupyter_server.auth.identity import PasswordIdentityProvider
from jupyter_server.serverapp import ServerApp, list_running_servers


class OnlyHere(ServerApp):
    """Serve this machine only, whatever was set before."""

    def init_configurables(self) -> None:
        """Set who may come in, after all settings were read and before anything uses them."""
        self.ip, self.sock = "127.0.0.1", ""
        self.allow_remote_access = False
        self.allow_origin = self.allow_origin_pat = ""
        self.disable_check_xsrf = False
        self.identity_provider_class = PasswordIdentityProvider
        self.authorizer_class = AllowAllAuthorizer
        super().init_configurables()
        self.identity_provider.hashed_password = ""
        self.identity_provider.token = secrets.token_hex(24)
        # The server prints the address with its token only where the token is none of the reader's.
        self.identity_provider.token_generated = True


def address_of_running(folder: Path) -> str | None:
    """Return the address of a lab that serves this folder already; None where none does."""
    for server in list_running_servers():
        if Path(server["root_dir"]).resolve() == folder.resolve():
            return f"{server['url']}lab?token={server['token']}"
    return None
