"""Read what is given as arguments, and say what is wrong with it.

Each function gives the value back, or raises an error with the argument's name, the rule and
the value: TypeError where it is no number, ValueError where it is outside its range.
"""

import math
import operator
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from numbers import Real
from pathlib import Path

# A product of six such numbers still has its digits, whatever a model multiplies.
SMALLEST, LARGEST = 1e-50, 1e50
MOST_COUNTED = 10**15


def written(value) -> str:
    """Write a value for an error, however long it is.

    >>> written(10**400), written("2")
    ('1000000000000000000000000000...', "'2'")
    """
    try:
        text = str(value) if _is_number(value) else repr(value)
    except ValueError:  # Python refuses to write whole numbers of very many digits
        text = "a number of more than 4000 digits"
    return text if len(text) <= 60 else f"{text[:28]}..."


def _is_number(value) -> bool:
    """Tell whether this is a real number; times of numpy are none, for they have units."""
    return isinstance(value, Real) and not isinstance(value, bool) and getattr(
        getattr(value, "dtype", None), "kind", "") != "m"


def number(name: str, value: float) -> float:
    """Give a real number; True and False are none."""
    if not _is_number(value):
        raise TypeError(f"{name} must be a number, got {written(value)}")
    try:
        return float(value)
    except OverflowError:
        raise ValueError(f"{name} must be at most 1.8e308, got {written(value)}") from None


def numbers(name: str, values):
    """Give an array of one real number, or of a sequence of them.

    >>> numbers("t_h", [1, 2.5])
    array([1. , 2.5])
    """
    import numpy as np

    if isinstance(values, np.ndarray) and values.dtype.kind in "iuf":
        return np.ma.filled(values.astype(float), math.nan)  # what is masked is no number
    if isinstance(values, (Sequence, np.ndarray)) and not isinstance(values, (str, bytes)):
        given = np.array(values, dtype=object)
        read = [number(f"every value of {name}", value) for value in given.flat]
        return np.array(read, dtype=float).reshape(given.shape)
    if not _is_number(values):
        raise TypeError(f"{name} must be a number or a sequence of numbers, got {written(values)}")
    return np.array(number(name, values))


def times_h(name: str, values, *, finite: bool = True):
    """Give an array of times >= 0, and finite where that is asked."""
    times = numbers(name, values)
    wrong = times[~((times >= 0) & ((times < math.inf) | (not finite)))]
    if wrong.size:
        raise ValueError(f"{name} must be >= 0{' and finite' * finite}, got {wrong.flat[0]}")
    return times


def plain(values):
    """Give a float for an array without dimensions, as for one number; any other as it is."""
    return values if values.ndim else float(values)


def count(name: str, value: int, *, least: int = 0, most: int | None = None) -> int:
    """Give a whole number from `least` to `most`, or so far as each has a float of its own."""
    try:
        whole = operator.index(value) if _is_number(value) else None
    except TypeError:
        whole = None
    if whole is None:
        raise TypeError(f"{name} must be a whole number, got {written(value)}")
    if most is not None and not least <= whole <= most:
        raise ValueError(f"{name} must be {least} to {most}, got {written(whole)}")
    if whole < least:
        raise ValueError(f"{name} must be >= {least}, got {written(whole)}")
    if whole > MOST_COUNTED:
        raise ValueError(f"{name} must be at most {MOST_COUNTED}, got {written(whole)}")
    return whole


def _in_reach(name, value, least=0.0):
    if not least <= abs(value) <= LARGEST:
        raise ValueError(
            f"{name} must be from {SMALLEST:g} to {LARGEST:g} to be counted with, got {value}"
        )
    return value


def positive(name: str, value: float) -> float:
    """Give a number > 0 and finite, small and large enough to be multiplied with others."""
    real = number(name, value)
    if not 0 < real < math.inf:
        raise ValueError(f"{name} must be > 0 and finite, got {written(value)}")
    return _in_reach(name, real, SMALLEST)


def finite(name: str, value: float) -> float:
    """Give a number of either sign, small enough to be multiplied with others."""
    real = number(name, value)
    if not math.isfinite(real):
        raise ValueError(f"{name} must be finite, got {written(value)}")
    return _in_reach(name, real)


