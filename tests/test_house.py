"""The house is as it says: imports go one way, doors are light, names stand once.

Everything is read from the code itself; no list of modules is kept by hand.
"""

import ast
import graphlib
import subprocess
import sys
from collections import Counter

import nbformat
import pytest

import labkit
import lessons
from tests.house import (
    IMPORTS,
    MODULES,
    PACKAGES,
    PICTURE,
    ROOT,
    code_lines,
    lines_by_room,
    picture,
    room_of,
    rooms,
    table,
    unused,
)

# What models may need, and what drawing and controls need on top of it.
MODELS_NEED = {"labkit", "lazy_loader", "numpy", "scipy", "jsonschema"}
HEAVY = ("matplotlib", "ipywidgets", "IPython", "jupyterlab", "scipy.stats")
# What a cell may import beside the two doors.
CELLS_MAY = {"numpy", "matplotlib", "scipy"} | sys.stdlib_module_names


def assert_one_way(graph):
    try:
        tuple(graphlib.TopologicalSorter(graph).static_order())
    except graphlib.CycleError as error:
        pytest.fail(f"a circle of imports: {' -> '.join(error.args[1])}")


def test_no_module_imports_in_a_circle():
    assert_one_way({name: found & set(MODULES) for name, found in IMPORTS.items()})


def test_no_room_imports_in_a_circle():
    assert_one_way(rooms())


def test_the_test_of_circles_finds_one():
    with pytest.raises(pytest.fail.Exception, match="a circle of imports"):
        assert_one_way({"a": {"b"}, "b": {"c"}, "c": {"a"}})


def test_models_never_import_the_course():
    wrong = {name: found for name, found in IMPORTS.items() if name.split(".")[0] == "labkit"
             and any(each.split(".")[0] == "lessons" for each in found)}
    assert not wrong


def test_models_need_few_libraries():
    tops = {each.split(".")[0] for name, found in IMPORTS.items() if name.startswith("labkit")
            for each in found}
    assert tops - sys.stdlib_module_names <= MODELS_NEED


def test_nothing_stands_there_for_tests_alone():
    assert unused() == []


def test_no_model_reaches_another_by_its_name_in_a_text():
    by_name = {"importlib", "pkgutil", "runpy"}
    assert not {name for name, found in IMPORTS.items() if name.startswith("labkit")
                and {each.split(".")[0] for each in found} & by_name}


def test_nothing_imports_from_a_door_that_it_stands_behind():
    behind = [name for name, found in IMPORTS.items()
              if name.partition(".")[0] in found and name not in PACKAGES]
    assert not behind


def test_no_file_name_stands_twice_and_none_is_taken_for_a_test():
    count = Counter(path.stem for path in MODULES.values() if not path.stem.startswith("__"))
    assert [stem for stem, times in count.items() if times > 1] == []
    assert not [stem for stem in count if stem.startswith("test_") or stem.endswith("_test")]


def test_the_drawing_in_the_guide_names_every_room_and_module():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    drawing = text.partition("```text house\n")[2].partition("```")[0]
    drawn = {word.strip().split()[0].strip("/").removesuffix(".py")
             for word in drawing.splitlines() if word.strip()}
    tops = {room_of(name).split(".")[-1] for name in MODULES}
    assert tops - drawn - {"__main__"} == set()


def test_lint_and_order_of_imports():
    command = [sys.executable, "-m", "ruff", "check", "--no-cache", "--output-format=concise"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def fresh(code):
    """Return what a new interpreter prints that sees this checkout first."""
    # -P leaves out the folder of the caller, which would otherwise come before everything.
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r})\n{code}"
    done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("package", PACKAGES)
def test_a_door_opens_without_loading_what_is_behind_it(package):
    loaded = fresh(f"import {package}; print(*sys.modules)").split()
    assert not set(HEAVY) & set(loaded) and "numpy" not in loaded


def test_models_draw_nothing():
    names = [name for name in MODULES if name.startswith("labkit")]
    code = "".join(f"import {name}\n" for name in names)
    code += "from labkit.plant.file import find_file, read_file\nread_file(find_file('mirelow'))\n"
    loaded = fresh(f"{code}print(*sys.modules)").split()
    assert not set(HEAVY) & set(loaded)
    # The grammar of addresses, which the checker of schemas would take a second to build.
    assert "lark" not in loaded


@pytest.mark.parametrize("package", [labkit, lessons], ids=PACKAGES)
def test_every_name_at_a_door_can_be_had(package):
    assert [name for name in package.__all__ if getattr(package, name, None) is None] == []
    assert sorted(package.__all__) == sorted(set(package.__all__))
    assert set(package.__all__) <= set(dir(package))


@pytest.mark.parametrize("path", sorted((ROOT / "lessons").glob("*.ipynb")), ids=lambda p: p.stem)
def test_a_lesson_imports_from_the_doors_and_from_nothing_deeper(path):
    deeper = []
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            for node in ast.walk(ast.parse(cell.source)):
                if isinstance(node, ast.ImportFrom):
                    names = [node.module]
                elif isinstance(node, ast.Import):
                    names = [alias.name for alias in node.names]
                else:
                    continue
                deeper += [name for name in names if name not in PACKAGES
                           and name.split(".")[0] not in CELLS_MAY]
    assert deeper == []


def test_lines_of_code_are_counted_by_room():
    print(table())
    lines = lines_by_room()
    assert sum(lines.values()) == sum(
        code_lines(path.read_text("utf-8")) for path in MODULES.values())
    assert code_lines('"""Head."""\n\nA = 1  # one\n\n\ndef f():\n    """Say."""\n    return A\n') == 3


def test_the_picture_of_the_house_is_what_the_code_is():
    assert PICTURE.read_text("utf-8") == picture(), "draw it anew: python -m tests.house --draw"


def test_no_name_of_a_class_stands_twice():
    count = Counter(node.name.lstrip("_") for path in MODULES.values()
                    for node in ast.walk(ast.parse(path.read_text("utf-8")))
                    if isinstance(node, ast.ClassDef))
    assert [name for name, times in count.items() if times > 1] == []
