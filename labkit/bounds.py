"""Checks of arguments whose limits are allowed values themselves: >= 0, or 0 to 1 with both ends.

Errors as in labkit.arguments: they name the argument, the rule and the value.
"""

import math

from labkit.arguments import number

__all__ = ["amount", "fraction"]


def amount(name: str, value: float) -> float:
    """Give a number >= 0 and finite.

    >>> amount("test_h", 0)
    0.0
    """
    if not 0 <= number(name, value) < math.inf:
        raise ValueError(f"{name} must be >= 0 and finite, got {value}")
    return float(value)


def fraction(name: str, value: float) -> float:
    """Give a number from 0 to 1.

    >>> fraction("coverage", 97)
    Traceback (most recent call last):
    ValueError: coverage must be between 0 and 1, got 97
    """
    if not 0 <= number(name, value) <= 1:
        raise ValueError(f"{name} must be between 0 and 1, got {value}")
    return float(value)
