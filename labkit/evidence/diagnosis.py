"""Causes from signs: Bayes' rule on faults, and the check that pays most for its time.

A *cause* is one fault that could explain what is seen; exactly one of those listed is taken to
be present. A *check* is an observation with outcomes, each of which has a probability under
every cause. Probabilities of causes and outcomes are plain mappings from name to number.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from labkit.arguments import amount, fraction, instance, mapping, positive, read_fields


def _weights(name, given):
    if not mapping(name, given, "cause to number"):
        raise ValueError(f"{name} must name at least one cause, got none")
    weights = {cause: amount(f"{name}[{cause!r}]", weight) for cause, weight in given.items()}
    total = math.fsum(weights.values())
    if not total > 0:
        raise ValueError(f"{name} must have a sum > 0, got {total}")
    return {cause: weight / total for cause, weight in weights.items()}


def _same_causes(name, given, prior):
    missing = sorted(set(prior) - set(mapping(name, given, "cause to probability")))
    if missing:
        raise ValueError(f"{name} must give a probability under every cause, lacks {missing[0]!r}")
    unknown = sorted(set(given) - set(prior))
    if unknown:
        raise ValueError(f"{name} must name only causes of the prior, got {unknown[0]!r}")


@dataclass(frozen=True)
class Check:
    """Describe an observation, the minutes it takes, and what it would show under each cause.

    Parameters
    ----------
    name : str
        What is looked at or measured.
    minutes : float
        Time that it takes, > 0.
    outcomes : mapping
        Outcome -> cause -> probability of the outcome if that cause is present, in [0, 1]; for
        every cause the outcomes sum to 1.

    Raises
    ------
    TypeError, ValueError
        If a number is none, or outside its range, an outcome lacks a cause, or a sum is not 1.

    Examples
    --------
    >>> lamp = Check.yes_no("supply lamp lit?", 1, {"no power": 0.02, "program stopped": 0.99})
    >>> print(f"{lamp.outcomes['no']['no power']:.2f}")
    0.98
    """

    name: str
    minutes: float
    outcomes: Mapping[str, Mapping[str, float]]

    def __post_init__(self):
        instance("name", self.name, str)
        read_fields(self, positive, "minutes")
        if not mapping("outcomes", self.outcomes, "outcome to causes"):
            raise ValueError("outcomes must name at least one outcome, got none")
        first, causes = next(iter(self.outcomes.items()))
        mapping(f"outcomes[{first!r}]", causes, "cause to probability")
        for outcome, under in self.outcomes.items():
            _same_causes(f"outcomes[{outcome!r}]", under, causes)
        object.__setattr__(self, "outcomes", {
            outcome: {cause: fraction(f"outcomes[{outcome!r}][{cause!r}]", chance)
                      for cause, chance in under.items()}
            for outcome, under in self.outcomes.items()
        })
        for cause in causes:
            total = math.fsum(under[cause] for under in self.outcomes.values())
            if abs(total - 1) > 1e-9:
                raise ValueError(
                    f"outcomes of check {self.name!r} must sum to 1 under cause {cause!r}, "
                    f"got {total}"
                )

    @classmethod
    def yes_no(cls, name: str, minutes: float, chance_of_yes: Mapping[str, float]) -> "Check":
        """Make a check with the outcomes "yes" and "no".

        Parameters
        ----------
        name : str
            The question.
        minutes : float
            Time that the check takes, > 0.
        chance_of_yes : mapping
            Cause -> probability of "yes" if that cause is present, in [0, 1].

        Returns
        -------
        Check

        Raises
        ------
        TypeError, ValueError
            If a number is none, or outside its range.
        """
        yes = {
            cause: fraction(f"chance_of_yes[{cause!r}]", chance)
            for cause, chance in mapping(
                "chance_of_yes", chance_of_yes, "cause to probability").items()
        }
        return cls(name, minutes, {"yes": yes, "no": {c: 1 - p for c, p in yes.items()}})


@dataclass(frozen=True)
class CheckValue:
    """Say what a check is expected to tell, and at what cost in time.

    Parameters
    ----------
    name : str
        Name of the check.
    information_bits : float
        Expected information about the cause, bits, >= 0.
    minutes : float
        Time that the check takes, > 0.
    bits_per_minute : float
        Quotient of the two.

    >>> CheckValue("supply lamp lit?", 0.8, 2.0, 0.4).bits_per_minute
    0.4
    """

    name: str
    information_bits: float
    minutes: float
    bits_per_minute: float


def prior_from_rates(rates_per_h: Mapping[str, float]) -> dict[str, float]:
    """Return the probability of each cause, given that exactly one of them has just failed.

    Parameters
    ----------
    rates_per_h : mapping
        Cause -> failure rate, per hour, >= 0, not all 0.

    Returns
    -------
    dict
        Cause -> probability in [0, 1]; they sum to 1.

    Raises
    ------
    TypeError, ValueError
        If a rate is negative or not finite, or if none is positive.

    Notes
    -----
    rate_i / sum of rates: the chance that the first failure of a set of independent parts with
    constant failure rates is that of part i.

    References
    ----------
    Competing exponential risks; any textbook of probability.

    >>> prior_from_rates({"cable": 3e-6, "supply": 1e-6})
    {'cable': 0.75, 'supply': 0.25}
    """
    return _weights("rates_per_h", rates_per_h)


def posterior(
    prior: Mapping[str, float], likelihood: Mapping[str, float]
) -> dict[str, float]:
    """Return the probability of each cause after a sign has been seen.

    Parameters
    ----------
    prior : mapping
        Cause -> probability or weight before the sign, >= 0; brought to a sum of 1.
    likelihood : mapping
        Cause -> probability of the sign if that cause is present, in [0, 1].

    Returns
    -------
    dict
        Cause -> probability in [0, 1]; they sum to 1.

    Raises
    ------
    TypeError, ValueError
        If a number is none, or outside its range, a cause is missing or unknown, or the sign is
        impossible under every cause.

    Notes
    -----
    Bayes' rule: P(cause | sign) is proportional to P(cause) P(sign | cause). Signs that are
    independent given the cause may be applied one after the other, in any order.

    References
    ----------
    Grinstead and Snell, Introduction to Probability, sec. 4.1.

    >>> after = posterior({"ill": 0.005, "well": 0.995}, {"ill": 0.99, "well": 0.01})
    >>> print(f"{after['ill']:.3f}")
    0.332
    """
    prior = _weights("prior", prior)
    _same_causes("likelihood", likelihood, prior)
    joint = {
        cause: chance * fraction(f"likelihood[{cause!r}]", likelihood[cause])
        for cause, chance in prior.items()
    }
    total = math.fsum(joint.values())
    if not total > 0:
        raise ValueError("likelihood must be > 0 under some cause with prior > 0, got 0 for all")
    return {cause: chance / total for cause, chance in joint.items()}


def expected_information_bits(prior: Mapping[str, float], check: Check) -> float:
    """Return how much a check is expected to tell about the cause.

    Parameters
    ----------
    prior : mapping
        Cause -> probability or weight at present, >= 0; brought to a sum of 1.
    check : Check
        The observation considered.

    Returns
    -------
    float
        Bits, from 0 (tells nothing) to the entropy of the prior (settles it).

    Raises
    ------
    TypeError, ValueError
        If a cause is missing or unknown, or a weight is outside its range.

    Notes
    -----
    Mutual information of cause c and outcome o:
    sum over c, o of P(c) P(o | c) log2(P(o | c) / P(o)).

    References
    ----------
    Lindley, Annals of Mathematical Statistics 27 (1956), p. 986.

    Examples
    --------
    >>> sure = Check.yes_no("sure?", 1, {"a": 1.0, "b": 0.0})
    >>> expected_information_bits({"a": 1, "b": 1}, sure)
    1.0
    """
    instance("check", check, Check)
    prior = _weights("prior", prior)
    terms = []
    for outcome, under in check.outcomes.items():
        _same_causes(f"outcomes[{outcome!r}]", under, prior)
        joint = {cause: chance * under[cause] for cause, chance in prior.items()}
        total = math.fsum(joint.values())
        terms += [
            chance * math.log2(under[cause] / total) for cause, chance in joint.items() if chance
        ]
    # rounding may leave -1e-17 where the check tells nothing
    return max(math.fsum(terms), 0.0)


def rank_checks(prior: Mapping[str, float], checks: Iterable[Check]) -> tuple[CheckValue, ...]:
    """Return the checks in order of expected information per minute, the best first.

    Parameters
    ----------
    prior : mapping
        Cause -> probability or weight at present, >= 0.
    checks : iterable of Check
        The observations that could be made next.

    Returns
    -------
    tuple of CheckValue
        Sorted by `bits_per_minute`, falling; ties by name.

    Raises
    ------
    TypeError, ValueError
        As for `expected_information_bits`.

    Notes
    -----
    Looks one check ahead: the best single check need not begin the shortest series.

    References
    ----------
    Lindley, Annals of Mathematical Statistics 27 (1956), p. 986.

    >>> quick = Check.yes_no("lamp", 1, {"a": 0.9, "b": 0.1})
    >>> slow = Check.yes_no("meter", 10, {"a": 1.0, "b": 0.0})
    >>> [value.name for value in rank_checks({"a": 1, "b": 1}, [slow, quick])]
    ['lamp', 'meter']
    """
    ranked = []
    for check in checks:
        bits = expected_information_bits(prior, check)
        ranked.append(CheckValue(check.name, bits, check.minutes, bits / check.minutes))
    return tuple(sorted(ranked, key=lambda value: (-value.bits_per_minute, value.name)))
