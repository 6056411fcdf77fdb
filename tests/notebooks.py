"""Run the lessons and store their outputs in the one form in which they are kept.

    python -m tests.notebooks                        run and store all lessons
    python -m tests.notebooks lessons/01_*.ipynb     run and store these
    python -m tests.notebooks --check                run all, store nothing, say what differs

The form is such that a change to a lesson shows as that change and nothing else: counts from 1
to N, no times, no versions, no widget state, no picture data, streams in one piece, addresses
replaced. Strict nbval compares what is stored here with what a new run gives; a code cell without
a count would pass it unchecked, which is why the counts are written and tested.
"""

from __future__ import annotations

import argparse
import difflib
import os
import re
import sys
import time
from pathlib import Path

import nbformat

__all__ = ["lessons", "normal_form", "run", "stored_text"]

ROOT = Path(__file__).resolve().parent.parent
KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
# What a cell may carry beside its source; everything else is left by one editor or another.
CELL_METADATA = ("tags", "slideshow", "jupyter")
# Compared by nobody, large in every change, or dead without a kernel.
DROPPED = (
    "image/png",
    "image/jpeg",
    "application/vnd.jupyter.widget-view+json",
    "application/vnd.jupyter.widget-state+json",
)


def lessons() -> list[Path]:
    """Return the lessons, found by their folder, in the order of their numbers."""
    found = (ROOT / "lessons").rglob("[0-9][0-9]_*.ipynb")
    return sorted(path for path in found if ".ipynb_checkpoints" not in path.parts)


def _rules() -> list[tuple[re.Pattern[str], str]]:
    """Return the pairs of nbval_sanitize.cfg, so that nbval and the stored form agree."""
    text = (ROOT / "tests" / "nbval_sanitize.cfg").read_text(encoding="utf-8")
    pairs = re.findall(r"^regex: (.*)\nreplace: (.*)$", text, re.MULTILINE)
    return [(re.compile(regex), replace) for regex, replace in pairs]


def run(notebook: nbformat.NotebookNode, folder: Path, *, timeout_s: int = 120):
    """Run a notebook in a new kernel, top to bottom, and return it with its outputs.

    Parameters
    ----------
    notebook : NotebookNode
        Changed in place.
    folder : Path
        Working folder of the kernel, as it is when the notebook is opened there.
    timeout_s : int
        Longest time for one cell, in seconds.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        A cell failed that carries no tag `raises-exception`.
    """
    from nbclient import NotebookClient

    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    NotebookClient(
        notebook,
        timeout=timeout_s,
        kernel_name=KERNEL["name"],
        store_widget_state=False,
        resources={"metadata": {"path": str(folder)}},
    ).execute()
    return notebook


def normal_form(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """Return a notebook in the form in which it is kept; the one given stays as it is."""
    kept = nbformat.from_dict(
        {
            "cells": [],
            "metadata": {"kernelspec": dict(KERNEL), "language_info": {"name": "python"}},
            "nbformat": 4,
            "nbformat_minor": 5,
        }
    )
    rules = _rules()
    count = 0
    for cell in notebook.cells:
        metadata = {key: cell.metadata[key] for key in CELL_METADATA if key in cell.metadata}
        source = "\n".join(line.rstrip() for line in cell.source.splitlines()).strip("\n")
        new = {
            "cell_type": cell.cell_type,
            "id": cell.id,
            "metadata": metadata,
            "source": source,
        }
        if cell.cell_type == "code":
            count += 1
            new["execution_count"] = count
            new["outputs"] = _normal_outputs(cell.outputs, count, rules)
        kept.cells.append(nbformat.from_dict(new))
    return kept


def _normal_outputs(outputs, count: int, rules) -> list[dict]:
    kept: list[dict] = []
    for output in outputs:
        kind = output.output_type
        if kind == "stream":
            last = kept[-1] if kept else {}
            if (last.get("output_type"), last.get("name")) == (kind, output.name):
                last["text"] += output.text
            else:
                kept.append({"output_type": kind, "name": output.name, "text": output.text})
        elif kind == "error":
            # The traceback is full of colours and of paths of one machine; nbval leaves it out.
            line = f"{output.ename}: {output.evalue}"
            kept.append(
                {
                    "output_type": kind,
                    "ename": output.ename,
                    "evalue": output.evalue,
                    "traceback": [line],
                }
            )
        else:
            data = {key: output.data[key] for key in sorted(output.data) if key not in DROPPED}
            new = {"output_type": kind, "data": data, "metadata": {}}
            if kind == "execute_result":
                new["execution_count"] = count
            kept.append(new)
    for output in kept:
        if "text" in output:
            output["text"] = _replaced(output["text"], rules)
        if "data" in output:
            output["data"] = {
                key: _replaced(value, rules) if isinstance(value, str) else value
                for key, value in output["data"].items()
            }
    return kept


def _replaced(text: str, rules) -> str:
    for pattern, replacement in rules:
        text = pattern.sub(replacement, text)
    return text


def stored_text(notebook: nbformat.NotebookNode) -> str:
    """Return the text of the file in which a notebook is kept."""
    kept = normal_form(notebook)
    nbformat.validate(kept)
    return nbformat.writes(kept) + "\n"


def main(argv: list[str] | None = None) -> int:
    """Run lessons and store them, or say where a new run differs from what is stored."""
    parser = argparse.ArgumentParser(prog="python -m tests.notebooks", description=main.__doc__)
    parser.add_argument("lesson", nargs="*", type=Path, help="notebooks; all lessons if none")
    parser.add_argument(
        "--check", action="store_true", help="store nothing, exit 1 where a run differs"
    )
    parser.add_argument(
        "--form-only", action="store_true", help="do not run: keep the outputs, only set the form"
    )
    arguments = parser.parse_args(argv)
    from nbclient.exceptions import CellExecutionError

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    files = arguments.lesson or lessons()
    bad = 0
    for number, file in enumerate(files, 1):
        print(f"{number}/{len(files)} {file.stem} ", end="", flush=True)
        start = time.monotonic()
        before = file.read_text(encoding="utf-8")
        notebook = nbformat.reads(before, as_version=4)
        if not arguments.form_only:
            try:
                run(notebook, file.resolve().parent)
            except CellExecutionError as problem:
                print(f"failed, left as it was\n{problem}")
                bad += 1
                continue
        after = stored_text(notebook)
        same = after == before
        print(f"{time.monotonic() - start:.1f} s{'' if same else ', changed'}")
        if arguments.check and not same:
            bad += 1
            sys.stdout.writelines(
                difflib.unified_diff(
                    before.splitlines(True), after.splitlines(True), "stored", "new run", n=1
                )
            )
        elif not same:
            file.write_text(after, encoding="utf-8", newline="\n")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
