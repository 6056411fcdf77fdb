"""What an installation holds, what an import loads, and that imports go one way only."""

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from labkit.lessons_folder import lessons_source
from tests.notebooks import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# Drawing and controls: heavy, and of no use to a model.
HEAVY = ("matplotlib", "ipywidgets", "IPython", "jupyterlab", "scipy.stats")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation"]
    made = subprocess.run(
        [*command, "--disable-pip-version-check", "--wheel-dir", str(folder), str(ROOT)],
        capture_output=True,
        text=True,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    (file,) = folder.glob("*.whl")
    with zipfile.ZipFile(file) as archive:
        yield archive


def test_wheel_holds_what_a_learner_needs(wheel):
    names = set(wheel.namelist())
    for folder, place in (
        (ROOT / "lessons", "labkit/lessons"),
        (ROOT / "labkit" / "plants", "labkit/plants"),
        (ROOT / "labkit" / "lab_config", "labkit/lab_config"),
    ):
        files = [path for path in folder.rglob("*") if path.is_file() and kept(path)]
        assert files, f"nothing in {folder}"
        for path in files:
            name = f"{place}/{path.relative_to(folder).as_posix()}"
            assert name in names
            assert wheel.read(name) == path.read_bytes()
    modules = {path for path in (ROOT / "labkit").rglob("*.py") if kept(path)}
    assert {f"labkit/{path.relative_to(ROOT / 'labkit').as_posix()}" for path in modules} <= names


def kept(path: Path) -> bool:
    return not {"__pycache__", ".ipynb_checkpoints"}.intersection(path.parts)


def test_wheel_holds_nothing_else(wheel):
    tops = {name.split("/")[0] for name in wheel.namelist()}
    assert tops == {"labkit", f"redundancy_workbook-{PROJECT['version']}.dist-info"}
    assert not [name for name in wheel.namelist() if not kept(Path(name))]


def test_wheel_names_its_licence(wheel):
    (name,) = (name for name in wheel.namelist() if name.endswith("METADATA"))
    text = wheel.read(name).decode()
    assert "License-Expression: MIT" in text and "License-File: LICENSE" in text
    assert f"Requires-Python: {PROJECT['requires-python']}" in text


def test_lessons_are_found_in_an_unpacked_installation(wheel, tmp_path):
    wheel.extractall(tmp_path)
    code = "from labkit.lessons_folder import lessons_source; print(lessons_source())"
    found = fresh(code, path=tmp_path)
    assert Path(found.strip()) == tmp_path / "labkit" / "lessons"


def test_lessons_are_found_in_a_working_copy():
    assert lessons_source() == ROOT / "lessons"


def fresh(code: str, path: Path = ROOT) -> str:
    """Return what a new interpreter prints that sees `path` first."""
    # -P leaves out the folder of the caller, which would otherwise come before everything.
    code = f"import sys; sys.path.insert(0, {str(path)!r})\n{code}"
    done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


# The house as DEVELOPERS.md draws it, which keeps the drawing true.


def drawn_house() -> list[str]:
    """Return the modules in the drawing, from the ground up."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    drawing = re.search(r"^```text house\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert drawing, "no drawing of the house in DEVELOPERS.md"
    return re.findall(r"^ *(\w+)(?:\.py|/) ", drawing[1], re.MULTILINE)


def modules() -> dict[str, list[Path]]:
    """Return the modules of the package: name -> its files; a package in it counts as one."""
    found: dict[str, list[Path]] = {}
    for path in sorted((ROOT / "labkit").rglob("*.py")):
        place = path.relative_to(ROOT / "labkit")
        name = place.parts[0].removesuffix(".py")
        if name != "__init__":
            found.setdefault(name, []).append(path)
    return found


def imported_by(path: Path) -> set[str]:
    """Return the modules of labkit that a file imports, at its head or later.

    A name that is only passed on, by the module's own `__getattr__`, is no dependence: the module
    works without it.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed_on = {
        id(inner)
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and node.name == "__getattr__"
        for inner in ast.walk(node)
    }
    found = set()
    for node in ast.walk(tree):
        if id(node) in passed_on:
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return {name.split(".")[1] for name in found if name.startswith("labkit.")}


def test_the_house_is_drawn_as_it_is():
    assert sorted(drawn_house()) == sorted(modules())


@pytest.mark.parametrize("name", modules())
def test_imports_go_down_only(name):
    order = drawn_house()
    below = set(order[: order.index(name)])
    known = set(modules())
    for path in modules()[name]:
        above = (imported_by(path) & known) - below - {name}
        assert not above, f"{path.name} imports what stands above it"


def test_import_of_the_package_is_light():
    loaded = fresh("import labkit; print(*sys.modules)").split()
    assert not set(HEAVY) & set(loaded) and "numpy" not in loaded


def test_models_draw_nothing():
    order = drawn_house()
    models = [name for name in order[: order.index("exercises")]]
    code = "".join(f"import labkit.{name}\n" for name in models)
    loaded = fresh(f"{code}print(*sys.modules)").split()
    assert not set(HEAVY) & set(loaded)
