"""The command line, with JupyterLab taken away and with the real one."""

import contextlib
import errno
import io
import json
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import pytest

import lessons.desk.learner_folder
from lessons.__main__ import COMMANDS, _words_of, main
from lessons.desk.lab import lab_environment
from lessons.desk.learner_folder import lessons_source
from lessons.exercises.learner_record import FOLDER_VARIABLE, LearnerRecord
from lessons.teaching.kit import run_lesson
from lessons.teaching.lesson_file import chosen_lessons
from tests.browser import free_port
from tests.notebooks import ROOT


@pytest.fixture
def source(tmp_path, monkeypatch):
    folder = tmp_path / "source"
    folder.mkdir()
    for name in ("01_one.ipynb", "02_two.ipynb"):
        (folder / name).write_text(
            '{"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}'
        )
    monkeypatch.setattr(lessons.desk.learner_folder, "lessons_source", lambda: folder)
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    return folder


@pytest.fixture
def started(monkeypatch):
    """What JupyterLab would have been started with: its arguments and the environment."""
    starts = []
    monkeypatch.setattr(os, "environ", os.environ.copy())
    monkeypatch.setattr(
        "jupyterlab.labapp.LabApp.launch_instance", lambda words: starts.append((words, dict(os.environ)))
    )
    return starts


@pytest.mark.parametrize(
    ("words", "folder"),
    [
        ([], "my-workbook"),
        (["open"], "my-workbook"),
        (["elsewhere"], "elsewhere"),
        (["open", "elsewhere"], "elsewhere"),
        (["--no-browser"], "my-workbook"),
        (["deep/er/folder", "--port", "8890"], "deep/er/folder"),
        (["--seed", "7"], "my-workbook"),
    ],
)
def test_open_lays_the_lessons_and_starts_the_lab(words, folder, source, started, tmp_path):
    assert main(words) == 0
    place = tmp_path / folder
    assert (place / "01_one.ipynb").exists() and (place / "02_two.ipynb").exists()
    [(arguments, environment)] = started
    assert f"--ServerApp.root_dir={place}" in arguments
    assert ("--no-browser" in arguments) == ("--no-browser" in words)
    assert ("--port=8890" in arguments) == ("8890" in words)
    assert "--LabApp.default_url=/lab/tree/01_one.ipynb" in arguments
    assert environment["OPENBLAS_NUM_THREADS"] == "1"
    assert environment[FOLDER_VARIABLE] == str(place / "record")
    assert environment["WORKBOOK_SEED"] == ("7" if "--seed" in words else "0")


def test_the_record_lies_where_the_learner_says(source, started, tmp_path, capsys):
    assert main(["--record", "elsewhere"]) == 0
    [(_, environment)] = started
    assert environment[FOLDER_VARIABLE] == str(tmp_path / "elsewhere")
    assert f"Your record: {tmp_path / 'elsewhere'}" in capsys.readouterr().out


def test_second_start_says_what_it_keeps(source, started, tmp_path, capsys):
    main([])
    first = capsys.readouterr().out
    assert f"Your folder: {tmp_path / 'my-workbook'}" in first and "2 files laid" in first
    mine = tmp_path / "my-workbook" / "01_one.ipynb"
    mine.write_text("my answers")
    main([])
    second = capsys.readouterr().out
    assert "1 file already there" in second and "1 file changed by you, kept" in second
    assert mine.read_text() == "my answers"
    # On later starts the lab shows what was open last.
    assert not any("default_url" in word for word in started[1][0])
    (source / "01_one.ipynb").write_text((source / "02_two.ipynb").read_text() + "\n")
    main([])
    third = capsys.readouterr().out
    assert re.search(r"01_one\.ipynb: yours is kept; the new version is 01_one_\d{4}", third)
    assert mine.read_text() == "my answers"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["opne"], "there is no command 'opne': the nearest is 'open'"),
        (["a-file"], "a-file must be a folder, or nothing so far"),
    ],
)
def test_what_cannot_be_done_is_said(words, message, source, started, tmp_path, capsys):
    (tmp_path / "a-file").write_text("")
    assert main(words) == 2
    assert message in capsys.readouterr().err
    assert not started


