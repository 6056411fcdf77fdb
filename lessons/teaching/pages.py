"""Templates, and markdown and outputs of a lesson as HTML."""

import functools
import io
import re
from base64 import b64encode
from collections.abc import Iterator, Mapping
from html import escape, unescape

from lessons.exercises.control_frame import prose
from lessons.exercises.item import LETTERS
from lessons.language.edges import turned_page
from lessons.teaching.lesson_file import NotebookCell

# Name, content, and what is said beside the name; a text alone is said.
Files = Iterator[tuple[str, str | bytes, str] | str]
WRITTEN_ON = ("worksheet.html.j2", "exam.html.j2")
CONTROLS = re.compile(r"\b(?:ask|steps|predict_first|recall|\w+_panel)\(")
FORMULA = re.compile(r"\$\$(.+?)\$\$|\$([^$<>\n]+)\$", re.DOTALL)
ANSI = re.compile(r"\x1b\[[0-9;]*m")


@functools.cache
def _templates():
    from jinja2 import Environment, PackageLoader
    from markupsafe import Markup

    found = Environment(loader=PackageLoader("lessons.teaching"), autoescape=True, trim_blocks=True,
                        lstrip_blocks=True)
    found.filters |= {"prose": lambda text: Markup(prose(text)),
                      "lines": lambda text: Markup(prose(text.strip()).replace("\n", "<br>")),
                      "lettered": lambda options: zip(LETTERS, options)}
    return found


def piece(template: str, **values: object) -> str:
    """Fill a template of this package; all text is escaped unless the template says otherwise."""
    return _templates().get_template(template).render(values)


def macro(template: str, name: str, /, **values: object) -> str:
    """Return what a macro of a template makes of its values."""
    return str(getattr(_templates().get_template(template).module, name)(**values)).strip()


def page(template: str, **values: object) -> str:
    """Return a whole page from a template; what a class writes on is in the language asked for."""
    html = piece(template, **values)
    return turned_page(html) if template in WRITTEN_ON else html


def markdown(text: str) -> str:
    """Return markdown as HTML: links between lessons lead to the copies, formulas are pictures."""
    from nbconvert.filters.markdown import markdown2html

    html = markdown2html(text)
    html = re.sub(r'<a class="anchor-link"[^>]*>.*?</a>', "", html)
    html = re.sub(r'href="(\d\d_\w+|glossary)\.ipynb', r'href="\1.html', html)
    # The cell of a word has the name of its heading, which an identifier writes without marks.
    html = re.sub(r"#cell-id=word-([\w-]+)", lambda word: "#" + word[1].replace("-s-", "'s-"), html)
    return FORMULA.sub(lambda found: formula(
        unescape(found[1] or found[2]), size_pt=14 if found[1] else 10), html)


def formula(tex: str, size_pt: int) -> str:
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


def outputs(cell: NotebookCell) -> Iterator[Mapping[str, object]]:
    """Return the outputs of a cell as HTML, with what stands for controls marked as such."""
    stands_in = bool(CONTROLS.search(cell.source))
    for output in cell.outputs:
        if output["output_type"] == "stream":
            yield {"html": _plain(_text(output["text"])), "stands_in": False}
        elif output["output_type"] == "error":
            yield {"html": _plain(f"{output['ename']}: {output['evalue']}"), "stands_in": False}
        else:
            data = output.get("data", {})
            html = _picture(data) or _text(data.get("text/html", ""))
            if words := "" if html else _text(data.get("text/plain", "")):
                html = _plain(words)
            if html:
                yield {"html": html, "stands_in": stands_in}


def _picture(data: Mapping) -> str:
    if "image/png" not in data:
        return ""
    alternative = escape(_text(data.get("text/plain", "picture")), quote=True)
    return (f'<img alt="{alternative}" src="data:image/png;base64,'
            f'{_text(data["image/png"]).strip()}">')


def _plain(text: str) -> str:
    return f"<pre>{escape(ANSI.sub('', text).rstrip())}</pre>"


def _text(value: object) -> str:
    return value if isinstance(value, str) else "".join(value)
