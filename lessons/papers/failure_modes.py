"""The failure-mode table: what can fail, what that does, and who would notice.

Effects on the pair and on the plant come from running the rules, with every unit leading where
that makes a difference. The frame is that of IEC 60812 (how items fail, causes, effects here and
further up, ranking); the classes of severity are ours.
"""

from __future__ import annotations

from lessons.papers.basis import Basis
from lessons.papers.contributions import contributions_of
from lessons.papers.mode_ranking import boundaries, first_ten, ranked, shared_items
from lessons.papers.mode_rows import ModeRow, mode_rows
from lessons.papers.mode_words import SEVERITY
from lessons.papers.paper import Column, Paper, PaperTable, Section

COLUMNS = (
    Column("number", "no.", 5.6), Column("item", "item, function\nmode\ncause", 15),
    Column("effects", "effect here\non the pair\non the plant", 22.8),
    Column("notice", "how noticed\nuntil noticed", 11.4), Column("covers", "what covers it", 9.4),
    Column("figures", "how often, source\nrestored in", 10), Column("severity", "sev.", 3.2),
    Column("action", "action", 7.6), Column("status", "status", 5.2), Column("owner", "owner", 5.2),
    Column("due", "due", 4.6),
)
CSV_WORDS = ("number", "designation", "mode", "cause", "here", "pair", "plant", "noticed",
             "until", "covers", "severity", "action", "source")
OPEN = ("status", "owner", "due")


def failure_modes(basis: Basis) -> Paper:
    """Make the failure-mode table of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> failure_modes(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Failure-mode table'
    """
    plant = basis.plant
    sums = contributions_of(plant)
    modes = mode_rows(basis, sums)
    rows: list[dict[str, str]] = []
    for group in dict.fromkeys(mode.group for mode in modes):
        rows.append({"group": group})
        rows += [_on_paper(mode) | ({} if mode.told else {"loud": "1"})
                 for mode in modes if mode.group == group]
    hidden = [mode for mode in modes if not mode.told]
    sections = [
        Section("Boundaries", points=boundaries(basis)),
        Section("How to read it", points=(
            "Number: item, then the kind of failure. It stays the same when other items come or "
            "go. Last letter: a on the side of the active unit, s of the standby; u for the share "
            "that goes unnoticed.",
            *(f"Severity {letter}: {words}." for letter, words in SEVERITY),
            "Status, owner and due date are for the review to fill in: open, agreed, done or "
            "accepted, with a name and a day.")),
        Section("First ten", ("By severity, then by how often it comes.",),
                tables=(first_ten(modes),), short_rows=5),
        *ranked(basis, modes, sums),
        Section("Shared items, once each, with all that hangs on them",
                tables=(shared_items(basis),)),
        Section("Nobody notices: these need a test", (
            "While nobody notices, the fault waits for the next test or the next demand; a second "
            "fault then meets a plant without its cover." if hidden else
            "By the rules every fault of this plant shows itself at once.",),
            tables=(PaperTable("", (Column("number", "no.", 9),
                                    Column("designation", "designation", 30),
                                    Column("mode", "mode", 18),
                                    Column("action", "test that finds it"),
                                    Column("until", "waits until", 16)),
                               tuple(mode.row for mode in hidden)),) * bool(hidden), short_rows=5),
        Section("The table", (
            "A row says what the fault does by itself, as run by the rules. Where it matters who "
            "leads there are two rows, each with half of the rate. Like parts share a row, with "
            "the rates added. A mark at the left: nobody notices. What people and settings do stands "
            "here only: the sums of down time and money count failures of parts, and no people.",),
            tables=(PaperTable(
                "", COLUMNS, tuple(rows), main=True, small=True,
                csv_columns=tuple(_in_file(basis, modes[0])),
                csv_rows=tuple(_in_file(basis, mode) for mode in modes)),),
            new_page=True),
    ]
    return Paper(
        name="failure_modes", title="Failure-mode table",
        purpose="How each item fails, what that does here, to the pair and to the plant, how it "
                "is noticed, and what has to be done. Nothing is left out for being redundant.",
        facts=basis.facts("failure-mode table"), assumptions=basis.assumptions(), wide=True,
        sections=tuple(sections))


def _on_paper(mode: ModeRow) -> dict[str, str]:
    """Return the cells of a row in print, where several stand below each other."""
    row = mode.row
    return {
        "number": mode.number, "item": f"{row['designation']}\nmode: {row['mode']}\n"
        f"cause: {row['cause']}",
        "effects": f"here: {row['here']}\npair: {row['pair']}\nplant: {row['plant']}",
        "notice": "\n".join(filter(None, (row["noticed"], row["until"]))),
        "covers": row["covers"], "figures": f"{row['rate']}\n{row['restored']}",
        "severity": row["severity"], "action": row["action"]}


def _in_file(basis: Basis, mode: ModeRow) -> dict[str, str]:
    """Return the cells of a row in CSV: words, and beside them numbers that can be added up."""
    found = {key: mode.row[key] for key in CSV_WORDS} | {
        "group": mode.group, "failures_per_year": f"{mode.per_year:.6g}",
        "restored_h": "" if mode.restored_h is None else f"{mode.restored_h:.6g}",
        "unnoticed_h": f"{mode.waits_h:.6g}"}
    for name in basis.plant.functions_counted:
        found[f"down_min_per_year: {name}"] = f"{mode.down_min[name]:.6g}" if mode.takes else ""
    found[f"loss_{basis.plant.currency}_per_year"] = f"{mode.loss:.6g}" if mode.takes else ""
    return found | dict.fromkeys(OPEN, "")
