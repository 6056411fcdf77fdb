"""Every lesson runs in any order of its cells, and each cell runs twice."""

import contextlib
import io
import json
import multiprocessing
import os
import random
from pathlib import Path

import pytest

LESSONS = sorted((Path(__file__).parents[1] / "lessons").glob("*.ipynb"))
# A process of its own for each lesson, born with what all of them import, where the system can.
METHODS = multiprocessing.get_all_start_methods()
PROCESSES = multiprocessing.get_context("forkserver" if "forkserver" in METHODS else "spawn")
if "forkserver" in METHODS:
    PROCESSES.set_forkserver_preload([
        "IPython.core.interactiveshell", "matplotlib.pyplot", "scipy.stats",
        "lessons.panels", "lessons.papers", "lessons.exercises", "jsonschema",
        *(f"lessons.items.lesson_{path.stem[:2]}" for path in LESSONS)])


def run(folder, sources, answers):
    """Run cells as IPython does, and send back what each one raised."""
    from IPython.core.interactiveshell import InteractiveShell

    os.chdir(folder)
    shell = InteractiveShell.instance()
    with contextlib.redirect_stdout(io.StringIO()):
        ran = [shell.run_cell(source) for source in sources]
    answers.send([None if each.success else str(each.error_before_exec or each.error_in_exec)
                  for each in ran])


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_cells_run_in_any_order_and_twice(path):
    cells = [cell for cell in json.loads(path.read_text("utf-8"))["cells"]
             if cell["cell_type"] == "code"]
    draw = random.Random(path.stem)
    order = [*draw.sample(cells, len(cells)), *draw.sample(cells, len(cells))]
    ours, theirs = PROCESSES.Pipe()
    process = PROCESSES.Process(
        target=run, args=(path.parent, ["".join(cell["source"]) for cell in order], theirs))
    process.start()
    theirs.close()
    try:
        assert ours.poll(120), "the cells do not end"
        for cell, failed in zip(order, ours.recv(), strict=True):
            expected = "raises-exception" in cell["metadata"].get("tags", ())
            assert (failed is not None) == expected, (cell["source"], failed)
    finally:
        process.kill()
        process.join()
