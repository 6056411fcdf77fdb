"""Average probability of failure on demand by the formulas of IEC 61508-6, Annex B.

They are here for comparison with the exact models of labkit.markov.proof_tests; no safety
integrity level follows from anything in this package.
"""

from labkit.arguments import amount, fraction, positive


def pfd_1oo1(
    failure_rate_per_h: float,
    *,
    test_interval_h: float,
    diagnosed: float = 0.0,
    mttr_h: float = 8.0,
    mrt_h: float | None = None,
) -> float:
    """Give the average probability of failure on demand of one channel (1oo1).

    Parameters
    ----------
    failure_rate_per_h : float
        Dangerous failures of a channel per hour, >= 0 (lambda_D).
    test_interval_h : float
        Proof-test interval in hours, > 0 (T1).
    diagnosed : float
        Share of the dangerous failures that diagnosis sees, 0 to 1 (DC).
    mttr_h : float
        Mean time to restoration of a seen failure in hours, >= 0 (MTTR).
    mrt_h : float, optional
        Mean repair time after a proof test in hours, >= 0 (MRT). Default: `mttr_h`.

    Returns
    -------
    float
        lambda_DU (T1/2 + MRT) + lambda_DD MTTR.

    Raises
    ------
    TypeError
        If an argument is no number.
    ValueError
        If an argument is out of its range.

    Notes
    -----
    An approximation for small rate times interval; it is a comparison, and no safety integrity
    level follows from it here.

    References
    ----------
    IEC 61508-6:2010, Annex B.3.2.2.1.

    Examples
    --------
    >>> print(f"{pfd_1oo1(5e-6, diagnosed=0.6, test_interval_h=8760):.1e}")
    8.8e-03
    """
    undetected, detected, waits, _, mttr_h = _channel(
        failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h)
    return undetected * waits[0] + detected * mttr_h


def pfd_2oo2(
    failure_rate_per_h: float,
    *,
    test_interval_h: float,
    diagnosed: float = 0.0,
    mttr_h: float = 8.0,
    mrt_h: float | None = None,
) -> float:
    """Give the average probability of failure on demand of two channels both needed (2oo2).

    Parameters
    ----------
    failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h
        As for `pfd_1oo1`: per hour, hours, share, hours, hours.

    Returns
    -------
    float
        Twice that of one channel.

    Raises
    ------
    TypeError, ValueError
        As `pfd_1oo1`.

    References
    ----------
    IEC 61508-6:2010, Annex B.3.2.2.3.

    Examples
    --------
    >>> print(f"{pfd_2oo2(5e-6, diagnosed=0.6, test_interval_h=8760):.1e}")
    1.8e-02
    """
    return 2 * pfd_1oo1(
        failure_rate_per_h,
        test_interval_h=test_interval_h,
        diagnosed=diagnosed,
        mttr_h=mttr_h,
        mrt_h=mrt_h,
    )


def pfd_1oo2(
    failure_rate_per_h: float,
    *,
    test_interval_h: float,
    diagnosed: float = 0.0,
    common_cause: float = 0.0,
    common_cause_diagnosed: float | None = None,
    mttr_h: float = 8.0,
    mrt_h: float | None = None,
) -> float:
    """Give the average probability of failure on demand of two channels, one needed (1oo2).

    Parameters
    ----------
    failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h
        As for `pfd_1oo1`: per hour, hours, share, hours, hours.
    common_cause : float
        Share of the undetected failures that takes all channels, 0 to 1 (beta).
    common_cause_diagnosed : float, optional
        The same for the detected failures, 0 to 1 (beta_D). Default: half of `common_cause`, as
        in the tables of the standard.

    Returns
    -------
    float
        2 [(1-beta_D) lambda_DD + (1-beta) lambda_DU]^2 t_CE t_GE, plus what common causes bring,
        beta_D lambda_DD MTTR + beta lambda_DU (T1/2 + MRT).

    Raises
    ------
    TypeError, ValueError
        As `pfd_1oo1`.

    Notes
    -----
    t_CE and t_GE are the mean down times of a channel and of the group, with T1/2 and T1/3.
    Against the exact exponential law the first part is high: 0.3 % at 5e-7/h, 3 % at 5e-6/h,
    17 % at 2.5e-5/h with a yearly test and no diagnosis.

    References
    ----------
    IEC 61508-6:2010, Annex B.3.2.2.2.

    Examples
    --------
    >>> print(f"{pfd_1oo2(5e-6, test_interval_h=4380, common_cause=0.02):.1e}")
    3.7e-04
    """
    return _pfd_of_group(
        2, failure_rate_per_h, test_interval_h, diagnosed, common_cause,
        common_cause_diagnosed, mttr_h, mrt_h,
    )  # fmt: skip


def pfd_2oo3(
    failure_rate_per_h: float,
    *,
    test_interval_h: float,
    diagnosed: float = 0.0,
    common_cause: float = 0.0,
    common_cause_diagnosed: float | None = None,
    mttr_h: float = 8.0,
    mrt_h: float | None = None,
) -> float:
    """Give the average probability of failure on demand of three channels, two needed (2oo3).

    Parameters
    ----------
    failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h
        As for `pfd_1oo1`: per hour, hours, share, hours, hours.
    common_cause, common_cause_diagnosed
        As for `pfd_1oo2`.

    Returns
    -------
    float
        As `pfd_1oo2` with 6 in place of 2: three pairs can fail.

    Raises
    ------
    TypeError, ValueError
        As `pfd_1oo1`.

    References
    ----------
    IEC 61508-6:2010, Annex B.3.2.2.5.

    Examples
    --------
    >>> pfd = pfd_2oo3(2.5e-6, test_interval_h=8760, diagnosed=0.9, common_cause=0.2)
    >>> print(f"{pfd:.1e}")
    2.3e-04
    """
    return _pfd_of_group(
        6, failure_rate_per_h, test_interval_h, diagnosed, common_cause,
        common_cause_diagnosed, mttr_h, mrt_h,
    )  # fmt: skip


def _pfd_of_group(
    orders, failure_rate_per_h, test_interval_h, diagnosed, common_cause,
    common_cause_diagnosed, mttr_h, mrt_h,
):  # fmt: skip
    """Add what common causes bring to what the channels bring that fail one after the other."""
    undetected, detected, waits, seen, mttr_h = _channel(
        failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h)
    beta = fraction("common_cause", common_cause)
    if common_cause_diagnosed is None:
        beta_detected = beta / 2
    else:
        beta_detected = fraction("common_cause_diagnosed", common_cause_diagnosed)
    common = beta_detected * detected * mttr_h + beta * undetected * waits[0]
    alone = (1 - beta_detected) * detected + (1 - beta) * undetected
    channel_h, group_h = ((1 - seen) * wait + seen * mttr_h for wait in waits)
    return orders * alone**2 * channel_h * group_h + common


def _channel(failure_rate_per_h, test_interval_h, diagnosed, mttr_h, mrt_h):
    """Give the rates of faults not seen and seen, waits T1/2 and T1/3 + MRT, share seen, MTTR."""
    rate, seen = amount("failure_rate_per_h", failure_rate_per_h), fraction("diagnosed", diagnosed)
    restored_h = amount("mttr_h", mttr_h)
    repair_h = restored_h if mrt_h is None else amount("mrt_h", mrt_h)
    interval_h = positive("test_interval_h", test_interval_h)
    waits = (interval_h / 2 + repair_h, interval_h / 3 + repair_h)
    return rate * (1 - seen), rate * seen, waits, seen, restored_h
