"""The sentences of the workbook, found where they stand: notebooks, tables, code, pages, scripts, stories.

Nothing is marked in the code. A text between quotes is the template of a sentence as it stands, and
the names that are put into it stand in braces; where one of two words is put in, there are two.
"""

import ast
import itertools
import json
import re
import tomllib
from pathlib import Path

from lessons.language.notebooks import LINK, masked, pieces
from lessons.language.turning import PLACE, is_neutral

ROOT = Path(__file__).resolve().parent.parent
MOST_VARIANTS = 8
SKIPPED = {"language", "desk"}
FORMULAS = {"value", "right", "id", "key", "type", "misconception", "derived", "computed", "picture",
            "run", "holds", "unit", "objective", "case", "follows", "value_from", "formula", "cases",
            "recall", "number", "acts", "situation"}
"""Keys of the items whose texts nobody reads."""


def all_templates():
    """Yield every template outside the notebooks, with the place that it stands at."""
    for package in ("labkit", "lessons"):
        for path in sorted((ROOT / package).rglob("*")):
            place = path.relative_to(ROOT).as_posix()
            if path.parent.name in SKIPPED:
                continue
            if path.suffix == ".py":
                yield from ((text, place) for text in code_templates(path.read_text("utf-8")))
            elif path.suffix == ".toml":
                yield from ((text, f"{place}: {where}") for text, where in
                            table_templates(tomllib.loads(path.read_text("utf-8"))))
            elif path.suffix == ".j2":
                yield from ((text, place) for text in page_templates(path.read_text("utf-8")))
            elif path.suffix == ".js":
                yield from ((text, place) for text in script_templates(path.read_text("utf-8")))
            elif path.suffix == ".json" and path.parent.name == "story_files":
                story = json.loads(path.read_text("utf-8"))
                yield from ((text, place) for key in ("name", "about") for text in _sayings(story[key]))


def code_templates(source):
    """Yield the texts of a module that may be shown: no docstring, none of an error raised."""
    tree = ast.parse(source)
    skipped = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skipped.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(part) for part in node.values}
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
            skipped |= {id(part) for part in _put_together(node)}
        if isinstance(node, ast.Raise):
            skipped |= {id(part) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant | ast.JoinedStr | ast.BinOp) and id(node) not in skipped:
            for text in _variants(node):
                yield from _read_in(text)


def _put_together(node):
    """Yield the texts that are put together by plus signs, which are no texts by themselves."""
    parts = ((node.left, node.right) if isinstance(node, ast.BinOp) else
             (node.body, node.orelse) if isinstance(node, ast.IfExp) else ())
    for part in parts:
        yield part
        yield from _put_together(part)


def _variants(node):
    """Return the templates that an expression may give; none where it is no text."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.IfExp):
        return [*_variants(node.body), *_variants(node.orelse)]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _variants(node.left), _variants(node.right)
        both = [one + other for one in left for other in right][:MOST_VARIANTS]
        return both or [*left, *right]
    if not isinstance(node, ast.JoinedStr):
        return []
    parts = []
    for place, part in enumerate(node.values):
        if isinstance(part, ast.Constant):
            parts.append([part.value.replace("{", "(").replace("}", ")")])
            continue
        value = part.value
        both = ([text for each in (value.body, value.orelse) for text in _variants(each)]
                if isinstance(value, ast.IfExp) else [])
        parts.append(both if len(both) > 1 else [_name(value, place)])
    many = list(itertools.islice(itertools.product(*parts), MOST_VARIANTS))
    return ["".join(each) for each in many]


def _name(value, place):
    text = ast.unparse(value)
    return "{%s}" % (text if re.fullmatch(r"[\w.\[\]]+", text) else place)


def _read_in(text):
    """Yield what is read in a text, which may hold tags."""
    for part in re.split(r"<[^>]*>|&\w+;", text) if re.search(r"<\w+|</|&\w+;", text) else [text]:
        yield from _sayings(part)
    yield from (said for _, said in re.findall(r'(title|alt|placeholder|aria-label|Label)="([^"<{]+)"', text))


def _sayings(text):
    for line in [text, *text.split("\n")] if "\n" in text else [text]:
        line = line.strip().lstrip(",;:.)( ")
        if line and not is_neutral(PLACE.sub("", line)):
            yield line


def item_templates(number):
    """Yield the texts of the items of a lesson, asked today or not."""
    path = ROOT / "lessons" / "items" / f"lesson_{number}.toml"
    for text, where in table_templates(tomllib.loads(path.read_text("utf-8")), skip=FORMULAS):
        yield text, f"{path.name}: {where}"


def table_templates(table, where="", skip=frozenset()):
    """Yield the texts of a table, with its ids and keys as their place."""
    if isinstance(table, dict):
        own = " ".join(str(table[key]) for key in ("id", "key") if key in table)
        for key, value in table.items():
            if key not in skip:
                yield from table_templates(value, " ".join(filter(None, (where, own, key))), skip)
    elif isinstance(table, list):
        for each in table:
            yield from table_templates(each, where, skip)
    elif isinstance(table, str):
        paragraphs = re.split(r"\n[ \t]*\n", table.strip(" \t\n"))
        folded = "\n".join(re.sub(r"[ \t]*\n[ \t]*", " ", paragraph) for paragraph in paragraphs)
        for text in _sayings(folded):
            yield text.partition(" | ")[0], where


def page_templates(source):
    """Yield what is read in a template of a page."""
    for part in re.split(r"<style>.*?</style>|<[^>]*>|\{%.*?%\}", source, flags=re.DOTALL):
        text = re.sub(r"\{\{\s*(.*?)\s*\}\}", lambda found: "{%s}" % re.sub(r"\W+", " ", found[1]),
                      part)
        yield from _sayings(re.sub(r"\s+", " ", text))


def script_templates(source):
    """Yield the texts of a script."""
    for mark, text in re.findall(r"([\"`])((?:(?!\1)[^\n])+)\1", source):
        text = re.sub(r"\$\{", "{", text) if mark == "`" else text
        if " " in text and not re.search(r"[<>]", text):
            yield from _sayings(text)


def notebook_templates(path):
    """Yield the paragraphs of a notebook and the tasks of its panels, with the id of their cell."""
    for cell in json.loads(path.read_text("utf-8"))["cells"]:
        if cell["cell_type"] == "code":
            for text in re.findall(r'task="([^"]+)"', "".join(cell["source"])):
                yield text, f"{path.name}#{cell['id']}"
        if cell["cell_type"] == "markdown":
            for piece in pieces("".join(cell["source"])):
                link = LINK.fullmatch(piece)
                text = link[1] if link else masked(piece)
                if not is_neutral(PLACE.sub("", text)):
                    yield text, f"{path.name}#{cell['id']}"
