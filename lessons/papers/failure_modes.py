"""The failure-mode table: what can fail, what that does, and who would notice.

Effects on the pair and on the plant come from running the rules, with every unit leading where
that makes a difference. The frame is that of IEC 60812 (how items fail, causes, effects here and
further up, ranking); the classes of severity are ours.
"""

from collections.abc import Mapping
from dataclasses import replace

from labkit.plant.causes import MEETING
from lessons.papers.basis import Basis
from lessons.papers.contributions import contributions_of
from lessons.papers.mode_ranking import (
    boundaries,
    first_ten,
    left_over,
    matrix,
    ranked,
    shared_items,
)
from lessons.papers.mode_rows import ModeRow, mode_rows
from lessons.papers.paper import Paper, fixed_table, section, table, texts

CSV_WORDS = ("number", "designation", "mode", "cause", "here", "pair", "plant", "noticed",
             "until", "covers", "severity", "action", "source")
OPEN = ("status", "owner", "due", "severity_after", "failures_per_year_after")


def failure_modes(basis: Basis) -> Paper:
    """Make the failure-mode table of a plant.

    >>> from labkit import load_plant
    >>> failure_modes(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Failure-mode table'
    """
    sums = contributions_of(basis.plant)
    modes = mode_rows(basis, sums)
    rows: list[dict[str, str]] = []
    for group in dict.fromkeys(mode.group for mode in modes):
        rows.append({"group": group})
        rows += [_on_paper(mode) | ({} if mode.told else {"loud": "1"})
                 for mode in modes if mode.group == group]
    hidden = [mode for mode in modes if not mode.told]
    return basis.paper("failure_modes", [
        boundaries(basis),
        section("mode_reading", severities=tuple(
            f"Severity {letter}: {words}." for letter, words in texts()["severity"].items()),
            sides="a on the side of the active unit, s of the standby; " if basis.plant.pair else ""),
        section("matrix", matrix(modes)),
        section("first_ten", first_ten(modes)),
        *ranked(basis, modes, sums),
        section("shared", shared_items(basis)),
        replace(section("unnoticed", *[table("unnoticed", (mode.row for mode in hidden))] * bool(hidden)), texts=(
            "While nobody notices, the fault waits for the next test or the next demand; a second "
            "fault then meets a plant without its cover." if hidden else
            "By the rules every fault of this plant shows itself at once.",)),
        section("modes", table(
            "modes", rows, main=True, small=True,
            csv_rows=(*(_in_file(basis, mode) for mode in modes), dict.fromkeys(CSV_WORDS, "") | {
                "designation": MEETING, "group": "In no row"} | _sums(basis, *left_over(modes, sums)))),
            leads="Where it matters who leads there are two rows, each with half of the rate. "
            if basis.plant.pair else ""),
        section("conclusions", fixed_table("conclusions")),
    ])


def _on_paper(mode: ModeRow) -> dict[str, str]:
    """Return the cells of a row in print, where several stand below each other."""
    row = mode.row
    return {
        "number": mode.number, "item": f"{row['designation']}\nmode: {row['mode']}\n"
        f"cause: {row['cause']}",
        "effects": f"here: {row['here']}\nroles: {row['pair']}\nplant: {row['plant']}",
        "notice": "\n".join(filter(None, (row["noticed"], row["until"]))),
        "covers": row["covers"], "figures": f"{row['rate']}\n{row['restored']}",
        "severity": row["severity"], "action": row["action"]}


def _in_file(basis: Basis, mode: ModeRow) -> dict[str, str]:
    """Return the cells of a row in CSV: words, and beside them numbers that can be added up."""
    found = {key: mode.row[key] for key in CSV_WORDS} | {
        "group": mode.group, "failures_per_year": f"{mode.per_year:.6g}",
        "restored_h": "" if mode.restored_h is None else f"{mode.restored_h:.6g}",
        "unnoticed_h": f"{mode.waits_h:.6g}"}
    found |= {key: value if mode.takes else "" for key, value in _sums(
        basis, mode.down_min, mode.loss).items()}
    return found | dict.fromkeys(OPEN, "")


def _sums(basis: Basis, down_min: Mapping[str, float], loss: float) -> dict[str, str]:
    """Return the cells that can be added up."""
    return {f"down_min_per_year: {name}": f"{down_min[name]:.6g}" for name in
            basis.plant.functions_counted} | {f"loss_{basis.plant.currency}_per_year": f"{loss:.6g}"}
