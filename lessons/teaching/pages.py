"""Templates, and markdown and outputs of a lesson as HTML."""

from __future__ import annotations

import io
import re
from base64 import b64encode
from collections.abc import Iterator, Mapping
from html import escape, unescape
from itertools import groupby

from lessons.teaching.lesson_file import NotebookCell

__all__ = ["markdown", "outputs", "page"]

CONTROLS = re.compile(r"\b(?:ask|steps|predict_first|recall|\w+_panel)\(")
BY_TEXT = re.compile(r"\s*((?:Moves b|B)y text:|Answer: (a number|a letter|the letters|\{))")
FORMULA = re.compile(r"\$\$(.+?)\$\$|\$([^$<>\n]+)\$", re.DOTALL)
ROW = re.compile(r"(.+?) / (.+?): (.*)")
NUMBER = re.compile(r"a number(?: in (.+))?$")
AT_THE_SCREEN = re.compile(
    r" Run this cell to get the panel[^<]*|^(?:Clock stands;|Answer, one move at a time:)[^<]*",
    re.MULTILINE)
ANSI = re.compile(r"\x1b\[[0-9;]*m")


def page(template: str, **values: object) -> str:
    """Fill a template of this package; all text is escaped unless the template says otherwise."""
    from jinja2 import Environment, PackageLoader

    environment = Environment(loader=PackageLoader("lessons.teaching"), autoescape=True,
                              trim_blocks=True, lstrip_blocks=True)
    return environment.get_template(template).render(values)


def markdown(text: str) -> str:
    """Return markdown as HTML: links between lessons lead to the copies, formulas are pictures."""
    from nbconvert.filters.markdown import markdown2html

    html = markdown2html(text)
    html = re.sub(r'<a class="anchor-link"[^>]*>.*?</a>', "", html)
    html = re.sub(r'href="(\d\d_\w+|glossary)\.ipynb', r'href="\1.html', html)
    # The cell of a word has the name of its heading, which an identifier writes without marks.
    html = re.sub(r"#cell-id=word-([\w-]+)", lambda word: "#" + word[1].replace("-s-", "'s-"), html)
    return FORMULA.sub(lambda found: _formula(
        unescape(found[1] or found[2]), size_pt=14 if found[1] else 10), html)


def _formula(tex: str, size_pt: int) -> str:
    """Return a formula as a picture: no page of ours fetches a program to set it."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.mathtext import math_to_image

    file = io.BytesIO()
    depth_pt = math_to_image(f"${tex.strip().rstrip('.')}$", file,
                             prop=FontProperties(size=size_pt), dpi=72, format="svg")
    drawn = re.sub(r"<metadata>.*?</metadata>", "", file.getvalue().decode(), flags=re.DOTALL)
    height_pt = float(re.search(r'<svg[^>]*? height="([\d.]+)pt"', drawn)[1])
    data = b64encode(drawn.encode()).decode()
    return (f'<img class="formula" alt="{escape(tex, quote=True)}" style="height: '
            f'{height_pt / 10:.2f}em; vertical-align: {-depth_pt / 10:.2f}em" '
            f'src="data:image/svg+xml;base64,{data}">')


def outputs(cell: NotebookCell, *, on_paper: bool = False) -> Iterator[Mapping[str, object]]:
    """Return the outputs of a cell as HTML, with what stands for controls marked as such.

    On paper the lines on how to answer by text give way to lines to write on.
    """
    if on_paper and "my_record(" in cell.source:
        return  # a record is kept on a machine
    stands_in = bool(CONTROLS.search(cell.source))
    for kind, together in groupby(cell.outputs, key=lambda output: output["output_type"]):
        if kind == "stream":
            words = "".join(_text(output["text"]) for output in together)
            yield {"html": _plain(words), "stands_in": False}
        else:
            yield from _displayed(together, stands_in, on_paper)


def _displayed(shown, stands_in: bool, on_paper: bool) -> Iterator[Mapping[str, object]]:
    for output in shown:
        if output["output_type"] == "error":
            yield {"html": _plain(f"{output['ename']}: {output['evalue']}"), "stands_in": False}
            continue
        data = output.get("data", {})
        html = _picture(data) or _text(data.get("text/html", ""))
        if on_paper:
            html = AT_THE_SCREEN.sub("", html)
        words = _text(data.get("text/plain", ""))
        if not html and words:
            html = _on_paper(words) if stands_in and on_paper else _plain(words)
        if html:
            yield {"html": html, "stands_in": stands_in}


def _picture(data: Mapping) -> str:
    if "image/png" not in data:
        return ""
    alternative = escape(_text(data.get("text/plain", "picture")), quote=True)
    return (f'<img alt="{alternative}" src="data:image/png;base64,'
            f'{_text(data["image/png"]).strip()}">')


def _on_paper(words: str) -> str:
    """Return tasks with room to write, one after the other."""
    found = []
    for task in re.split(r"\n\s*\n", words):
        kept = "\n".join(line for line in task.splitlines() if not BY_TEXT.match(line))
        if kept and "Answer: {" in task:
            found.append(_table_on_paper(kept))
        elif kept:
            found.append(f'<div class="task">{_plain(kept)}{_room(task)}</div>')
    return "".join(found)


def _room(task: str) -> str:
    """Return lines to write on, as many as the task asks for."""
    if "Step 4, " in task:
        return ""
    if "Step 1, " in task:
        labels = ("Sketch", "Sort", "", "Calculate", "", "Compare")
    elif "'because'" in task:
        labels = ("My choice, because", "Seen in the run")
    else:
        labels = ("",) if "\na) " in task else ("", "", "")
    return "".join(f'<p class="write">{label}</p>' for label in labels)


def _table_on_paper(task: str) -> str:
    """Return a table to fill in: what to choose from stands small, the rest is empty."""
    # lines of a stored task are broken, and go on with an indent
    lines = re.sub(r"\n {2,}(?=\S)", " ", task).splitlines()
    text = [line for line in lines if not ROW.match(line)]
    rows = ""
    for place, column, cell in (ROW.match(line).groups() for line in lines if ROW.match(line)):
        empty = NUMBER.match(cell)
        kind = "words" if cell == "your own words" else "number" if empty else "given"
        shown = "" if kind == "words" else empty[1] or "" if empty else cell
        rows += (f'<tr><td>{escape(place)}</td><td>{escape(column)}</td>'
                 f'<td class="{kind}">{escape(shown)}</td></tr>')
    return (f'{_plain(chr(10).join(text))}<table class="fill"><thead><tr><th scope="col">row</th>'
            f'<th scope="col">column</th><th scope="col">fill in, or mark one</th></tr></thead>'
            f'<tbody>{rows}</tbody></table>')


def _plain(text: str) -> str:
    return f"<pre>{escape(ANSI.sub('', text).rstrip())}</pre>"


def _text(value: object) -> str:
    return value if isinstance(value, str) else "".join(value)