@pytest.mark.parametrize("port", ["0", "65536", "-1", "x", "8_888"])
def test_a_wrong_port_is_named_before_anything_is_laid(port, source, started, tmp_path, capsys):
    with pytest.raises(SystemExit) as exit_:
        main(["--port", port])
    assert exit_.value.code == 2
    error = capsys.readouterr().err
    # argparse takes a leading minus for an option of its own.
    assert "port must be from 1 to 65535" in error or port == "-1"
    assert not (tmp_path / "my-workbook").exists() and not started


@pytest.mark.parametrize(("words", "told"), [
    (["exam", "x", "--pass", "0.6"], "--pass: must be a whole number, got '0.6'"),
    (["key", "x", "--seed", "one"], "--seed: must be a whole number, got 'one'"),
    (["results", "x.csv", "--claim", "95 %"], "--claim: must be a number, got '95 %'"),
])
def test_a_word_that_is_no_number_is_said_with_the_rule(words, told, capsys):
    with pytest.raises(SystemExit) as exit_:
        main(words)
    assert exit_.value.code == 2 and told in capsys.readouterr().err


def test_a_folder_that_cannot_be_made_is_said(source, started, tmp_path, capsys):
    (tmp_path / "a-file").write_text("")
    assert main([str(tmp_path / "a-file" / "inside")]) == 2
    assert "a-file" in capsys.readouterr().err
    assert not started


def test_help_names_every_command(capsys):
    with pytest.raises(SystemExit) as exit_:
        main(["--help"])
    assert exit_.value.code == 0
    shown = capsys.readouterr().out
    for name, told in COMMANDS.items():
        assert name in shown and told["help"] in shown


def test_new_and_check_a_plant_file(tmp_path, capsys):
    file = tmp_path / "mine.toml"
    assert main(["new", str(file)]) == 0
    assert f"check {file}" in capsys.readouterr().out
    assert main(["check", str(file)]) == 0
    assert "errors 0" in capsys.readouterr().out
    text = file.read_text(encoding="utf-8")
    # A second time it is not written over, and the exit code says so.
    assert main(["new", str(file)]) == 2
    assert "mine.toml" in capsys.readouterr().err and file.read_text(encoding="utf-8") == text
    file.write_text(text.replace("\nmttr_h", "\nmttr", 1), encoding="utf-8")
    assert main(["check", str(file)]) == 1
    shown = capsys.readouterr().out
    assert "mttr" in shown and "line" in shown and "errors 0" not in shown
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_the_command_that_new_names_can_be_pasted(tmp_path, capsys):
    """A shell takes what stands after a space for another word."""
    for name in ("my plant.toml", "mine.toml"):
        assert main(["new", str(tmp_path / name)]) == 0
        told = capsys.readouterr().out.splitlines()[-1].strip()
        assert main(shlex.split(told)[1:]) == 0 and "errors 0" in capsys.readouterr().out


def test_a_schema_that_is_another_is_kept_and_ours_gets_a_number(tmp_path):
    (tmp_path / "plant.schema.json").write_text("mine", "utf-8")
    assert main(["new", str(tmp_path / "a.toml")]) == main(["new", str(tmp_path / "b.toml")]) == 0
    assert (tmp_path / "plant.schema.json").read_text("utf-8") == "mine"
    assert (tmp_path / "a.toml").read_text("utf-8").startswith("#:schema ./plant.schema-2.json\n")
    assert json.loads((tmp_path / "plant.schema-2.json").read_text("utf-8"))["title"] == "Plant file"


