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
import itertools
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import Limits, success_limits
from labkit.reading import read_decoded, rows_of, separator_of
from labkit.wording import percent
from lessons.papers.paper import texts

MUST_SWITCH = "must switch"
FEWEST_ALIKE = 3

COLUMNS = (
    "kind", "step", "repeat", "type", "precondition", "action", "expected_roles",
    "expected_lamps", "expected_outputs", "gap_least_ms", "gap_limit_ms", "expected_record",
    "tolerance", "way_back", "minutes", "measured_gap_ms", "as_expected", "verdict", "deviation",
    "begun", "signature", "witness", "remark",
)
"""Columns of a test sheet; those after `minutes` are left open for whoever tests."""

STEPS, CLAIM = "steps", "claim"
"""Kinds of rows that say what a sheet had in it when it was made, and what is to be shown."""

YES = frozenset({"y", "yes", "ok", "true", "1", "x", "j", "ja", "wahr", "✓", "✔"})
NO = frozenset({"n", "no", "not ok", "false", "0", "nein", "falsch", "✗", "✘"})
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
class Planned:
    """Hold what a sheet asked of a step when it was made.

    >>> Planned.read("08 x10 175-285; 09 x1")["8"]
    Planned(repeats=10, least_ms=175.0, limit_ms=285.0)
    """

    repeats: int
    least_ms: float | None = None
    limit_ms: float | None = None

    @staticmethod
    def written(step: str, repeats: int, least_ms: float | None, limit_ms: float | None) -> str:
        """Return a step as it stands in the list of a sheet."""
        limits = "" if limit_ms is None else \
            f" {'' if least_ms is None else f'{least_ms:g}'}-{limit_ms:g}"
        return f"{step} x{repeats}{limits}"

    @classmethod
    def read(cls, text: str) -> dict[str, Planned]:
        """Return the steps of such a list, by number."""
        found = {}
        for entry in text.split(";"):
            match = re.fullmatch(r"(\S+) x(\d+)(?: ([\d.]*)-([\d.]+))?", entry.strip())
            if match:
                step, repeats, least, limit = match.groups()
                found[_numbered(step)] = cls(int(repeats), float(least) if least else None,
                                  float(limit) if limit else None)
        return found


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
    claim : float or None
        Chance of success that the plant file counts with; None where the sheet does not say it.

    >>> TestResults((), ()).trials
    0
    """

    # The name begins like a test; pytest need not look for tests in it.
    __test__ = False

    repeats: tuple[Repeat, ...]
    problems: tuple[str, ...]
    claim: float | None = None

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

    def proves(self, claim: float | None = None, confidence: float = 0.95) -> tuple[str, ...]:
        """Say in sentences what the repeats prove, what they do not, and how many more would.

        Parameters
        ----------
        claim : float, optional
            Chance of success that is to be shown, in (0, 1]. Default: that of the sheet, which is
            what its plant file counts with.
        confidence : float
            In (0, 1).

        Raises
        ------
        ValueError
            If an argument is outside its range, or neither it nor the sheet makes a claim.
        """
        claim = self.claim if claim is None else claim
        if claim is None:
            raise ValueError("claim must be given: the sheet says none, such as 0.97")
        if claim >= 1.0:
            return (f"{self.successes} of {self.trials} switchovers passed. The plant file counts "
                    "with 1: no number of tests shows a certainty.",)
        if not self.trials:
            more = trials_needed(claim, confidence)
            return (f"No switchover has been judged yet. {more} without a failure would show "
                    f"{claim:g} with {percent(confidence)} confidence.",)
        lower, two = self.success(confidence), self.success(0.9, "two")
        more = self.more_needed(claim, confidence)
        shown = lower.lower >= claim
        return (
            f"{self.successes} of {self.trials} switchovers passed: share {lower.point:.3f}, "
            f"90 % interval {two.lower:.3f} to {two.upper:.3f} (exact binomial).",
            f"With {percent(confidence)} confidence at least {lower.lower:.3f} of such switchovers "
            f"succeed: {claim:g} is {'shown' if shown else 'not shown'}.",
            "Nothing more is needed for it." if not more else
            f"{more} more without a failure would show {claim:g}"
            f"{' beside the failures so far' if self.successes < self.trials else ''}.",
            "They prove this for the causes that were tested, in the state of that day. Faults "
            "that nobody can provoke by hand (a program that stands still, a silent interface) "
            "are not in these numbers.",
        )

    def text(self, claim: float | None = None, confidence: float = 0.95) -> str:
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
        if all(each.type != MUST_SWITCH for each in self.repeats):
            lines += ["Switchovers:", "  no step of the sheet is one that counts"]
        elif self.claim is None and claim is None:
            lines += ["Switchovers:", "  the sheet does not say which chance of success is to be "
                      f"shown: {self.successes} of {self.trials} passed"]
        else:
            lines += ["Switchovers:", *(f"  {each}" for each in self.proves(claim, confidence))]
        if self.problems:
            lines += ["The file:", *(f"  {each}" for each in _gathered(self.problems))]
        return "\n".join(lines)


def _gathered(problems: Iterable[str]) -> list[str]:
    """Return what is said of several lines once, with all of them."""
    lines: dict[str, list[str]] = {}
    for each in problems:
        line = re.match(r"line (\d+): ", each)
        lines.setdefault(each[line.end():] if line else each, []).extend(line.groups() if line else ())
    return [f"line{'s' * (len(at) > 1)} {_in_turn(at)}: {words}" if at else words
            for words, at in lines.items()]


def _in_turn(numbers: Iterable[str]) -> str:
    """Write numbers with those that follow one another as from and to."""
    runs = [list(run) for _, run in itertools.groupby(
        enumerate(map(int, numbers)), key=lambda each: each[1] - each[0])]
    return ", ".join(f"{run[0][1]} to {run[-1][1]}" if len(run) > 2 else
                     ", ".join(str(number) for _, number in run) for run in runs)


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
                         f"{', '.join(found)[:200] or 'an empty file'}{hint}")
    rows = rows_of("\n".join(lines[at:]) + "\n", separator_of(lines[at]), at + 1)
    header = [re.sub(r"\s+", "_", cell.strip().lower()) for cell in next(rows)[1]]
    problems += _missing(header)
    repeats = []
    seen: dict[tuple[str, str], int] = {}
    copies: dict[tuple[str, ...], int] = {}
    found = list(rows)
    at = header.index("kind") if "kind" in header else len(header)
    said = {cells[at].strip().lower(): next(filter(None, [*cells[:at], *cells[at + 1:]]), "")
            for _, cells in found if len(cells) > at}
    planned = Planned.read(said.get(STEPS, ""))
    for line, cells in found:
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
        each = _judged(row, line, problems, planned.get(_numbered(row["step"])))
        first = copies.setdefault(tuple(row.values()), line)
        if first != line and each.repeat and each.why != "not done":
            problems.append(f"line {line}: a copy of line {first}, word for word; it counts once")
            continue
        key = each.step, each.repeat
        if each.repeat and key in seen:
            problems.append(f"line {line}: step {each.step}, repeat {each.repeat} stands in line "
                            f"{seen[key]} too; both count")
        seen.setdefault(key, line)
        repeats.append(each)
    if not repeats:
        problems.append("no row with a step was found below the heading")
    problems += [*_gone(planned, repeats, "kind" in header), *_alike(repeats)]
    try:
        claim = float(said.get(CLAIM, ""))
    except ValueError:
        claim = None
    return TestResults(tuple(repeats), tuple(problems), claim)


def _numbered(step: str) -> str:
    """Return the number of a step as spreadsheets leave it, that is without a leading zero."""
    step = re.sub(r"[.,]0+$", "", step)
    return step.lstrip("0") or "0" if step.isdecimal() else step


def _gone(planned: dict[str, Planned], repeats: list[Repeat], ours: bool) -> list[str]:
    """Say which steps and repeats are no longer in a sheet."""
    if not planned:
        return [f"the row {STEPS!r} is missing: nobody can see whether steps were taken out or "
                "limits changed"] if ours else []
    done: dict[str, set[str]] = {}
    for each in repeats:
        done.setdefault(_numbered(each.step), set()).add(each.repeat)
    found = [f"step {step:0>2} is missing: it had {each.repeats} repeats" for step, each in
             planned.items() if step not in done]
    for step, each in planned.items():
        gone = [str(number) for number in range(1, each.repeats + 1)
                if step in done and str(number) not in done[step]]
        if gone:
            found.append(f"step {step:0>2}: of {each.repeats} repeats "
                         f"{', '.join(gone)} {'is' if len(gone) == 1 else 'are'} missing")
    return found + [f"step {step} was not in the sheet when it was made" for step in done
                    if step not in planned]


def _alike(repeats: list[Repeat]) -> Iterator[str]:
    """Say of which steps all readings are the same: what is measured varies in its last digit."""
    read: dict[str, list[float]] = {}
    for each in repeats:
        if each.measured_gap_ms is not None:
            read.setdefault(each.step, []).append(each.measured_gap_ms)
    for step, gaps_ms in read.items():
        if len(gaps_ms) >= FEWEST_ALIKE and len(set(gaps_ms)) == 1:
            yield (f"step {step}: all {len(gaps_ms)} readings are {gaps_ms[0]:g} ms, and measured "
                   "gaps differ: was one of them copied, or a limit entered? Look into the raw records")


def _cells(line: str) -> list[str]:
    """Return the cells of one line, in small letters; none of a line that is no row."""
    try:
        return [cell.strip().lower()
                for cell in next(rows_of(line, separator_of(line)), (0, []))[1]]
    except ValueError:
        return []


def _missing(header: list[str]) -> Iterator[str]:
    """Say which columns are not there, and which twice."""
    for name, cost in texts()["missing_column"].items():
        if name not in header:
            near = difflib.get_close_matches(name, set(header) - {*COLUMNS}, n=1)
            hint = f" (is {near[0]!r} meant?)" if near else ""
            yield f"column {name} is missing{hint}: {cost}"
    for name in sorted({each for each in header if each and header.count(each) > 1}):
        yield f"column {name} stands there {header.count(name)} times: the last one counts"


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
    if no is FAIL and text.startswith("fail"):
        text = "fail"  # a failure with its category stays one
    if text in yes or text in no:
        return text in yes
    problems.append(f"line {line}: {name} must be {'yes or no' if yes is YES else 'pass or fail'}"
                    f" or empty, got {row[name]!r}; the row stays open until it can be read")
    return None


def _judged(row: dict[str, str], line: int, problems: list[str],
            planned: Planned | None = None) -> Repeat:
    limit_ms = _number(row, "gap_limit_ms", line, problems)
    least_ms = _number(row, "gap_least_ms", line, problems)
    if planned is not None:
        for name, stated_ms, made_ms in (("gap_limit_ms", limit_ms, planned.limit_ms),
                                         ("gap_least_ms", least_ms, planned.least_ms)):
            if name in row and stated_ms != made_ms:
                problems.append(f"line {line}: {name} of step {row['step']} was "
                                f"{_shown(made_ms)} when the sheet was made and is "
                                f"{_shown(stated_ms)} now; the first counts")
        limit_ms, least_ms = planned.limit_ms, planned.least_ms
    measured_ms = _number(row, "measured_gap_ms", line, problems)
    before = len(problems)
    as_expected = _word(row, "as_expected", YES, NO, line, problems)
    passed = _word(row, "verdict", PASS, FAIL, line, problems)
    verdict, why = _verdict(limit_ms, least_ms, measured_ms, as_expected, passed)
    if verdict == "pass" and len(problems) > before:
        verdict, why = "open", "an entry cannot be read"
    if least_ms is None and limit_ms and measured_ms and measured_ms < limit_ms / 100:
        problems.append(f"line {line}: a gap of {measured_ms:g} ms is far below its limit of "
                        f"{limit_ms:g} ms: was it read in seconds?")
    if measured_ms is not None and least_ms is not None and measured_ms < least_ms:
        problems.append(f"line {line}: step {row['step']}: {why}")
    if passed and verdict == "fail":
        problems.append(f"line {line}: step {row['step']} is stated as passed, but {why}")
    return Repeat(line, row["step"], row.get("repeat", ""), row.get("type", "").lower(),
                  row.get("action", ""), limit_ms, measured_ms, as_expected,
                  "" if passed is None else "pass" if passed else "fail", verdict, why)


def _shown(value_ms: float | None) -> str:
    return "none" if value_ms is None else f"{value_ms:g} ms"


def _verdict(limit_ms: float | None, least_ms: float | None, measured_ms: float | None,
             as_expected: bool | None, passed: bool | None) -> tuple[str, str]:
    """Return the verdict on a row and what it rests on; the first that applies."""
    if limit_ms is not None and measured_ms is not None and measured_ms > limit_ms:
        return "fail", f"the gap of {measured_ms:g} ms is above its limit of {limit_ms:g} ms"
    if as_expected is False:
        return "fail", "roles, lamps or record were not as expected"
    if passed is False:
        return "fail", "stated as failed"
    if measured_ms is None and as_expected is None and passed is None:
        return "open", "not done"
    if measured_ms is not None and least_ms is not None and measured_ms < least_ms:
        return "open", (f"a gap of {measured_ms:g} ms cannot be, {least_ms:g} ms is the least "
                        "possible with the settings of the sheet: " + (
                            "was it read in seconds?" if measured_ms < least_ms / 100 else
                            "were the settings others, or the trigger late?"))
    if limit_ms is not None and measured_ms is None:
        return "open", f"the limit is {limit_ms:g} ms, and no gap is entered"
    if as_expected is None and passed is None:
        return "open", "nothing says whether roles, lamps and record were as expected"
    return "pass", "within its limit and as expected" if limit_ms is not None else "as expected"
