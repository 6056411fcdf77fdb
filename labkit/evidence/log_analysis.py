"""What a cleaned log proves: counts, down time by function, limits, and what stays open.

Exposure is counted in unit-hours of the year, for as many units of a kind as the plant has.
Down time of a function follows from the plant itself: whenever parts are down together, the plant
says whether the function works without them.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labkit.arguments import instance
from labkit.evidence.limits import Limits, mtbf_limits, mttr_limits, success_limits
from labkit.evidence.log_cleaning import CleanLog, CleanRow
from labkit.plant.plant import Plant
from labkit.wording import HOURS_PER_YEAR

APART_H = 24.0


@dataclass(frozen=True)
class KindFigures:
    """Hold what the year says about one kind of part.

    Parameters
    ----------
    exposure_h : float
        Unit-hours.
    mtbf_h : Limits
        Time-censored, two-sided.
    assumed_mtbf_h : float
        What the plant file says, of the first part of the kind.
    """

    kind: str
    units: int
    exposure_h: float
    failures: int
    mtbf_h: Limits
    assumed_mtbf_h: float

    @property
    def verdict(self) -> str:
        """Say how the year and the assumption agree."""
        if self.assumed_mtbf_h < self.mtbf_h.lower:
            return "the year is better than the assumption"
        if self.assumed_mtbf_h > self.mtbf_h.upper:
            return "the year speaks against the assumption"
        return "neither proved nor disproved"


@dataclass(frozen=True)
class FunctionLoss:
    """Hold one unplanned outage of a function.

    Parameters
    ----------
    start_h, duration_h : float
        Hours since the year began, and hours that it lasted.
    parts : tuple of str
        Designations of the parts that were down.
    """

    function: str
    start_h: float
    duration_h: float
    parts: tuple[str, ...]


@dataclass(frozen=True)
class LatentWindow:
    """Hold a fault that was found later than it came: it began inside this window.

    Parameters
    ----------
    no : int
        Number of the row.
    last_good_h, found_h : float
        Hours since the year began: of the last good test, and of the one that found it.
    """

    no: int
    designation: str
    last_good_h: float
    found_h: float

    @property
    def longest_days(self) -> float:
        """Longest time that it can have lasted unseen, days."""
        return (self.found_h - self.last_good_h) / 24.0


@dataclass(frozen=True)
class YearFigures:
    """Hold the results of a year.

    Parameters
    ----------
    counts : mapping of str to int
        Events by class, doubles counted once.
    kinds : tuple of KindFigures
        For each kind of part that failed, and for controllers always.
    mttr_h : Limits or None
        All repairs together; None without any.
    down_h_by_part : mapping of str to float
        Hours down by part, most first; unplanned failures with a known end.
    planned_h : float
        Hours of planned work with a known end.
    false_switchovers : tuple of float
        Their times in hours.
    groups : int
        Into how many groups they fall, at least a day apart.
    tests, good_tests : int
        Switchover tests made, and made with success.
    missed_tests : tuple of (float, float)
        Gaps between tests of more than one and a half times the usual, in hours.
    test_success : Limits or None
        95 % lower limit of the share of good tests.
    one_sided_changes : tuple of int
        Numbers of the program changes that name one unit of the pair only.
    """

    counts: Mapping[str, int]
    kinds: tuple[KindFigures, ...]
    mttr_h: Limits | None
    losses: tuple[FunctionLoss, ...]
    latent: tuple[LatentWindow, ...]
    down_h_by_part: Mapping[str, float]
    planned_h: float
    false_switchovers: tuple[float, ...]
    groups: int
    tests: int
    good_tests: int
    missed_tests: tuple[tuple[float, float], ...]
    test_success: Limits | None
    one_sided_changes: tuple[int, ...]

    def lost_h(self, function: str) -> float:
        """Return the hours for which a function was lost."""
        return sum(loss.duration_h for loss in self.losses if loss.function == function)


def analyse_log(log: CleanLog, plant: Plant, *, confidence: float = 0.9) -> YearFigures:
    """Turn a cleaned log into numbers with limits.

    Parameters
    ----------
    log : CleanLog
    plant : Plant
    confidence : float
        Of the two-sided limits, in (0, 1).

    Returns
    -------
    YearFigures

    Raises
    ------
    ValueError
        When the confidence is outside its range.

    Examples
    --------
    >>> from labkit import clean_log, example_year, load_plant
    >>> plant = load_plant()
    >>> figures = analyse_log(clean_log(example_year(), plant), plant)
    >>> round(60 * figures.lost_h("control kept"))
    52
    """
    instance("log", log, CleanLog)
    instance("plant", plant, Plant)
    failures = [one for one in log.rows if one.failure]
    repairs = [one.duration_h for one in failures if one.duration_h]
    tests = sorted(one.start_h for one in log.rows if one.row.kind == "role change test")
    good = [one for one in log.rows
            if one.row.kind == "role change test" and one.row.test_is_good]
    false_ones = tuple(one.start_h for one in log.rows
                       if "role change without a fault" in one.row.text.lower())
    down: Counter[str] = Counter()
    for one in failures:
        down[one.row.designation or "no part"] += one.duration_h or 0.0
    return YearFigures(
        counts=MappingProxyType(dict(Counter(map(_class_of, log.rows)).most_common())),
        kinds=_kinds(failures, plant, confidence),
        mttr_h=mttr_limits(repairs, confidence=confidence) if repairs else None,
        losses=_losses(failures, plant),
        latent=_latent(failures, tests),
        down_h_by_part=MappingProxyType(dict(down.most_common())),
        planned_h=sum(one.duration_h or 0.0 for one in log.rows if one.planned),
        false_switchovers=false_ones,
        groups=sum(later - earlier > APART_H
                   for earlier, later in zip((-HOURS_PER_YEAR, *false_ones), false_ones)),
        tests=len(tests),
        good_tests=len(good),
        missed_tests=_missed(tests),
        test_success=success_limits(len(good), len(tests), confidence=0.95, sided="lower")
        if tests else None,
        one_sided_changes=_one_sided(log, plant),
    )


def _class_of(one: CleanRow) -> str:
    if one.failure:
        return "failure"
    if one.row.kind in ("failure", "maintenance"):
        return "planned work" if one.planned else "first sign"
    return one.row.kind


def _one_sided(log: CleanLog, plant: Plant) -> tuple[int, ...]:
    """Return the program changes whose text names one unit of the pair only."""
    units = plant.pair.units if plant.pair else ()
    return tuple(one.row.no for one in log.rows if one.row.kind == "program change"
                 and sum(unit in one.row.text for unit in units) == 1)


def _kinds(failures: list[CleanRow], plant: Plant, confidence: float) -> tuple[KindFigures, ...]:
    failed = Counter(plant.parts[one.row.designation].kind for one in failures
                     if one.row.designation in plant.parts)
    found = []
    for kind in dict.fromkeys(part.kind for part in plant.parts.values()):
        units = [part for part in plant.parts.values() if part.kind == kind]
        if kind != "controller" and not failed[kind]:
            continue
        exposure_h = HOURS_PER_YEAR * len(units)
        found.append(KindFigures(
            kind, len(units), exposure_h, failed[kind],
            mtbf_limits(exposure_h, failed[kind], confidence=confidence), units[0].mtbf_h))
    return tuple(found)


def _losses(failures: list[CleanRow], plant: Plant) -> tuple[FunctionLoss, ...]:
    """Walk the year from change to change and ask the plant what works."""
    spans = [(one.start_h, one.end_h, one.row.designation) for one in failures
             if one.end_h is not None and not one.latent and one.row.designation in plant.parts]
    instants = sorted({moment for start_h, end_h, _ in spans for moment in (start_h, end_h)})
    found: list[FunctionLoss] = []
    at_of: dict[str, int] = {}  # where the last outage of each function stands
    for start_h, end_h in zip(instants, instants[1:]):
        broken = {name for begin_h, stop_h, name in spans if begin_h <= start_h < stop_h}
        if not broken:
            continue
        for function, works in plant.state(broken).works.items():
            if works:
                continue
            at = at_of.get(function)
            last = None if at is None else found[at]
            if last and last.start_h + last.duration_h == start_h:
                found[at] = FunctionLoss(function, last.start_h, end_h - last.start_h,
                                         tuple(sorted(broken | set(last.parts))))
            else:
                at_of[function] = len(found)
                found.append(FunctionLoss(function, start_h, end_h - start_h,
                                          tuple(sorted(broken))))
    return tuple(found)


def _latent(failures: list[CleanRow], tests: list[float]) -> tuple[LatentWindow, ...]:
    """Date latent faults from the last good test before they were found."""
    found = []
    for one in failures:
        if one.latent:
            # a test within the hour before is the one that found it
            found_h = max((test_h for test_h in tests
                           if one.start_h - 1.0 <= test_h <= one.start_h), default=one.start_h)
            good_h = max((test_h for test_h in tests if test_h < found_h), default=0.0)
            found.append(LatentWindow(one.row.no, one.row.designation, good_h, found_h))
    return tuple(found)


def _missed(tests: list[float]) -> tuple[tuple[float, float], ...]:
    gaps = [(earlier, later) for earlier, later in zip(tests, tests[1:])]
    if len(gaps) < 3:
        return ()
    usual_h = sorted(later - earlier for earlier, later in gaps)[len(gaps) // 2]
    return tuple(gap for gap in gaps if gap[1] - gap[0] > 1.5 * usual_h)
