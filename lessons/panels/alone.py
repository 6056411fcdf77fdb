"""The rig in a page of its own, outside a notebook: the front end of the panel, and its driver."""

import json
import zlib
from base64 import b64encode
from collections.abc import Mapping
from html import escape
from pathlib import Path

from lessons.panels.plant_panel import PlantPanel
from lessons.pictures.look import style_sheet

STYLE = style_sheet(__file__)


def alone_html(title: str, data: Mapping[str, object], driver: Path) -> str:
    """Return a whole HTML document.

    Parameters
    ----------
    data : mapping
        What the driver reads; it stands in the page deflated, in letters that mean nothing there.
    driver : Path
        The script that answers the front end in place of a kernel.
    """
    here = Path(__file__)
    files = here.with_name("plant_panel.js"), here.with_suffix(".js"), driver
    packed = zlib.compress(json.dumps(data, separators=(",", ":")).encode(), 9)
    page = here.with_suffix(".html").read_text("utf-8")
    return page.format(title=escape(title), style=PlantPanel._css + STYLE,
                        data=b64encode(packed).decode(),
                        script="\n".join(file.read_text(encoding="utf-8") for file in files))
