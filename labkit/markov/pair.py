"""The pair of controllers in numbers: one active, one standby, and what is not ideal about them."""

import math
from collections.abc import Mapping

from labkit.arguments import count, fraction, number, positive
from labkit.markov.chain import MarkovModel

UNNOTICED, NEVER_FOUND = "standby failed unnoticed", "standby failed, no test finds it"


def redundant_pair(
    mtbf_h: float,
    mttr_h: float,
    *,
    common_cause: float = 0.0,
    coverage: float = 1.0,
    diagnosed: float = 1.0,
    test_interval_h: float = 4380.0,
    restart_h: float = 0.5,
    crews: int = 1,
    standby_ratio: float = 1.0,
    missed: float = 0.0,
    overhaul_interval_h: float = math.inf,
) -> MarkovModel:
    """Build the chain of an active controller and its standby.

    The default values are those of the ideal pair, so that each flaw is switched on by itself.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between failures of one controller in hours, > 0 and finite.
    mttr_h : float
        Mean time to restoration of one controller in hours, > 0 and finite.
    common_cause : float
        Share of a controller's failure rate that takes both at once (beta), 0 to 1.
    coverage : float
        Share of failures of the active from which the standby takes over by itself, 0 to 1.
    diagnosed : float
        Share of failures of the standby that are seen at once, 0 to 1; the others are latent.
    test_interval_h : float
        Time between proof tests of the standby in hours, > 0; infinity: never tested. It matters
        only if `diagnosed` is less than 1.
    restart_h : float
        Mean time in hours, > 0, until staff start the standby by hand after a failed takeover.
    crews : int
        Repair crews, 1 or 2.
    standby_ratio : float
        Failure rate of the standby over that of the active, 0 (cold) to 1 (hot).
    missed : float
        Share of the latent faults that no test finds, 0 to 1; they wait for the overhaul.
    overhaul_interval_h : float
        Time between overhauls of the standby in hours, > 0; infinity: never.

    Returns
    -------
    MarkovModel
        States "both good", "one failed", "standby failed unnoticed", "both failed", "not taken
        over", up in the first three; and "standby failed, no test finds it", up too, where
        `missed` is above 0.

    Raises
    ------
    TypeError
        If an argument is no number.
    ValueError
        If an argument is out of its range.

    Notes
    -----
    With a = 1/mtbf_h, b = `common_cause`, c = `coverage`, d = `diagnosed`, r = `standby_ratio`:

    ========================  ========================  =============================
    from                      to                        rate per hour
    ========================  ========================  =============================
    both good                 both failed               b a
    both good                 not taken over            (1-b) a (1-c)
    both good                 one failed                (1-b) a c + (1-b) r a d
    both good                 standby failed unnoticed  (1-b) r a (1-d)
    one failed                both good                 1/mttr_h
    one failed                both failed               a
    standby failed unnoticed  both failed               a
    standby failed unnoticed  one failed                2/test_interval_h
    not taken over            one failed                1/restart_h
    both failed               one failed                crews/mttr_h
    ========================  ========================  =============================

    A latent fault waits half a test interval on the average; the rate 2/test_interval_h treats
    this wait as memoryless, which it is not (see labkit.markov.proof_tests for the exact periodic
    test). The share `missed` of the latent faults has a state of its own, left at the rates
    2/overhaul_interval_h and a. The common cause is taken at the rate of the active, whatever the
    standby ratio.

    References
    ----------
    A. Birolini, Reliability Engineering, 5th ed. 2007, section 6 (redundancy, coverage and hidden
    failures); IEC 61508-6, Annex D (beta factor). The combination is common practice.

    Examples
    --------
    >>> pair = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9)
    >>> print(f"{pair.unavailability:.3e}, {pair.mean_time_to_first_failure_h():.4g} h")
    3.789e-06, 7.345e+05 h
    """
    mtbf_h, mttr_h = positive("mtbf_h", mtbf_h), positive("mttr_h", mttr_h)
    restart_h = positive("restart_h", restart_h)
    test_interval_h = _interval("test_interval_h", test_interval_h)
    overhaul_interval_h = _interval("overhaul_interval_h", overhaul_interval_h)
    missed = fraction("missed", missed)
    common_cause = fraction("common_cause", common_cause)
    coverage = fraction("coverage", coverage)
    diagnosed = fraction("diagnosed", diagnosed)
    standby_ratio = fraction("standby_ratio", standby_ratio)
    crews = count("crews", crews, least=1, most=2)

    failure = 1 / mtbf_h
    alone = (1 - common_cause) * failure
    standby = standby_ratio * alone
    rates = {
        ("both good", "one failed"): alone * coverage + standby * diagnosed,
        ("both good", "standby failed unnoticed"): standby * (1 - diagnosed),
        ("both good", "both failed"): common_cause * failure,
        ("both good", "not taken over"): alone * (1 - coverage),
        ("one failed", "both good"): 1 / mttr_h,
        ("one failed", "both failed"): failure,
        ("standby failed unnoticed", "one failed"): 2 / test_interval_h,
        ("standby failed unnoticed", "both failed"): failure,
        ("both failed", "one failed"): crews / mttr_h,
        ("not taken over", "one failed"): 1 / restart_h,
    }
    rates = with_missed(rates, UNNOTICED, NEVER_FOUND, missed)
    if missed:
        rates[NEVER_FOUND, "one failed"] = 2 / overhaul_interval_h
    return MarkovModel(rates, up=["both good", "one failed", UNNOTICED, *[NEVER_FOUND] * bool(missed)])


def _interval(name: str, value: float) -> float:
    """Check an interval that may be without end."""
    if not number(name, value) > 0:
        raise ValueError(f"{name} must be > 0, got {value}")
    return math.inf if value == math.inf else positive(name, value)


def with_missed(rates: Mapping, latent: str, never: str, missed: float) -> dict:
    """Split what leads into a latent state: a share of it goes where no test finds it.

    >>> with_missed({("good", "latent"): 1.0}, "latent", "never", 0.25)
    {('good', 'latent'): 0.75, ('good', 'never'): 0.25}
    """
    found = dict(rates)
    for (start, end), rate in rates.items() if missed else ():
        if end == latent:
            found[start, latent], found[start, never] = (1 - missed) * rate, missed * rate
        elif start == latent:
            found[never, end] = rate
    return found
