"""A Jupyter server that listens on this machine only and asks for its token, come what may.

The reader's own settings may open every server on the machine to the network, or switch the token
off; some of them go before the arguments of a command. So this stands behind all of them.
"""

import re
import secrets
from pathlib import Path

from jupyter_server.auth.authorizer import AllowAllAuthorizer
from jupyter_server.auth.identity import PasswordIdentityProvider
from jupyter_server.auth.login import LoginHandler
from jupyter_server.serverapp import ServerApp, list_running_servers
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager

# Who may come in, where kernels listen, and what machine runs them.
SECTIONS = re.compile("IdentityProvider|Authorizer|Gateway|Kernel.*Manager|ConnectionFile|Session"
                      "|Provisioner")
OURS = {
    "ip": "127.0.0.1", "sock": "", "allow_remote_access": False, "local_hostnames": ["localhost"],
    "allow_origin": "", "allow_origin_pat": "", "allow_credentials": False, "trust_xheaders": False,
    "disable_check_xsrf": False, "authenticate_prometheus": True, "tornado_settings": {},
    "custom_display_url": "", "allow_external_kernels": False,
    "identity_provider_class": PasswordIdentityProvider, "authorizer_class": AllowAllAuthorizer,
    "login_handler_class": LoginHandler, "kernel_manager_class": AsyncMappingKernelManager,
}


class OnlyHere(ServerApp):
    """Serve this machine only, whatever was set before."""

    def init_configurables(self) -> None:
        """Set who may come in, after all settings were read and before anything uses them."""
        for section in filter(SECTIONS.search, [*self.config]):
            del self.config[section]
        self.config.PasswordIdentityProvider.token = secrets.token_hex(24)
        # The environment may name one; so does it name a token, and a file of it.
        self.config.GatewayClient.url = ""
        for name, value in OURS.items():
            setattr(self, name, value)
        super().init_configurables()
        self.contents_manager.root_dir = self.root_dir
        # The server prints the address with its token only where the token is none of the reader's.
        self.identity_provider.token_generated = True


def address_of_running(folder: Path) -> str | None:
    """Return the address of a lab that serves this folder already; None where none does."""
    for server in list_running_servers():
        if Path(server["root_dir"]).resolve() == folder.resolve():
            return f"{server['url']}lab?token={server['token']}"
    return None
