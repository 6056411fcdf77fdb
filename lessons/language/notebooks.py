"""A lesson in another language: its text by cells and paragraphs, its code as it is."""

import itertools
import json
import re

from lessons.language.edges import turned_output, turner_now
from lessons.language.turning import Turner, is_neutral

COUNTED = re.compile(r"\d+")
ANCHOR = re.compile(r"\]\(#([^)\s]+)\)")
LINK = re.compile(r"\[([^\]]+)\]\(#[^)]+\)")


def pieces(markdown: str) -> list[str]:
    r"""Split markdown into paragraphs, items of lists, cells of tables, and what stands between.

    >>> pieces("## Start\n\n- one\n  line\n- two")
    ['## ', 'Start', '\n\n', '- ', 'one\n  line', '\n', '- ', 'two']
    """
    return [piece for piece in re.split(
        r"(\n\n+|\n(?=[-|#]|\d+\. )|(?:(?<=\n)|^)(?:#+ |- |\d+\. )| ?\| ?)", markdown) if piece]


def masked(piece: str) -> str:
    """Return a paragraph as its id: what is counted anew at each change gives way to numbers."""
    text = re.sub(r"\s*\n\s*", " ", piece)
    if not re.match(r"\*\*Time\*\*|\d+ min\b", text):
        return text
    count = itertools.count(1)
    return COUNTED.sub(lambda _: "{%d}" % next(count), text)


def turned_lesson(content: bytes) -> bytes:
    """Return the file of a lesson in the language that was asked for."""
    turner = turner_now()
    return turned_notebook(content.decode(), turner).encode() if turner else content


def left_english() -> int:
    """Return how many sentences had no translation so far."""
    turner = turner_now()
    return len(turner.missed) if turner else 0


def turned_notebook(text: str, turner: Turner) -> str:
    """Return a notebook, as its file holds it, in another language."""
    notebook = json.loads(text)
    for cell in notebook["cells"]:
        if cell["cell_type"] == "markdown":
            turned = "".join(_turned(piece, turner) for piece in pieces("".join(cell["source"])))
            cell["source"] = turned.splitlines(keepends=True)
        for output in cell.get("outputs", ()):
            if output["output_type"] != "stream" and "data" in output:
                data = turned_output(turner, {kind: "".join(said) if isinstance(said, list) else said
                                              for kind, said in output["data"].items()})
                output["data"] = {kind: said.splitlines(keepends=True) if isinstance(said, str) else said
                                  for kind, said in data.items()}
    return json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"


def _turned(piece: str, turner: Turner) -> str:
    if is_neutral(piece):
        return piece
    if link := LINK.fullmatch(piece):
        words = turner(link[1])
        return f"[{words}](#{words.replace(' ', '-')})"
    text = masked(piece)
    turned = turner.exact.get(text)
    if turned is None:
        turner.missed.add(text)
        return piece
    numbers = iter(COUNTED.findall(piece))
    for place in re.findall(r"\{\d+\}", text):
        turned = turned.replace(place, next(numbers))
    return ANCHOR.sub(lambda to: "](#{})".format(
        turner(to[1].replace("-", " ")).replace(" ", "-")), turned)
