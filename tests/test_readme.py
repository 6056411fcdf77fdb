"""What the README and .ci/run say is so."""

import io
import re
import stat
import subprocess
import sys
from contextlib import redirect_stdout

import pytest

from lessons.__main__ import COMMANDS
from tests.notebooks import ROOT, lessons

GUIDES = {
    name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")
}
README = GUIDES["README.md"]


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_two_commands_on_each_system():
    unix = ["".join(block.split()) for block in blocks("sh")]
    windows = ["".join(block.split()) for block in blocks("bat")]
    assert len(unix) == len(windows) == 2
    assert [line.count("&&") for line in unix] == [2, 2]
    # The two systems differ in the name of Python and in the folder of the environment only.
    translated = [
        command.replace("python3-mvenv", "py-mvenv").replace(".venv/bin/", ".venv\\Scripts\\")
        for command in unix
    ]
    assert windows == translated
    assert unix[0].endswith("&&.venv/bin/workbook") and unix[1].endswith("-mpytest")


def test_ci_runs_the_test_command_of_the_readme():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (pattern,) = re.findall(r"grep -m 1 -E '([^']+)' README\.md", script)
    found = re.findall(pattern, README, re.MULTILINE)
    assert found == [blocks("sh")[1].strip()]


@pytest.mark.skipif(sys.platform == "win32", reason="a script for Debian")
def test_ci_script_can_be_read_and_run():
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & stat.S_IXUSR
    assert subprocess.run(["bash", "-n", str(script)]).returncode == 0


def test_the_map_of_the_lessons_is_true():
    rows = re.findall(r"^\| (\*\*)?(\d\d_\w+?)(?:\*\*)? \|", README, re.MULTILINE)
    assert [name[:2] for _, name in rows] == [f"{number:02d}" for number in range(1, 13)]
    written = [name for mark, name in rows if mark]
    assert written == [path.stem for path in lessons()]


def test_every_command_is_listed():
    listed = re.findall(r"^\| `(\w+)[ `]", README, re.MULTILINE)
    assert listed == [*COMMANDS]


def test_the_example_runs():
    for code in blocks("python"):
        printed = io.StringIO()
        with redirect_stdout(printed):
            exec(code, {})
        assert re.search(r"\d", printed.getvalue())


@pytest.mark.parametrize("name", GUIDES)
def test_links_and_named_files_exist(name):
    text = GUIDES[name]
    links = re.findall(r"\]\(([^)#]+)\)", text)
    missing = [link for link in links if "://" not in link and not (ROOT / link).exists()]
    places = re.findall(r"`((?:labkit|tests|lessons|figures|\.ci)/[\w./-]*)`", text)
    missing += [place for place in places if not (ROOT / place).exists()]
    assert (links or places) and not missing
