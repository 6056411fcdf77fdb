"""The edges of the workbook: what goes to a page or a terminal is turned there, and nowhere else.

Controls and panels reach a page by messages. The package `comm` makes the channel of each, and
lets a program put its own maker in place of its own; so the messages are turned on their way.
"""

import os
import sys
import textwrap
from collections.abc import Mapping
from typing import Any

from lessons.language import VARIABLE
from lessons.language.turning import Turner

TEXTS = ("description", "tooltip", "placeholder")
PAGES = ("page", "picture")


def language() -> str:
    """Return the language that was asked for; English where none was."""
    return os.environ.get(VARIABLE, "") or "en"


def turner_now() -> Turner | None:
    """Return what turns texts into the language that was asked for; None for English."""
    if language() == "en":
        return None
    # Babel is loaded where another language is wanted, and not before.
    from lessons.language.catalogue import turner_of

    return turner_of(language())


def turned_page(html: str) -> str:
    """Return a page in the language that was asked for."""
    turner = turner_now()
    return turner.html(html).replace('<html lang="en"', f'<html lang="{turner.tag}"', 1) if turner else html


def said(text: str) -> str:
    """Return a text as it will be read, for whoever measures it."""
    turner = turner_now()
    return turner.whole(text) if turner else text


def kept(piece: str, of: str) -> str:
    """Return a piece of a text that was turned already, which is not to be turned again."""
    turner = turner_now()
    if turner and turner.whole(of) != of:
        turner.keep(piece)
    return piece


def turned_back(answer: object) -> object:
    """Return an answer by text as the items know it, where it was given in another language."""
    turner = turner_now()
    if turner is None:
        return answer
    if isinstance(answer, Mapping):
        return {turned_back(place): turned_back(said) for place, said in answer.items()}
    if not isinstance(answer, str):
        return answer
    meant = " / ".join(turner.back(part) for part in answer.split(" / "))
    if meant == answer and answer not in turner.exact:
        turner.keep(answer.strip())  # a reply says it back as it was typed
    return meant


def turned_state(turner: Turner, state: Mapping[str, Any], model: str) -> dict[str, Any]:
    """Return the state of a control, or what has changed of it."""
    out = dict(state)
    for key, value in state.items():
        if isinstance(value, str):
            if key in TEXTS or (key == "value" and model == "LabelModel"):
                out[key] = turner(value)
            elif key in PAGES or (key == "value" and model == "HTMLModel"):
                out[key] = turner.html(value)
            elif key == "_esm":
                out[key] = turner.script(value)
        elif key == "_options_labels":
            out[key] = [turner(each) for each in value]
        elif key == "faults_here":
            out[key] = [{name: turner(said) if name in ("how", "label", "place") else said
                         for name, said in fault.items()} for fault in value]
    return out


def turned_message(turner: Turner, content: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a panel sends beside its state: values of slots, a picture, moments."""
    out = dict(content)
    if "slots" in content:
        out["slots"] = _slots(turner, content["slots"])
    if "picture" in content:
        out["picture"] = turner.html(content["picture"])
    if "frames" in content:
        frames = content["frames"]
        out["frames"] = frames | {"slots": [_slots(turner, each) for each in frames["slots"]],
                                  "words": [turner(each) for each in frames["words"]]}
    return out


def _slots(turner: Turner, slots: Mapping[str, str]) -> dict[str, str]:
    out = dict(slots)
    for key, value in slots.items():
        name, at, kind = key.rpartition("@")
        if key[0] == "=" or not isinstance(value, str):
            continue
        if not at:
            out[key] = turner(value)
        elif kind == "html":
            out[key] = turner.html(value)
        elif kind in ("aria-label", "title", "data-state", "data-name", "aria-valuetext"):
            out[key] = turner(value)
    return out


def turned_data(turner: Turner, data: Mapping[str, Any], model: str) -> dict[str, Any]:
    """Return the data of a message of a control."""
    out = dict(data)
    if isinstance(data.get("state"), Mapping):
        out["state"] = turned_state(turner, data["state"], model)
    if data.get("method") == "custom" and isinstance(data.get("content"), Mapping):
        out["content"] = turned_message(turner, data["content"])
    return out


def turned_output(turner: Turner, data: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a cell shows as its last value; what it printed stays as it is."""
    out = dict(data)
    printed = "<samp>" in str(data.get("text/html", ""))
    if isinstance(data.get("text/plain"), str) and not printed:
        out["text/plain"] = "\n".join(
            textwrap.fill(line, 88, subsequent_indent="  ", break_long_words=False,
                          break_on_hyphens=False)
            for line in turner.lines(data["text/plain"]).split("\n"))
    if isinstance(data.get("text/html"), str):
        out["text/html"] = turner.html(data["text/html"])
    return out


def install() -> None:
    """Turn all that leaves this process, once, where another language was asked for."""
    if (turner := turner_now()) is None:
        return
    import comm

    made = comm.create_comm
    if made.__module__ == __name__:
        return

    def create_comm(*arguments: object, **more: Any):
        data = more.get("data") or {}
        model = (data.get("state") or {}).get("_model_name", "")
        if data:
            more["data"] = turned_data(turner, data, model)
        channel = made(*arguments, **more)
        send = channel.send
        channel.send = lambda data=None, *rest, **further: send(
            turned_data(turner, data, model) if data else data, *rest, **further)
        return channel

    comm.create_comm = create_comm
    ipython = sys.modules.get("IPython")
    if (shell := ipython and ipython.get_ipython()) is None:
        return
    shown = shell.display_formatter.format

    def format_(thing: object, *arguments: object, **more: Any):
        data, about = shown(thing, *arguments, **more)
        ours = type(thing).__module__.startswith(("lessons.", "labkit."))
        return (turned_output(turner, data) if ours else data), about

    shell.display_formatter.format = format_
