"""Pictures of the pair in numbers: its chain of five states, and three ways to one number."""

import re
from pathlib import Path

from labkit.markov.flaws import Flaws
from lessons.pictures.charts import along
from lessons.pictures.look import markup
from lessons.pictures.svg import captioned
from lessons.pictures.two_states_picture import Picture


def pair_chain_picture() -> Picture:
    """Draw the five states of a pair and the ways between them.

    Returns
    -------
    Picture
        Five boxes, dashed where the plant stands, and ten arrows with their causes.

    Examples
    --------
    >>> print(repr(pair_chain_picture()).splitlines()[1])
    both good -> one failed: taken over, or standby fault seen
    """
    file = Path(__file__).with_name("pair_chain.svg").read_text("utf-8")
    size, words, drawn = re.fullmatch(
        r'(?s)<svg.* viewBox="0 0 (.*?)">\n<desc>(.*)</desc>(.*)</svg>\n', file).groups()
    return Picture(captioned(__file__, "lk-pairs", size, words.partition("\n")[0],
                             map(str.strip, drawn.splitlines())), words)


def by_hand(flaws: Flaws) -> float:
    """Return the unavailability of a pair as the sum of four pieces that need no chain.

    Parameters
    ----------
    flaws : Flaws

    Returns
    -------
    float
        Share of the time down, > 0; right to some per cent while MTTR and test interval are
        short against the MTBF.

    Examples
    --------
    >>> print(f"{by_hand(Flaws(common_cause=0.05)):.3e}")
    3.342e-06
    """
    rate, r = 1 / flaws.mtbf_h, flaws.mttr_h / flaws.mtbf_h
    shared = flaws.common_cause * r
    failed = (1 - flaws.coverage) * rate * flaws.restart_h
    silent = (1 - flaws.diagnosed) * rate * flaws.test_interval_h / 2 * r
    return 2 * r**2 + shared + failed + silent


MOST_PERCENT = 12
THREE_WAYS = (
    ("common causes only", Flaws(common_cause=0.05)),
    ("failed takeovers only", Flaws(coverage=0.97)),
    ("latent faults only", Flaws(diagnosed=0.9)),
    ("all three", Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9)),
)


def three_ways_picture(*, lives: int = 5_000, years: int = 1_000, seed: int = 1) -> Picture:
    """Draw how far the sum by hand and a simulation lie from the chain.

    Parameters
    ----------
    lives : int
        How many pairs are simulated, >= 2.
    years : int
        How long each of them is followed, in years, >= 1.
    seed : int
        The same seed gives the same lives.

    Returns
    -------
    Picture
        For four versions of the pair the two differences in per cent of the chain's down time;
        the simulation with a bar of two standard errors each way.

    Raises
    ------
    ValueError
        If a number is out of its range.

    Examples
    --------
    >>> print(repr(three_ways_picture(lives=50)).splitlines()[0])
    Difference from the chain, in per cent of its down time:
    """
    import numpy as np

    from labkit.simulation.runs import simulate_chain

    rng = np.random.default_rng(seed)
    rows = []
    for name, flaws in THREE_WAYS:
        exact = flaws.pair.unavailability
        seen = simulate_chain(flaws.pair, years * 8760.0, lives, rng).unavailability
        rows.append((name, 100 * (by_hand(flaws) / exact - 1),
                     100 * (seen.point / exact - 1), 200 * seen.standard_error / exact))
    lines = [f"{name}: by hand {hand:+.1f} %, simulated {point:+.1f} % ± {error:.1f} %"
             for name, hand, point, error in rows]
    words = "\n".join(("Difference from the chain, in per cent of its down time:", *lines))
    bottom = 56 + 46 * len(rows)
    place = along(-MOST_PERCENT, MOST_PERCENT, 200, 830)
    drawn = markup(__file__, rows=rows, bottom=bottom, x=lambda percent: place(
        max(-MOST_PERCENT, min(MOST_PERCENT, percent))))
    return Picture(captioned(__file__, "lk-pairs", f"860 {bottom + 64}", " ".join(words.split("\n")), drawn),
                   words)