def amount(name: str, value: float) -> float:
    """Give a number >= 0 and finite, small enough to be multiplied with others.

    >>> amount("test_h", 0)
    0.0
    """
    real = number(name, value)
    if not 0 <= real < math.inf:
        raise ValueError(f"{name} must be >= 0 and finite, got {written(value)}")
    return _in_reach(name, real)


def fraction(name: str, value: float) -> float:
    """Give a number from 0 to 1, both ends allowed.

    >>> fraction("coverage", 97)
    Traceback (most recent call last):
    ValueError: coverage must be between 0 and 1, got 97
    """
    real = number(name, value)
    if not 0 <= real <= 1:
        raise ValueError(f"{name} must be between 0 and 1, got {written(value)}")
    return real


def share(name: str, value: float, *, margin: float = 0.0) -> float:
    """Give a number strictly between 0 and 1, at least `margin` away from both ends."""
    real = number(name, value)
    if not 0 < real < 1:
        raise ValueError(f"{name} must be > 0 and < 1, got {written(value)}")
    if not margin <= real <= 1 - margin:
        raise ValueError(f"{name} must be at least {margin:g} away from 0 and 1, got {real!r}")
    return real


def read_fields(record, rule: Callable[[str, float], float], *names: str) -> None:
    """Read numbers of a frozen record by a rule, such as `positive`, and put them back."""
    for name in names:
        object.__setattr__(record, name, rule(name, getattr(record, name)))


def mapping(name: str, value: Mapping, what: str) -> Mapping:
    """Give a mapping; `what` says of what to what.

    >>> mapping("rates_per_h", 1e-6, "cause to rate")
    Traceback (most recent call last):
    TypeError: rates_per_h must be a mapping of cause to rate, got 1e-06
    """
    if not isinstance(value, Mapping):
        raise TypeError(f"{name} must be a mapping of {what}, got {written(value)}")
    return value


def sequence(name: str, values: Iterable) -> list:
    """Give a list of what a sequence holds; neither a text nor one number is one."""
    if isinstance(values, (str, bytes)) or not isinstance(values, Iterable):
        raise TypeError(f"{name} must be a sequence, got {written(values)}")
    return list(values)


def instance(name: str, value, kind: type, *, or_none: bool = False):
    """Give an object of a kind, or None where that is allowed.

    >>> instance("model", 7, dict)
    Traceback (most recent call last):
    TypeError: model must be a dict, got 7
    """
    if not (isinstance(value, kind) or or_none and value is None):
        a = "an" if kind.__name__[0] in "aeiouAEIOU" else "a"
        raise TypeError(f"{name} must be {a} {kind.__name__}, got {written(value)}")
    return value


def instances(name: str, values: Iterable, kind: type) -> list:
    """Give a list of objects of a kind.

    >>> instances("rows", ["a"], int)
    Traceback (most recent call last):
    TypeError: every value of rows must be an int, got 'a'
    """
    return [instance(f"every value of {name}", each, kind) for each in sequence(name, values)]


def path_of(name: str, value):
    """Give the path of a file, said as text or as a path."""
    if not isinstance(value, (str, os.PathLike)):
        raise TypeError(f"{name} must be a path, got {written(value)}")
    try:
        usable = str(value) and 0 not in os.fsencode(value)
    except UnicodeEncodeError:
        usable = False
    if not usable:
        raise ValueError(f"{name} must be a path, got {written(value)}")
    return Path(value)


def one_of(name: str, value: str, choices: Iterable[str]) -> str:
    """Give one of the choices, in whose order the error names them.

    >>> one_of("sided", "both", ("lower", "upper"))
    Traceback (most recent call last):
    ValueError: sided must be one of lower, upper, got 'both'
    """
    if not isinstance(value, str) or value not in choices:
        known = ", ".join(choices) or "none"
        raise ValueError(f"{name} must be one of {known}, got {written(value)}")
    return value


def generator(rng):
    """Give a NumPy generator of random numbers; a seed alone is none."""
    import numpy as np

    if not isinstance(rng, np.random.Generator):
        raise TypeError(f"rng must be a numpy.random.Generator, got {written(rng)}")
    return rng
