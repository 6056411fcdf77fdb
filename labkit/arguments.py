"""Read what is given as arguments, and say what is wrong with it.

Each function gives the value back, or raises an error with the argument's name, the rule and
the value: TypeError where it is no number, ValueError where it is outside its range.
"""

import math
import operator
from collections.abc import Iterable
from numbers import Real

__all__ = ["amount", "count", "fraction", "generator", "number", "one_of", "positive", "share"]


def number(name: str, value: float) -> float:
    """Give a real number; True and False are none."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise TypeError(f"{name} must be a number, got {value!r}")
    return float(value)


def count(name: str, value: int, *, least: int = 0) -> int:
    """Give a whole number that is at least `least`."""
    try:
        whole = operator.index(value)
    except TypeError:
        whole = None
    if whole is None or isinstance(value, bool):
        raise TypeError(f"{name} must be a whole number, got {value!r}")
    if whole < least:
        raise ValueError(f"{name} must be >= {least}, got {whole}")
    return whole


def positive(name: str, value: float) -> float:
    """Give a number > 0 and finite."""
    if not 0 < number(name, value) < math.inf:
        raise ValueError(f"{name} must be > 0 and finite, got {value}")
    return float(value)


def amount(name: str, value: float) -> float:
    """Give a number >= 0 and finite.

    >>> amount("test_h", 0)
    0.0
    """
    if not 0 <= number(name, value) < math.inf:
        raise ValueError(f"{name} must be >= 0 and finite, got {value}")
    return float(value)


def fraction(name: str, value: float) -> float:
    """Give a number from 0 to 1, both ends allowed.

    >>> fraction("coverage", 97)
    Traceback (most recent call last):
    ValueError: coverage must be between 0 and 1, got 97
    """
    if not 0 <= number(name, value) <= 1:
        raise ValueError(f"{name} must be between 0 and 1, got {value}")
    return float(value)


def share(name: str, value: float) -> float:
    """Give a number strictly between 0 and 1."""
    if not 0 < number(name, value) < 1:
        raise ValueError(f"{name} must be > 0 and < 1, got {value}")
    return float(value)


def one_of(name: str, value: str, choices: Iterable[str]) -> str:
    """Give one of the choices, in whose order the error names them.

    >>> one_of("sided", "both", ("lower", "upper"))
    Traceback (most recent call last):
    ValueError: sided must be one of lower, upper, got 'both'
    """
    if value not in choices:
        raise ValueError(f"{name} must be one of {', '.join(choices) or 'none'}, got {value!r}")
    return value


def generator(rng):
    """Give a NumPy generator of random numbers; a seed alone is none."""
    import numpy as np

    if not isinstance(rng, np.random.Generator):
        raise TypeError(f"rng must be a numpy.random.Generator, got {rng!r}")
    return rng