@pytest.mark.parametrize(("words", "name"), [
    (["sheets", "mirelow", "--only", "spares_plan", "--out"], "spares_plan.md"),
    (["figures", "--only", "survival", "--theme", "light"], "survival.svg"),
    (["key", "--lesson", "01"], "01_one_controller_run_sheet_seed_0.html"),
])
def test_a_file_that_is_written_over_is_named(words, name, tmp_path, capsys):
    for mine in (name, "mine.md"):
        (tmp_path / mine).write_text("mine", "utf-8")
    assert main([*words, str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert re.search(rf"Written over, for they were there already: .*{re.escape(name)}\n", said)
    assert (tmp_path / "mine.md").read_text("utf-8") == "mine" != (tmp_path / name).read_text("utf-8")


def test_no_number_of_the_system_is_shown(tmp_path, capsys):
    (tmp_path / "a").write_text("x", "utf-8")
    for words in (["key", str(tmp_path / "a"), "--lesson", "01"], ["new", str(tmp_path / "a" / "b.toml")],
                  ["results", str(tmp_path / "none")], ["class", str(tmp_path / "none")]):
        assert main(words) == 2
        said = capsys.readouterr().err
        assert "Errno" not in said and str(tmp_path) in said
    assert main(["items", "x/y"]) == 2
    assert "a lesson must be one of 01, 02" in (said := capsys.readouterr().err) and "got 'x/y'" in said


@pytest.mark.skipif(os.name == "nt", reason="there is no such limit")
def test_a_full_disk_is_named_where_a_lesson_is_run(tmp_path):
    """A limit on the length of files stands for a full disk: the kernel's own files are written too."""
    code = ("import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
            "resource.setrlimit(resource.RLIMIT_FSIZE, (1, 1)); "
            "from lessons.__main__ import main; sys.exit(main(['copies', 'out', '--lesson', '01']))")
    ran = subprocess.run([sys.executable, "-B", "-c", code], cwd=tmp_path, capture_output=True, text=True)
    assert ran.returncode == 2
    assert re.fullmatch(rf"workbook: {re.escape(tempfile.gettempdir())}.*: File too large\n", ran.stderr)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="there is no such device")
def test_an_output_that_takes_nothing_is_named():
    with open("/dev/full", "w") as full:
        ran = subprocess.run([sys.executable, "-m", "lessons", "check", "mirelow"], stdout=full,
                             stderr=subprocess.PIPE, text=True, cwd=ROOT)
    assert (ran.returncode, ran.stderr) == (2, "workbook: the output: No space left on device\n")


@pytest.mark.skipif(os.name == "nt", reason="a folder in use cannot go there")
def test_a_folder_that_went_away_under_the_command_is_named(tmp_path):
    code = ("import os, sys; os.rmdir(os.getcwd()); from lessons.__main__ import main; "
            "sys.exit(main(['new', 'x.toml']))")
    (gone := tmp_path / "gone").mkdir()
    ran = subprocess.run([sys.executable, "-c", code], cwd=gone, capture_output=True, text=True,
                         env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert (ran.returncode, ran.stderr) == (2, "workbook: this folder: No such file or directory\n")


def test_the_file_that_may_not_be_run_is_named(monkeypatch):
    def refused(*words, **named):
        raise PermissionError(errno.EACCES, "Permission denied", "/opt/python")

    monkeypatch.setattr("nbclient.NotebookClient.execute", refused)
    [path] = chosen_lessons(["01"])
    with pytest.raises(PermissionError) as told:
        run_lesson(path)
    assert told.value.filename == "/opt/python"


def test_figures_are_written_by_name(tmp_path, capsys):
    words = ["figures", str(tmp_path / "out"), "--only", "takeover", "--theme", "dark"]
    assert main(words) == 0
    written = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert written == ["takeover-dark.png", "takeover-dark.svg", "takeover.md"]
    assert "takeover-dark.svg" in capsys.readouterr().out
    assert main(["figures", str(tmp_path / "out"), "--only", "nothing"]) == 2
    assert "'nothing'" in capsys.readouterr().err


def test_figures_of_another_plant(tmp_path):
    words = ["figures", str(tmp_path), "--plant", "mirelow", "--only", "plant", "--theme", "light"]
    assert main(words) == 0
    assert "Mirelow Mushroom House" in (tmp_path / "plant.md").read_text(encoding="utf-8")


def test_class_is_counted(tmp_path, capsys):
    handed_in = tmp_path / "handed-in"
    handed_in.mkdir()
    (handed_in / "7.json").write_text(LearnerRecord(label="7").to_bundle(), encoding="utf-8")
    (handed_in / "8.json").write_text("{}", encoding="utf-8")
    assert main(["class", str(handed_in), "--csv", str(tmp_path / "table.csv"),
                 "--picture", str(tmp_path / "class.svg")]) == 0
    assert "of 1</text>" in (tmp_path / "class.svg").read_text(encoding="utf-8")
    shown = capsys.readouterr().out
    assert "8.json" in shown
    assert (tmp_path / "table.csv").read_text(encoding="utf-8-sig").startswith("learner,file")
    assert main(["class", str(tmp_path / "nowhere")]) == 2
    assert "nowhere" in capsys.readouterr().err


# ---------------------------------------------------------------- your own plant


def test_from_the_starter_to_all_papers_and_back(tmp_path, monkeypatch, capsys):
    """What the README tells somebody to do, and a filled test sheet read back."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "my_plant.toml"]) == 0
    assert main(["check", "my_plant.toml"]) == 0
    assert "my_plant.toml: errors 0" in capsys.readouterr().out
    assert main(["sheets", "my_plant.toml"]) == 0
    shown = capsys.readouterr().out
    names = sorted(path.name for path in Path("papers").iterdir())
    assert len(names) == 15 and shown.count(".html, and beside it") == 5
    assert main(["results", "papers/switchover_test.csv"]) == 0
    assert "No switchover has been judged yet" in capsys.readouterr().out
    sheet = Path("papers/switchover_test.csv")
    text = sheet.read_text(encoding="utf-8-sig").splitlines()
    head, at = text[0].split(","), next(
        number for number, line in enumerate(text) if ",must switch," in line)
    columns = {name: place - len(head) for place, name in enumerate(head)}
    cells = text[at].split(",")
    cells[columns["measured_gap_ms"]], cells[columns["as_expected"]] = "999", "yes"
    text[at] = ",".join(cells)
    sheet.write_text("\n".join(text) + "\n", encoding="utf-8")
    assert main(["results", str(sheet)]) == 1
    assert "above its limit" in capsys.readouterr().out
    # A filled sheet is never written over.
    assert main(["sheets", "my_plant.toml"]) == 2
    assert "must hold no filled test sheet" in capsys.readouterr().err


def test_a_file_with_errors_makes_no_papers(tmp_path, capsys):
    main(["new", str(tmp_path / "mine.toml")])
    text = (tmp_path / "mine.toml").read_text()
    (tmp_path / "broken.toml").write_text(text.replace("mttr_h = 4\n", "mttr_h = -4\n", 1))
    assert main(["sheets", str(tmp_path / "broken.toml"), "--out", str(tmp_path / "p")]) == 2
    assert "part KF1: mttr_h" in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


@pytest.mark.parametrize(("words", "message"), [
    (["--only", "spare_plan"], "did you mean 'spares_plan'"),
    (["--variant", "V9"], "variant"),
    (["--set", "hold=5"], "did you mean hold_ms"),
    (["--set", "hold_ms=5"], "hold_ms must be > cycle_ms"),
    (["--set", "hold_ms=long"], "hold_ms must be a whole number"),
])
def test_what_the_papers_cannot_use_is_said(words, message, tmp_path, capsys):
    assert main(["sheets", "mirelow", "--out", str(tmp_path / "p"), *words]) == 2
    assert message in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


def test_settings_and_variant_reach_the_papers(tmp_path, capsys):
    out = tmp_path / "p"
    assert main(["sheets", "mirelow", "--variant", "pair", "--out", str(out), "--only",
                 "switchover_test", "--set", "heartbeat_ms=100", "--set", "missed_beats=2"]) == 0
    text = (out / "switchover_test.md").read_text(encoding="utf-8")
    # (2 - 1) x 100 + 10 to 2 x 100 + 10, and 65 to 125 of what follows.
    assert "heartbeat 100 ms" in text and "| 175 | 335 |" in text
    assert sorted(path.suffix for path in out.iterdir()) == [".csv", ".html", ".md"]


def test_environment_keeps_other_configuration():
    given = {"JUPYTER_CONFIG_PATH": "/else/where", "OTHER": "1"}
    result = lab_environment(given)
    ours, theirs = result["JUPYTER_CONFIG_PATH"].split(os.pathsep)
    assert theirs == "/else/where" and (Path(ours) / "jupyter_lab_config.json").exists()
    assert result["OTHER"] == "1" and given["JUPYTER_CONFIG_PATH"] == "/else/where"


def _other_addresses():
    """Return addresses of this machine that another machine could use."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        try:
            # Nothing is sent; the system only says which of its addresses it would take.
            out.connect(("192.0.2.1", 9))
        except OSError:
            return []
        return [out.getsockname()[0]]


# What stands for the other words of a command, where one of them is odd; none takes long.
USUAL = {"folder": "new", "file": "new.toml", "plant": "mirelow", "log": "log.csv",
         "lesson": "01", "--fault": "KF1: no power", "--plan": "evening"}
READS = {("check", "file"), ("results", "file"), ("sheets", "plant"), ("rig", "plant"),
         ("beside", "log"), ("class", "folder")}
ENDINGS = {("new", "file"): ".toml", ("class", "--picture"): ".svg"}


def places(name):
    """Return the words of a command that name a place to read, and those of a place to write."""
    told = {word: how for word, how in _words_of(name).items()
            if word == "plant" or how.get("metavar") in ("FILE", "FOLDER")
            or how.get("type") == "path" and word != "--language" or word == "file"}
    reads = {word for word in told if (name, word) in READS or word == "--plant"}
    return reads, told.keys() - reads


@pytest.fixture(scope="module")
def odd_places(tmp_path_factory):
    """Return a folder of what can be no target, and of usual files."""
    folder = tmp_path_factory.mktemp("odd")
    for ending in ("", ".toml", ".svg"):
        (folder / f"mine{ending}").write_text("mine", "utf-8")
        (folder / f"dir{ending}").mkdir()
        (folder / f"dir{ending}" / "kept").write_text("mine", "utf-8")
        if os.name == "posix":
            os.mkfifo(folder / f"pipe{ending}")
            (folder / f"loop{ending}").symlink_to(f"loop{ending}")
            (folder / f"gone{ending}").symlink_to(f"nowhere{ending}")
            (folder / f"zero{ending}").symlink_to("/dev/zero")
    (folder / "log.csv").write_text("time,who,what\n", "utf-8")
    (folder / "in").mkdir()
    return folder


@pytest.mark.parametrize("name", COMMANDS)
def test_no_odd_place_is_read_or_written(name, odd_places, monkeypatch, capsys):
    """Each word of each command that names a place, with what can be none: refused in a sentence."""
    monkeypatch.chdir(odd_places)
    monkeypatch.setattr(os, "environ", os.environ.copy())
    monkeypatch.setattr("jupyterlab.labapp.LabApp.launch_instance", lambda words: None)
    before = {path: path.lstat().st_mtime_ns for path in odd_places.rglob("*")}
    told = _words_of(name)
    needed = [word for word, how in told.items()
              if how.get("required") or word[0] != "-" and "nargs" not in how]
    reads, writes = places(name)
    for word in reads | writes:
        ending = ENDINGS.get((name, word), "")
        odd = ["", "nowhere/x/y" if word in reads else f"mine{ending}/x", "\ud800", "a\0b", "x/" * 100]
        odd += [f"{each}{ending}" for each in ("pipe", "zero", "loop", "gone") if os.name == "posix"]
        odd += ["dir"] * (word in reads and (name, word) != ("class", "folder"))
        if word in writes:
            inside = "" if told[word].get("metavar") == "FOLDER" or word == "folder" else f"/x{ending}"
            odd += [f"mine{ending}", f"{lessons_source()}{inside}",
                    f"{lessons_source().with_name('labkit')}{inside}"]
            odd += [f"dir{ending}"] * bool(inside)
        for place in odd:
            words = [f"{each}={USUAL[each]}" if each[0] == "-" else USUAL[each] for each in needed
                     if each != word]
            if name == "class" and word != "folder":
                words = ["in"]
            try:
                code = main([name, *words, f"{word}={place}" if word[0] == "-" else place])
            except SystemExit as stopped:
                code = stopped.code
            said = capsys.readouterr()
            assert (code, bool(said.err.strip())) == (2, True), (word, place, said)
            assert not re.search("Errno|Traceback|Error:", said.err), (word, place, said.err)
    assert {path: path.lstat().st_mtime_ns for path in odd_places.rglob("*")} == before
    assert not [*lessons_source().glob("x*"), *lessons_source().parent.glob("labkit/x*")]


def test_trouble_with_a_file_is_said_as_a_sentence(tmp_path, capsys):
    assert main(["class", str(tmp_path / "a\x1b[2Jb")]) == 2
    said = capsys.readouterr().err
    assert "\\x1b[2J" in said and "\x1b" not in said
    (tmp_path / "file").write_text("")
    assert main(["sheets", "mirelow", "--out", str(tmp_path / "file")]) == 2
    assert "[Errno" not in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="a pipe of the shell")
def test_a_reader_that_goes_away_leaves_no_traceback(tmp_path):
    for number in range(3000):
        (tmp_path / f"{number:04d}.json").write_text("{}")
    page = tmp_path / "page.html"
    words = [sys.executable, "-m", "lessons", "class", str(tmp_path), "--page", str(page)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as run:
        run.stdout.readline()
        run.stdout.close()
        assert run.stderr.read() == b""
    assert run.returncode == 0 and "</html>" in page.read_text("utf-8")  # and what was asked for is written


def test_an_output_that_was_closed_stops_nothing(tmp_path, monkeypatch):
    (tmp_path / "p.toml").write_text("format = 2", "utf-8")
    with monkeypatch.context() as patched:
        patched.setattr(sys, "stdout", None)
        assert main(["check", str(tmp_path / "p.toml")]) == 1
        sys.stdout.close()


def test_ctrl_c_is_answered_in_a_word(monkeypatch, capsys):
    def pressed(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("lessons.__main__._check", pressed)
    assert main(["check", "mirelow"]) == 130
    assert capsys.readouterr().err == "workbook: stopped\n"


@pytest.mark.parametrize("number", [errno.EPIPE, errno.EINVAL])
def test_where_the_reader_went_no_system_leaves_a_sentence(number, tmp_path, monkeypatch, capsys):
    """Windows, simulated: the number that it gives for a pipe that was closed."""
    class Gone(io.StringIO):
        def flush(self):
            raise OSError(number, "as the system says it")

        def fileno(self):
            return file.fileno()

    (tmp_path / "p.toml").write_text("format = 2", "utf-8")
    with (tmp_path / "out").open("wb") as file, monkeypatch.context() as patched:
        patched.setattr(sys, "stdout", Gone())
        assert main(["check", str(tmp_path / "p.toml")]) == 1
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("damaged", ["[1]", '{"01_one_controller.ipynb": 5}', "[" * 50_000,
                                     '{"01_one_controller.ipynb": {"file": ["x"]}}'])
def test_a_damaged_note_of_what_was_laid_keeps_the_learners_files(damaged, tmp_path):
    lessons.desk.learner_folder.lay_lessons(tmp_path)
    lesson = tmp_path / "01_one_controller.ipynb"
    lesson.write_text("mine")
    (tmp_path / ".workbook" / "laid.json").write_text(damaged)
    lessons.desk.learner_folder.lay_lessons(tmp_path)
    assert lesson.read_text() == "mine"


OPEN_TO_ALL = {
    "ServerApp": {"ip": "0.0.0.0", "token": "", "allow_remote_access": True, "root_dir": "/",
                  "authenticate_prometheus": False, "jpserver_extensions": {"door": True}},
    "IdentityProvider": {"token": ""}, "ConnectionFileMixin": {"ip": "0.0.0.0"},
}
LEAVES_A_MARK = 'open(__file__ + ".was_read", "w").close()\n'


def settings_open_to_all(folder):
    """Write settings of the reader's own where a server looks for them."""
    for name in ("jupyter_config", "jupyter_server_config", "jupyter_lab_config",
                 "jupyter_notebook_config", "jupyter_server_config.d/door"):
        file = folder / f"{name}.json"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(OPEN_TO_ALL))
        file.with_suffix(".py").write_text(
            LEAVES_A_MARK + f"for section, settings in {OPEN_TO_ALL}.items():\n"
                            "    c[section].update(settings)\n")


def test_the_real_lab_opens_on_the_lessons_and_asks_nobody(tmp_path):
    """Hold that with the reader's own settings open to all: who may come in is ours."""
    port = free_port()
    own, path, run, data = (tmp_path / name for name in ("own", "path", "run", "data"))
    for folder in (own, path, tmp_path):
        settings_open_to_all(folder)
    (tmp_path / "door.py").write_text(LEAVES_A_MARK)
    (data / "kernels" / "mine").mkdir(parents=True)
    (data / "kernels" / "mine" / "kernel.json").write_text(json.dumps(
        {"argv": ["mine"], "display_name": "mine", "language": "python"}))
    log = tmp_path / "log"
    # A shell that starts the tests in the background lets them, and what they start, ignore Ctrl-C.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with log.open("wb") as out:
        lab = subprocess.Popen(
            [sys.executable, "-m", "lessons", "mine", "--no-browser", "--port", str(port)],
            cwd=tmp_path,
            env=os.environ | {
                "JUPYTER_CONFIG_DIR": str(own), "JUPYTER_CONFIG_PATH": str(path),
                "JUPYTER_DATA_DIR": str(data), "JUPYTER_RUNTIME_DIR": str(run),
                "JUPYTER_TOKEN": "known", "JUPYTER_TOKEN_FILE": "nowhere",
                "JUPYTER_GATEWAY_URL": "http://elsewhere.example",
                "JUPYTER_ALLOW_INSECURE_WRITES": "true"},
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
        )
    try:
        address, token = wait_for_address(lab, log)
        assert f":{port}" in address

        def ask(path, data=None, **head):
            request = urllib.request.Request(
                address + path, data, {"Authorization": f"token {token}"} | head)
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.load(answer)

        assert token != "known"
        again = subprocess.run(
            [sys.executable, "-m", "lessons", "mine", "--no-browser"], cwd=tmp_path, timeout=60,
            capture_output=True, text=True, env=os.environ | {"JUPYTER_RUNTIME_DIR": str(run)})
        assert again.returncode == 0
        assert f"runs for this folder already: {address}/lab?token={token}" in again.stdout
        for path in ("/api/contents", "/metrics"):
            with pytest.raises(urllib.error.HTTPError, match="403"):
                urllib.request.urlopen(address + path, timeout=30)
        with pytest.raises(urllib.error.HTTPError, match="403"):
            ask("/api/contents", Host="elsewhere.example")
        kernel = ask("/api/kernels", b"{}")["id"]
        wire = json.loads((run / f"kernel-{kernel}.json").read_text("utf-8"))
        assert wire["ip"] == "127.0.0.1" and wire["key"]
        assert [*ask("/api/kernelspecs")["kernelspecs"]] == ["python3"]
        if os.name != "nt":
            assert not [file for file in (run, *run.glob("*.json")) if file.stat().st_mode & 0o077]
        assert not list(tmp_path.rglob("*.was_read"))
        for other in _other_addresses():
            with pytest.raises(OSError), socket.create_connection((other, port), timeout=5):
                pass
        shown = {entry["name"] for entry in ask("/api/contents")["content"]}
        expected = {path.name for path in lessons_source().glob("*.ipynb")}
        assert shown == expected
        # With these answers the server has asked no other machine.
        assert ask("/lab/api/news") == {"news": []}
        assert ask("/lab/api/update") == {"notification": None}
        settings = ask("/lab/api/settings/@jupyterlab/apputils-extension:notification")
        defaults = settings["schema"]["properties"]
        assert defaults["fetchNews"]["default"] == "false"
        assert defaults["checkForUpdates"]["default"] is False
        assert "Traceback" not in log.read_text()
    finally:
        lab.send_signal(signal.SIGTERM if os.name == "nt" else signal.SIGINT)
        try:
            lab.wait(timeout=120)
        except subprocess.TimeoutExpired:
            lab.kill()
            lab.wait()
            raise
    # One Ctrl-C was enough: no question was asked.
    if os.name != "nt":
        assert lab.returncode == 0


def wait_for_address(lab, log):
    """Return the address and the token that a lab prints when it is ready."""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and lab.poll() is None:
        found = re.search(r"(http://127\.0\.0\.1:\d+)/lab\S*\?token=(\w+)", log.read_text())
        if found:
            with contextlib.suppress(OSError):
                urllib.request.urlopen(found[1] + "/api", timeout=5).close()
                return found.groups()
        time.sleep(0.1)
    raise AssertionError(f"the lab did not start:\n{log.read_text()}")
