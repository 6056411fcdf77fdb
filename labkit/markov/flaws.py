"""The flaws of a pair of controllers, one at a time and together, beside one controller alone.

A flaw is what is not ideal about a real pair: causes that both units share, takeovers that fail,
faults of the standby that nobody sees. Each row is the chain of `labkit.markov.pair` with some of
them.
"""

import math
from dataclasses import dataclass, replace

from labkit.arguments import instance, positive
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR, THIN_SPACE, percent, shown, three_digits


@dataclass(frozen=True)
class Flaws:
    """Hold a pair with its flaws; the defaults are those of the ideal pair.

    Parameters
    ----------
    mtbf_h, mttr_h : float
        Of one controller in hours, > 0.
    common_cause : float
        Share of a controller's failures that takes both at once, 0 to 1.
    coverage : float
        Share of failures of the active from which the standby takes over by itself, 0 to 1.
    diagnosed : float
        Share of failures of the standby that are seen at once, 0 to 1.
    test_interval_h : float
        Hours between proof tests of the standby, > 0; infinity: never.
    restart_h : float
        Hours until staff start the standby after a failed takeover, > 0.

    Examples
    --------
    >>> Flaws(common_cause=0.05).pair.unavailability < 4e-6
    True
    """

    mtbf_h: float = 60_000.0
    mttr_h: float = 4.0
    common_cause: float = 0.0
    coverage: float = 1.0
    diagnosed: float = 1.0
    test_interval_h: float = 4_380.0
    restart_h: float = 0.5

    @property
    def pair(self) -> MarkovModel:
        """The pair as a chain."""
        return redundant_pair(**vars(self))

    @property
    def single(self) -> MarkovModel:
        """One such controller alone, as a chain."""
        return two_state(self.mtbf_h, self.mttr_h)


@dataclass(frozen=True)
class FlawRow:
    """Hold what one version comes to.

    Parameters
    ----------
    name : str
        Which version it is.
    down_min_per_a : float
        Down time in minutes per year, > 0.
    years_between : float
        Mean years from one outage to the next, > 0.
    first_outage_h : float
        Mean hours to the first outage, > 0.

    >>> print(f"{flaw_rows(Flaws())[0].down_min_per_a:.2f}")
    35.04
    """

    name: str
    down_min_per_a: float
    years_between: float
    first_outage_h: float


def _row(name: str, chain: MarkovModel) -> FlawRow:
    return FlawRow(name, chain.downtime_h_per_year * 60,
                   1 / (chain.failures_per_h * HOURS_PER_YEAR),
                   chain.mean_time_to_first_failure_h())


def flaw_rows(flaws: Flaws) -> tuple[FlawRow, ...]:
    """Return one controller, the ideal pair, each flaw alone, and all of them together.

    Parameters
    ----------
    flaws : Flaws

    Returns
    -------
    tuple of FlawRow
        Six rows; a flaw that is not there gives the row of the ideal pair.

    Examples
    --------
    >>> rows = flaw_rows(Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9))
    >>> for row in rows:
    ...     print(f"{row.name:22} {row.down_min_per_a:8.4f} {row.years_between:8.1f}")
    one controller          35.0377      6.8
    ideal pair               0.0047  51376.7
    common causes only       1.7563    136.6
    failed takeovers only    0.1361    227.3
    latent faults only       0.1276   1880.9
    pair as set              1.9917     83.8
    """
    instance("flaws", flaws, Flaws)
    ideal = replace(flaws, common_cause=0.0, coverage=1.0, diagnosed=1.0)
    return (
        _row("one controller", flaws.single),
        _row("ideal pair", ideal.pair),
        _row("common causes only", replace(ideal, common_cause=flaws.common_cause).pair),
        _row("failed takeovers only", replace(ideal, coverage=flaws.coverage).pair),
        _row("latent faults only", replace(ideal, diagnosed=flaws.diagnosed).pair),
        _row("pair as set", flaws.pair),
    )


def years_in_words(years: float) -> str:
    """Say how many years lie between two outages, with two or three digits, so that 6.85 and 6.86
    years, one controller with a spare and without, are not 6.8 and 6.9.

    Parameters
    ----------
    years : float
        Years, > 0.

    >>> [years_in_words(years) for years in (6.85, 83.8, 51376.7)]
    ['6.85 years', '84 years', '51 400 years']
    """
    years = positive("years", years)
    if years < 10:
        return f"{years:.2f} years"
    return f"{three_digits(years, ' ')} years"


def flaws_text(flaws: Flaws) -> str:
    """Say what the pair comes to, row by row, and beside one controller.

    >>> print(flaws_text(Flaws(common_cause=0.05)).splitlines()[-1])
    Against one controller: down 19.9 times less, one outage in 137 years and not in 6.85 years.
    >>> flaws_text(Flaws()).splitlines()[-1][:45]
    'Against one controller: down 7 500 times less'
    """
    rows = flaw_rows(flaws)
    tested = "never" if math.isinf(flaws.test_interval_h) else f"every {flaws.test_interval_h:g} h"
    lines = [
        f"MTBF {shown(flaws.mtbf_h).replace(THIN_SPACE, ' ')} h, MTTR {flaws.mttr_h:.4g} h; common "
        f"causes {percent(flaws.common_cause)}, taken over {percent(flaws.coverage)}, "
        f"standby faults seen {percent(flaws.diagnosed)}, standby tested {tested}."
    ]
    lines += [f"{row.name}: {row.down_min_per_a:.4g} min a year down, one outage in "
              f"{years_in_words(row.years_between)}" for row in rows]
    return "\n".join([*lines, _against(rows)])


def _against(rows: tuple[FlawRow, ...]) -> str:
    one, pair = rows[0], rows[-1]
    times = one.down_min_per_a / pair.down_min_per_a
    said = f"{times:.3g}" if times < 100 else three_digits(times, " ")
    return (f"Against one controller: down {said} times less, one outage in "
            f"{years_in_words(pair.years_between)} and not in "
            f"{years_in_words(one.years_between)}.")
