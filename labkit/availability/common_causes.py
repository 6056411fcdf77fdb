"""Common causes that take some of a group, and not always all of it.

With three and more like parts the beta factor says too much: not each cause that takes two takes
the third as well. Here each number of parts that fail together has a share of its own.
"""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence

from labkit import arguments
from labkit.availability.blocks import Block
from labkit.availability.parts import Part, series

# 8 parts have 247 sets of two and more.
MOST_PARTS = 8
SMALLEST_SHARE = 1e-30


def _like_parts(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Give parts back that may have a cause in common: two or more, alike but for their names."""
    parts = tuple(arguments.instances("parts", parts, Part))
    if len({part.name for part in parts}) < max(2, len(parts)):
        raise ValueError(f"parts must be two or more of different names, got {parts!r}")
    if len({(part.mtbf_h, part.mttr_h) for part in parts}) > 1:
        raise ValueError(f"parts must have the same mtbf_h and mttr_h, got {parts!r}")
    return parts


def common_cause(
    parts: Iterable[Part], share: float, *, mttr_h: float | None = None
) -> tuple[Block, ...]:
    """Split like parts into what fails alone and what fails together (beta-factor model).

    Parameters
    ----------
    parts : iterable of Part
        Two or more of the same `mtbf_h` and `mttr_h`.
    share : float
        Share of the failures of each part that take all of them at once (beta), 0 to 1.
    mttr_h : float, optional
        Mean time to restoration after the common cause in hours; by default as for the parts.

    Returns
    -------
    tuple of Block
        One for each part, in order: a part of its name with the failure rate
        (1 - share) x lambda in series with the common-cause part with the rate share x lambda,
        which is named "common cause of A, B" and is one and the same in all of them. With a share
        of 0 the parts as they are.

    Raises
    ------
    TypeError, ValueError
        If there are fewer than two parts, if they are unlike, if the share is not from 0 to 1.

    Notes
    -----
    Each part keeps its failure rate lambda as a whole. The model knows "one alone" and "all at
    once" only; for groups in which some of three or more fail at once there is
    `common_cause_group`.

    References
    ----------
    IEC 61508-6:2010, Annex D (methodology for quantifying the effect of hardware-related common
    cause failures).

    Examples
    --------
    >>> from labkit import Part, parallel
    >>> twins = [Part(name, mtbf_h=220_000, mttr_h=3) for name in ("A", "B")]
    >>> one, two = common_cause(twins, 0.05)
    >>> [sorted(names) for names in parallel(one, two).minimal_cut_sets()]
    [['common cause of A, B'], ['A', 'B']]
    """
    parts = _like_parts(parts)
    share = arguments.fraction("share", share)
    return common_cause_group(parts, {len(parts): share}, mttr_h=mttr_h)


def common_cause_group(
    parts: Iterable[Part], shares: Mapping[int, float], *, mttr_h: float | None = None
) -> tuple[Block, ...]:
    """Split like parts into what fails alone, and what fails two, three or more at a time.

    Parameters
    ----------
    parts : iterable of Part
        Of the same `mtbf_h` and `mttr_h`; 2 to 8, or more where all of them fail at once only.
    shares : mapping of int to float
        For a number of parts that fail together, from 2 to all of them, the share of the
        failures of each part that are of this kind, 0 to 1; together at most 1. A number that
        is not named does not happen.
    mttr_h : float, optional
        Mean time to restoration after a common cause in hours; by default as for the parts.

    Returns
    -------
    tuple of Block
        One for each part, in order: the part alone, in series with a common-cause part for each
        set of parts in which it may fail. Each of these is one and the same in all blocks of
        its set.

    Raises
    ------
    TypeError, ValueError
        If there are too few or too many parts, if they are unlike, or if a share is no number,
        outside its range or for a number of parts that cannot be.

    Notes
    -----
    A part of n is in C(n - 1, k - 1) sets of k, which are taken to be alike: each set fails at
    the rate shares[k] x lambda / C(n - 1, k - 1). Each part keeps its rate lambda as a whole.
    With a share for all of them only, this is `common_cause`, the beta-factor model.

    References
    ----------
    A. Mosleh et al., NUREG/CR-4780 (1988), and NUREG/CR-5485 (1998), basic parameter model;
    quoted from memory.

    Examples
    --------
    >>> from labkit import Part, at_least
    >>> three = [Part(name, mtbf_h=100_000, mttr_h=10) for name in ("A", "B", "C")]
    >>> some = at_least(2, *common_cause_group(three, {2: 0.07, 3: 0.03}))
    >>> all_of_them = at_least(2, *common_cause_group(three, {3: 0.10}))
    >>> f"{some.unavailability:.3e} {all_of_them.unavailability:.3e}"
    '1.352e-05 1.002e-05'
    """
    parts = _like_parts(parts)
    count = len(parts)
    if count > MOST_PARTS and {*shares} != {count}:
        raise ValueError(f"parts must be at most {MOST_PARTS}, got {count}")
    for size, share in arguments.mapping("shares", shares, "number to share").items():
        if not 2 <= arguments.count("every key of shares", size) <= count:
            raise ValueError(f"every key of shares must be from 2 to {count}, got {size}")
        if 0 < arguments.fraction(f"shares[{size}]", share) < SMALLEST_SHARE:
            raise ValueError(f"shares[{size}] must be 0 or >= {SMALLEST_SHARE}, got {share}")
    together = math.fsum(shares.values())
    if together > 1.0 + 1e-12:
        sizes = ", ".join(f"{size}: {share}" for size, share in shares.items())
        raise ValueError(f"shares must sum to at most 1, got {sizes}")
    alone = 1.0 - together
    like = parts[0]
    inside: list[list[Block]] = [[] for _ in parts]
    if alone > 1e-12:
        for part, blocks in zip(parts, inside, strict=True):
            blocks.append(Part(part.name, mtbf_h=like.mtbf_h / alone, mttr_h=like.mttr_h))
    for size, share in sorted(shares.items()):
        for group in itertools.combinations(range(count), size) if share > 0 else ():
            cause = Part(
                "common cause of " + ", ".join(parts[place].name for place in group),
                mtbf_h=like.mtbf_h * math.comb(count - 1, size - 1) / share,
                mttr_h=like.mttr_h if mttr_h is None else mttr_h,
            )
            for place in group:
                inside[place].append(cause)
    return tuple(series(*blocks) if len(blocks) > 1 else blocks[0] for blocks in inside)


def shares_of_greek(letters: Sequence[float]) -> dict[int, float]:
    """Give the shares of a group from multiple Greek letters: beta, gamma, delta ...

    Parameters
    ----------
    letters : sequence of float
        Each is the chance, 0 to 1, that a failure shared by so many takes one more: beta that a
        failure of one is shared by at least two, gamma that one shared by two is shared by at
        least three, and so on; one letter fewer than there are parts.

    Returns
    -------
    dict of int to float
        For `common_cause_group`.

    Raises
    ------
    TypeError, ValueError
        If there is no letter, or one is no number from 0 to 1.

    References
    ----------
    NUREG/CR-4780 (multiple Greek letter model); quoted from memory.

    Examples
    --------
    >>> {size: round(share, 6) for size, share in shares_of_greek([0.10, 0.3]).items()}
    {2: 0.07, 3: 0.03}
    """
    letters = [arguments.fraction("every value of letters", one)
               for one in arguments.sequence("letters", letters)]
    if not letters:
        raise ValueError("letters must be at least one, got none")
    shares, so_far = {}, 1.0
    for size, letter in enumerate(letters, 2):
        so_far *= letter
        further = letters[size - 1] if size - 1 < len(letters) else 0.0
        shares[size] = so_far * (1.0 - further)
    return shares


def shares_of_alpha(alphas: Sequence[float], *, staggered: bool = False) -> dict[int, float]:
    """Give the shares of a group from alpha factors.

    Parameters
    ----------
    alphas : sequence of float
        Of all events that hit the group, the share that takes one, two, three ... parts: one
        number for each size, from 1 to all of them, each 0 to 1, sum 1.
    staggered : bool
        Whether the parts were tested one after another when the events were counted. A test of
        one part then stands for a third of the demands on three.

    Returns
    -------
    dict of int to float
        For `common_cause_group`.

    Raises
    ------
    TypeError, ValueError
        If there are fewer than two factors, one is no number from 0 to 1, or they do not sum
        to 1.

    Notes
    -----
    shares[k] = k alpha_k / sum(j alpha_j); with staggered tests shares[k] = alpha_k.

    References
    ----------
    A. Mosleh et al., NUREG/CR-5485 (1998), alpha-factor model; quoted from memory.

    Examples
    --------
    >>> {size: f"{share:.4f}" for size, share in shares_of_alpha([0.95, 0.03, 0.02]).items()}
    {2: '0.0561', 3: '0.0561'}
    """
    alphas = [arguments.fraction("every value of alphas", one)
              for one in arguments.sequence("alphas", alphas)]
    if len(alphas) < 2:
        raise ValueError(f"alphas must be at least two, got {len(alphas)}")
    if not abs(math.fsum(alphas) - 1.0) <= 1e-9:
        raise ValueError(f"alphas must sum to 1, got {', '.join(map(str, alphas))}")
    weights = [one if staggered else size * one for size, one in enumerate(alphas, 1)]
    whole = math.fsum(weights)
    return {size: weights[size - 1] / whole for size in range(2, len(alphas) + 1)}
