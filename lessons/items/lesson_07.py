"""Lesson 07, return, split and third vote: what if both believe that they lead?"""

import functools
from types import SimpleNamespace

from labkit.availability.parts import Part, parallel, series
from labkit.rig.rig import Rig
from labkit.rig.writers import AFTER_MS, WritersRun, writers_run, writers_text
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item_file import read_items
from lessons.items.rigs import rig

_run_of = functools.cache(writers_run)


def _writer_of(run: WritersRun) -> str:
    """Who writes the rack at the end, as the tables name it."""
    if len(run.writers) > 1:
        return "both by turns"
    return run.writers[0] if run.writers else "nobody"


SETTINGS = PairSettings()


def _tolerated(voters: int) -> int:
    return voters - (voters // 2 + 1)


def _cables(mtbf_h: float, mttr_h: float, share: float) -> dict[str, object]:
    """Two sync cables and what they share, as blocks; all rates per year."""
    duct = Part("duct", mtbf_h=mtbf_h / share, mttr_h=mttr_h)
    alone = parallel(*(Part(name, mtbf_h=mtbf_h, mttr_h=mttr_h) for name in ("one", "two")))
    both = series(alone, duct)
    per_a = both.failures_per_h * HOURS_PER_YEAR
    alone_per_a = alone.failures_per_h * HOURS_PER_YEAR
    return {
        "per_a": per_a,
        "duct_per_a": duct.failures_per_h * HOURS_PER_YEAR,
        "alone_per_a": alone_per_a,
        "one_per_a": HOURS_PER_YEAR / mtbf_h,
        "years": 1 / per_a,
        "alone_years": float(f"{1 / alone_per_a:.2g}"),
        "one_years": mtbf_h / HOURS_PER_YEAR,
    }


def _drill(numbers: SimpleNamespace) -> dict[str, object]:
    situation, ask, vote = numbers.played
    run = _run_of(situation, ask_racks=ask, third_vote=vote)
    return {
        "said": situation[0].upper() + situation[1:],
        "after_s": AFTER_MS / 1000,
        "asked": "asked" if ask else "not asked",
        "voter": "A third voter must agree" if vote else "There is no third voter",
        "first": run.roles["KF1"][-1][1],
        "second": run.roles["KF2"][-1][1],
        "writer": _writer_of(run),
    }


SHEET_ROWS = {
    "sync cable cut": ((1.0, "WF9: cut", 10.0), True),
    "sync cable cut, racks not asked": ((1.0, "WF9: cut", 10.0), False),
    "KF1 stopped by hand": ((1.0, "KF1: stopped", 10.0), True),
    "KF1 reaches one rack less": ((1.0, "WF1.10: cut", 10.0), True),
    "KF1 repaired, a minute later": ((1.0, "KF1: no power", 10.0, "-KF1: no power", 60.0), True),
}


def _after(row: str) -> Rig:
    actions, ask = SHEET_ROWS[row]
    return rig(*actions, ask_racks=ask)


def _acting_rule(row: str) -> str:
    """Return the number of the rule that decided last about roles, from the record."""
    decided = [entry.why for entry in _after(row).record
               if entry.what in ("role", "question to the racks") and entry.why.startswith("Rule ")]
    return decided[-1].removeprefix("Rule ").partition(":")[0]


def _leader(row: str) -> str:
    leading = _after(row).snapshot().leaders
    return "both" if len(leading) > 1 else leading[0] if leading else "nobody"


LESSON = read_items(__file__, globals())
