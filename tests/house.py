"""The house, read from the code: rooms, imports and lines of code, and a picture of them.

    python -m tests.house             print the lines of code by room
    python -m tests.house --draw      and draw figures/house.svg
"""

import argparse
import ast
import functools
import graphlib
import io
import re
import tokenize
from collections import Counter
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("labkit", "lessons")
PICTURE = ROOT / "figures" / "house.svg"

QUIET = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT,
         tokenize.ENDMARKER}


def name_of(path):
    """Return the dotted name of a module."""
    place = path.relative_to(ROOT).with_suffix("")
    return ".".join(place.parts[:-1] if place.name == "__init__" else place.parts)


MODULES = {name_of(path): path for package in PACKAGES
           for path in sorted((ROOT / package).rglob("*.py"))}


def imported_by(path):
    """Return the dotted names that a file imports, at its head or later."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found.add(whole if whole in MODULES else node.module)
    return found


IMPORTS = {name: imported_by(path) for name, path in MODULES.items()}


def room_of(module):
    return ".".join(module.split(".")[:2])


def rooms():
    """Return for each room the other rooms that it imports from."""
    found = {}
    for name, imports in IMPORTS.items():
        others = {room_of(each) for each in imports & set(MODULES)} - {room_of(name)}
        found.setdefault(room_of(name), set()).update(others)
    return found


@functools.cache
def code_lines(text):
    """Return how many lines of a module hold code: no docstring, no comment, no blank."""
    documented = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) \
                    and isinstance(first.value.value, str):
                documented.update(range(first.lineno, first.end_lineno + 1))
    lines = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in QUIET:
            lines.update(range(token.start[0], token.end[0] + 1))
    return len(lines - documented)


def unused():
    """Return functions, classes and constants that nothing in the product names, tests apart."""
    files = {*MODULES.values(), *ROOT.glob("l*/__init__.pyi"), *ROOT.glob("lessons/*.ipynb"),
             *ROOT.glob("l*/**/*.toml")}
    words = {path: set(re.findall(r"\w+", path.read_text("utf-8"))) for path in files}
    found = []
    for path in MODULES.values():
        tree = ast.parse(path.read_text("utf-8"))
        own = {node.id for node in ast.walk(tree)
               if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)}
        for name in filter(None, map(_defined, tree.body)):
            # Formulas of items and the table of commands leave the _ out.
            names = {name, name.lstrip("_")}
            if not names & own and not any(names & words[each] for each in files - {path}):
                found.append(f"{name_of(path)}.{name}")
    return found


def _defined(node):
    """Return the name that a statement gives; a function under a decorator is given to that."""
    if isinstance(node, ast.ClassDef) or isinstance(node, ast.FunctionDef) and not node.decorator_list:
        return node.name
    target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
    name = getattr(target, "id", "")
    return "" if name.startswith("__") else name


def lines_by_room():
    """Return the lines of code of each room, largest first."""
    count = Counter()
    for name, path in MODULES.items():
        count[room_of(name)] += code_lines(path.read_text("utf-8"))
    return dict(count.most_common())


def table():
    """Return the lines of code by room and by package, as text."""
    lines = lines_by_room()
    sums = {package: sum(n for room, n in lines.items() if room.split(".")[0] == package)
            for package in PACKAGES}
    rows = [*lines.items(), *((f"{name} in all", n) for name, n in sums.items()),
            ("both", sum(sums.values()))]
    return "\n".join(f"{n:7d}  {name}" for name, n in rows)


def order(graph):
    """Return the rooms so that each stands behind all that it imports from."""
    return [room for room in graphlib.TopologicalSorter(
        {room: sorted(graph[room]) for room in sorted(graph)}).static_order()]


def picture():
    """Return the rooms of both packages as SVG: a curve leads from a room up to what it needs."""
    graph = {room: below for room, below in rooms().items() if room not in PACKAGES}
    graph = {room: below & set(graph) for room, below in graph.items()}
    places, rows = {}, Counter()
    for room in order(graph):
        package = room.split(".")[0]
        column = PACKAGES.index(package)
        places[room] = 40 + 520 * column, 70 + 56 * rows[package]
        rows[package] += 1
    height = 90 + 56 * max(rows.values())
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 940 {height}" role="img" '
             'font-family="DejaVu Sans, sans-serif" font-size="16">',
             "<title>The rooms of labkit and lessons, and which imports from which</title>",
             f'<rect width="940" height="{height}" fill="#fff"/>',
             '<text x="40" y="40" font-weight="bold">labkit: the models</text>',
             '<text x="560" y="40" font-weight="bold">lessons: the course</text>',
             '<path d="M545 34H290" stroke="#333" stroke-width="2"/>'
             '<path d="M290 34l12 -6v12z" fill="#333"/>'
             '<text x="330" y="26" font-size="13">imports from, never back</text>']
    for room, below in sorted(graph.items()):
        x, y = places[room]
        for other in sorted(below):
            far_x, far_y = places[other]
            if far_x == x:
                bend = x + 212 + 0.45 * (y - far_y)
                parts.append(f'<path d="M{x + 200} {y + 12}Q{bend:g} {(y + far_y) / 2 + 18:g} '
                             f'{x + 200} {far_y + 24}" fill="none" stroke="#666"/>')
    for room, (x, y) in places.items():
        parts.append(f'<rect x="{x}" y="{y}" width="200" height="36" rx="4" fill="#eef2f6" '
                     'stroke="#333"/>'
                     f'<text x="{x + 12}" y="{y + 24}">{escape(room.split(".")[1])}</text>')
    return "\n".join([*parts, "</svg>\n"])


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.house", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draw", action="store_true", help="draw figures/house.svg")
    if parser.parse_args().draw:
        PICTURE.write_text(picture(), encoding="utf-8")
        print(f"{PICTURE.relative_to(ROOT)} drawn")
    print(table())


if __name__ == "__main__":
    main()
