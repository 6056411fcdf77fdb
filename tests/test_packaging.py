"""What an installation holds, and that it finds its lessons."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from lessons.desk.learner_folder import lessons_source
from tests.notebooks import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PACKAGES = ("labkit", "lessons")


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
    for package in PACKAGES:
        files = [path for path in (ROOT / package).rglob("*") if path.is_file() and kept(path)]
        assert {path.suffix for path in files} >= {".py", ".pyi", ".toml"}
        for path in files:
            name = path.relative_to(ROOT).as_posix()
            assert name in names
            assert wheel.read(name) == path.read_bytes()


def kept(path: Path) -> bool:
    return not {"__pycache__", ".ipynb_checkpoints"}.intersection(path.parts)


def test_wheel_holds_nothing_else(wheel):
    tops = {name.split("/")[0] for name in wheel.namelist()}
    assert tops == {*PACKAGES, f"redundancy_workbook-{PROJECT['version']}.dist-info"}
    assert not [name for name in wheel.namelist() if not kept(Path(name))]


def test_wheel_names_its_licence(wheel):
    (name,) = (name for name in wheel.namelist() if name.endswith("METADATA"))
    text = wheel.read(name).decode()
    assert "License-Expression: MIT" in text and "License-File: LICENSE" in text
    assert f"Requires-Python: {PROJECT['requires-python']}" in text


def test_lessons_are_found_in_an_unpacked_installation(wheel, tmp_path):
    wheel.extractall(tmp_path)
    code = "from lessons.desk.learner_folder import lessons_source; print(lessons_source())"
    found = fresh(code, path=tmp_path)
    assert Path(found.strip()) == tmp_path / "lessons"


def test_lessons_are_found_in_a_working_copy():
    assert lessons_source() == ROOT / "lessons"


def fresh(code: str, path: Path = ROOT) -> str:
    """Return what a new interpreter prints that sees `path` first."""
    # -P leaves out the folder of the caller, which would otherwise come before everything.
    code = f"import sys; sys.path.insert(0, {str(path)!r})\n{code}"
    done = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_citation_names_this_version():
    cited = (ROOT / "CITATION.cff").read_text("utf-8")
    assert f"\nversion: {PROJECT['version']}\n" in cited
    assert f"\nlicense: {PROJECT['license']}\n" in cited
