"""A filled test sheet read back: the verdict on each step, and what the repeats prove.

A test sheet is a table with one row for each repeat of each step (`COLUMNS`). Whoever tests fills
in what was measured, whether roles, lamps and record were as expected, and a verdict. The limits
stand in the sheet before the test; the verdict here is computed from them, and a stated verdict
never makes a failure good.

Nothing is thrown away. A row that cannot be judged stays and says why, a missing column is named
and costs only what rested on it, failures and repeats of repeats all count.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import Limits, success_limits
from labkit.reading import read_decoded, rows_of, separator_of

__all__ = ["COLUMNS", "MUST_SWITCH", "Repeat", "StepVerdict", "TestResults", "read_results"]

MUST_SWITCH = "must switch"

COLUMNS = (
    "kind", "step", "repeat", "type", "precondition", "action", "expected_roles",
    "expected_lamps", "expected_outputs", "gap_limit_ms", "expected_record", "tolerance",
    "way_back", "measured_gap_ms", "as_expected", "verdict", "signature", "remark",
)
"""Columns of a test sheet; those after `way_back` are left open for whoever tests."""

YES = frozenset({"y", "yes", "ok", "true", "1", "x", "j", "ja"})
NO = frozenset({"n", "no", "not ok", "false", "0", "nein"})
PASS = frozenset({"p", "pass", "passed", "ok", "good"})
FAIL = frozenset({"f", "fail", "failed", "not ok", "bad"})


@dataclass(frozen=True)
class Repeat:
    """Hold one row of a filled sheet: one repeat of one step.

    Parameters
    ----------
    line : int
        Line of the file.
    step, repeat, type, action : str
        As the sheet has them.
    gap_limit_ms, measured_gap_ms : float or None
        ms; None where there is none.
    as_expected : bool or None
        Whether roles, lamps and record were as expected; None if nothing is entered.
    stated : str
        "pass", "fail" or empty, as entered.
    verdict : str
        "pass", "fail" or "open".
    why : str
        What the verdict rests on.

    >>> Repeat(2, "4", "1", MUST_SWITCH, "", 285.0, 231.0, True, "pass", "pass", "").verdict
    'pass'
    """

    line: int
    step: str
    repeat: str
    type: str
    action: str
    gap_limit_ms: float | None
    measured_gap_ms: float | None
    as_expected: bool | None
    stated: str
    verdict: str
    why: str


@dataclass(frozen=True)
class StepVerdict:
    """Hold the verdict on one step.

    Parameters
    ----------
    passed, failed, open : int
        How many of its repeats.
    longest_gap_ms : float or None
        The longest gap measured, ms.

    >>> StepVerdict("4", "power off", passed=9, failed=1, open=0, longest_gap_ms=301.0).verdict
    'fail'
    """

    step: str
    action: str
    passed: int
    failed: int
    open: int
    longest_gap_ms: float | None

    @property
    def verdict(self) -> str:
        """The step as a whole: "fail" if any repeat failed, "open" if any is not done."""
        return "fail" if self.failed else "open" if self.open or not self.passed else "pass"


@dataclass(frozen=True)
class TestResults:
    """Hold what a filled test sheet says.

    Parameters
    ----------
    repeats : tuple of Repeat
        Every row, in the order of the file.
    problems : tuple of str
        What is wrong with the file, each with line or column.

    >>> TestResults((), ()).trials
    0
    """

    # The name begins like a test; pytest need not look for tests in it.
    __test__ = False

    repeats: tuple[Repeat, ...]
    problems: tuple[str, ...]

    @property
    def steps(self) -> tuple[StepVerdict, ...]:
        """The verdict on each step, in the order of the file."""
        by_step: dict[str, list[Repeat]] = {}
        for each in self.repeats:
            by_step.setdefault(each.step, []).append(each)
        return tuple(StepVerdict(
            step, rows[0].action,
            *(sum(each.verdict == word for each in rows) for word in ("pass", "fail", "open")),
            max((each.measured_gap_ms for each in rows if each.measured_gap_ms is not None),
                default=None)) for step, rows in by_step.items())

    @property
    def trials(self) -> int:
        """How many switchovers were tried and judged."""
        return sum(each.type == MUST_SWITCH and each.verdict != "open" for each in self.repeats)

    @property
    def successes(self) -> int:
        """How many of them passed."""
        return sum(each.type == MUST_SWITCH and each.verdict == "pass" for each in self.repeats)

    def success(self, confidence: float = 0.95, sided: str = "lower") -> Limits:
        """Return the chance that a switchover succeeds, with exact limits.

        Parameters
        ----------
        confidence : float
            In (0, 1).
        sided : str
            "lower", "upper" or "two", as in `labkit.evidence.limits.success_limits`.

        Raises
        ------
        ValueError
            If no switchover was judged yet, or an argument is outside its range.

        Notes
        -----
        The repeats are taken as independent and alike: one cause, one direction or both, one day.
        """
        if not self.trials:
            raise ValueError("repeats must hold a judged switchover, got none")
        return success_limits(self.successes, self.trials, confidence=confidence, sided=sided)

    def more_needed(self, claim: float, confidence: float = 0.95) -> int:
        """Return how many more switchovers, all good, would show a claim.

        Parameters
        ----------
        claim : float
            Chance of success that is to be shown, in (0, 1).
        confidence : float
            In (0, 1).

        Returns
        -------
        int
            0 if what there is shows it already.

        Raises
        ------
        ValueError
            If an argument is outside its range.

        Notes
        -----
        The failures so far count as those allowed. Strictly their number is to be fixed before
        the first trial; who adds trials until the limit is met claims a little too much.
        """
        failures = self.trials - self.successes
        return max(0, trials_needed(claim, confidence, failures_allowed=failures) - self.trials)

    def proves(self, claim: float = 0.97, confidence: float = 0.95) -> tuple[str, ...]:
        """Say in sentences what the repeats prove, what they do not, and how many more would.

        Parameters
        ----------
        claim : float
            Chance of success that the plant file counts with (coverage), in (0, 1).
        confidence : float
            In (0, 1).

        Raises
        ------
        ValueError
            If an argument is outside its range.
        """
        if not self.trials:
            more = trials_needed(claim, confidence)
            return (f"No switchover has been judged yet. {more} without a failure would show "
                    f"{claim:g} with {confidence:.0%} confidence.",)
        lower, two = self.success(confidence), self.success(0.9, "two")
        more = self.more_needed(claim, confidence)
        shown = lower.lower >= claim
        return (
            f"{self.successes} of {self.trials} switchovers passed: share {lower.point:.3f}, "
            f"90 % interval {two.lower:.3f} to {two.upper:.3f} (exact binomial).",
            f"With {confidence:.0%} confidence at least {lower.lower:.3f} of such switchovers "
            f"succeed: {claim:g} is {'shown' if shown else 'not shown'}.",
            "Nothing more is needed for it." if not more else
            f"{more} more without a failure would show {claim:g}"
            f"{' beside the failures so far' if self.successes < self.trials else ''}.",
            "They prove this for the causes that were tested, in the state of that day. Faults "
            "that nobody can provoke by hand (a program that stands still, a silent interface) "
            "are not in these numbers.",
        )

    def text(self, claim: float = 0.97, confidence: float = 0.95) -> str:
        """Return verdicts, proof and problems as text.

        Parameters
        ----------
        claim, confidence : float
            As in `proves`.

        Raises
        ------
        ValueError
            If an argument is outside its range.
        """
        lines = ["Steps:"]
        for each in self.steps:
            gap = "" if each.longest_gap_ms is None else \
                f"; longest gap {each.longest_gap_ms:g} ms"
            lines.append(f"  {each.step}: {each.verdict} ({each.passed} passed, {each.failed} "
                         f"failed, {each.open} open{gap})  {each.action}".rstrip())
        lines += ["Failed:", *(f"  line {each.line}, step {each.step}, repeat {each.repeat}: "
                               f"{each.why}" for each in self.repeats if each.verdict == "fail")] \
            if any(each.verdict == "fail" for each in self.repeats) else []
        lines += ["Switchovers:", *(f"  {each}" for each in self.proves(claim, confidence))]
        if self.problems:
            lines += ["The file:", *(f"  {each}" for each in self.problems)]
        return "\n".join(lines)


def read_results(path: str | Path) -> TestResults:
    """Read a filled test sheet.

    Parameters
    ----------
    path : str or Path
        A CSV file with the columns of `COLUMNS`, in any order, more columns allowed; separated by
        comma, semicolon or tab; in UTF-8, UTF-16 or the usual encoding of spreadsheets.

    Raises
    ------
    ValueError
        If there is no column `step`, so that nothing can be said of any row.
    OSError
        If the file cannot be read.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     sheet = Path(folder) / "filled.csv"
    ...     _ = sheet.write_text("step,type,gap_limit_ms,measured_gap_ms,as_expected\\n"
    ...                          "4,must switch,285,231,yes\\n4,must switch,285,301,yes\\n")
    ...     results = read_results(sheet)
    >>> [each.verdict for each in results.repeats]
    ['pass', 'fail']
    """
    text, problems = read_decoded(path)
    lines = text.splitlines()
    # Somebody may have put a heading above the table.
    at = next((position for position, line in enumerate(lines)
               if "step" in _cells(line)), None)
    if at is None:
        first = next((line for line in lines if line.strip()), "")
        found = [cell for cell in _cells(first) if cell]
        near = difflib.get_close_matches("step", found, n=1, cutoff=0.4)
        hint = f" (is {near[0]!r} meant?)" if near else ""
        raise ValueError(f"{path}: the sheet must have a column 'step', found "
                         f"{', '.join(found) or 'an empty file'}{hint}")
    rows = rows_of("\n".join(lines[at:]) + "\n", separator_of(lines[at]), at + 1)
    header = [cell.strip().lower() for cell in next(rows)[1]]
    problems += _missing(header)
    repeats = []
    seen: dict[tuple[str, str], int] = {}
    for line, cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        row = dict(zip(header, map(str.strip, cells), strict=False))
        if row.get("kind", "row").lower() not in ("", "row"):
            continue
        if len(cells) < len(header):
            problems.append(f"line {line}: {len(cells)} of {len(header)} columns; the rest counts "
                            "as empty")
        elif any(cell.strip() for cell in cells[len(header):]):
            problems.append(f"line {line}: more cells than columns; what is beyond the last "
                            "column is left out")
        if not row.get("step"):
            problems.append(f"line {line}: no step is named; the row belongs to none and is left "
                            f"out: {', '.join(cell for cell in cells if cell.strip())}")
            continue
        each = _judged(row, line, problems)
        key = each.step, each.repeat
        if each.repeat and key in seen:
            problems.append(f"line {line}: step {each.step}, repeat {each.repeat} stands in line "
                            f"{seen[key]} too; both count")
        seen.setdefault(key, line)
        repeats.append(each)
    if not repeats:
        problems.append("no row with a step was found below the heading")
    return TestResults(tuple(repeats), tuple(problems))


def _cells(line: str) -> list[str]:
    """Return the cells of one line, in small letters; none of a line that is no row."""
    try:
        return [cell.strip().lower()
                for cell in next(rows_of(line, separator_of(line)), (0, []))[1]]
    except ValueError:
        return []



def _missing(header: Iterable[str]) -> list[str]:
    header = list(header)
    costs = {
        "repeat": "repeats cannot be told apart",
        "type": "no row counts as a switchover, so no chance of success can be given",
        "gap_limit_ms": "gaps are not judged; roles and lamps are",
        "measured_gap_ms": "gaps are not judged; rows with a limit stay open",
        "as_expected": "roles, lamps and record are taken from the verdict alone",
        "verdict": "only limits and the column as_expected are judged",
    }
    found = []
    for name, cost in costs.items():
        if name not in header:
            near = difflib.get_close_matches(name, set(header) - {*COLUMNS}, n=1)
            hint = f" (is {near[0]!r} meant?)" if near else ""
            found.append(f"column {name} is missing{hint}: {cost}")
    for name in sorted({each for each in header if each and header.count(each) > 1}):
        found.append(f"column {name} stands there {header.count(name)} times: the last one counts")
    return found


def _number(row: dict[str, str], name: str, line: int, problems: list[str]) -> float | None:
    text = row.get(name, "").lower().removesuffix("ms").strip().replace(",", ".")
    if text in ("", "-"):
        return None
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value < float("inf"):
        problems.append(f"line {line}: {name} must be a number of ms >= 0, got {row[name]!r}; "
                        "it counts as empty")
        return None
    return value


def _word(row: dict[str, str], name: str, yes: frozenset[str], no: frozenset[str], line: int,
          problems: list[str]) -> bool | None:
    text = row.get(name, "").lower()
    if text in ("", "-"):
        return None
    if text in yes or text in no:
        return text in yes
    problems.append(f"line {line}: {name} must be {'yes or no' if yes is YES else 'pass or fail'}"
                    f" or empty, got {row[name]!r}; it counts as empty")
    return None


def _judged(row: dict[str, str], line: int, problems: list[str]) -> Repeat:
    limit_ms = _number(row, "gap_limit_ms", line, problems)
    measured_ms = _number(row, "measured_gap_ms", line, problems)
    as_expected = _word(row, "as_expected", YES, NO, line, problems)
    passed = _word(row, "verdict", PASS, FAIL, line, problems)
    verdict, why = _verdict(limit_ms, measured_ms, as_expected, passed)
    if passed and verdict == "fail":
        problems.append(f"line {line}: step {row['step']} is stated as passed, but {why}")
    return Repeat(line, row["step"], row.get("repeat", ""), row.get("type", "").lower(),
                  row.get("action", ""), limit_ms, measured_ms, as_expected,
                  "" if passed is None else "pass" if passed else "fail", verdict, why)


def _verdict(limit_ms: float | None, measured_ms: float | None, as_expected: bool | None,
             passed: bool | None) -> tuple[str, str]:
    """Return the verdict on a row and what it rests on; the first that applies."""
    if limit_ms is not None and measured_ms is not None and measured_ms > limit_ms:
        return "fail", f"the gap of {measured_ms:g} ms is above its limit of {limit_ms:g} ms"
    if as_expected is False:
        return "fail", "roles, lamps or record were not as expected"
    if passed is False:
        return "fail", "stated as failed"
    if measured_ms is None and as_expected is None and passed is None:
        return "open", "not done"
    if limit_ms is not None and measured_ms is None:
        return "open", f"the limit is {limit_ms:g} ms, and no gap is entered"
    if as_expected is None and passed is None:
        return "open", "nothing says whether roles, lamps and record were as expected"
    return "pass", "within its limit and as expected" if limit_ms is not None else "as expected"
