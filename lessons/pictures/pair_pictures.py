"""Pictures of the pair in numbers: its chain of five states, and three ways to one number."""

import re
from pathlib import Path

from labkit.markov.flaws import Flaws
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
    return Picture(_three_ways_svg(rows, " ".join(words.split("\n"))), words)


def _three_ways_svg(rows: list[tuple[str, float, float, float]], label: str) -> str:
    left, right, top, step, most = 200, 830, 56, 46, 12

    def x(percent: float) -> float:
        return left + (max(-most, min(most, percent)) + most) / (2 * most) * (right - left)

    bottom = top + step * len(rows)
    parts = ['<text class="b" x="20" y="24">Difference from the chain, per cent</text>']
    for percent in range(-most, most + 1, 4):
        kind = "zero" if percent == 0 else "grid"
        parts.append(f'<path class="{kind}" d="M{x(percent):.1f} {top - 16}V{bottom}"/>'
                     f'<text class="m q" x="{x(percent):.1f}" y="{bottom + 20}">'
                     f'{percent:+d}</text>'.replace("+0<", "0<"))
    for place, (name, hand, point, error) in enumerate(rows):
        y = top + step * place + 12
        parts.append(
            f'<text class="e" x="{left - 14}" y="{y + 5}">{name}</text>'
            f'<path class="bar" d="M{x(point - error):.1f} {y}H{x(point + error):.1f}"/>'
            f'<circle class="dot" cx="{x(point):.1f}" cy="{y}" r="6.5"/>'
            f'<path class="hand" d="M{x(hand):.1f} {y - 9}l9 9l-9 9l-9 -9z"/>')
    y = bottom + 48
    parts.append(
        f'<path class="zero" d="M30 {y - 14}v18"/><text x="42" y="{y}">chain, exact</text>'
        f'<path class="hand" d="M190 {y - 14}l9 9l-9 9l-9 -9z"/>'
        f'<text x="208" y="{y}">sum by hand</text>'
        f'<path class="bar" d="M340 {y - 5}h40"/><circle class="dot" cx="360" cy="{y - 5}" '
        f'r="6.5"/><text x="390" y="{y}">simulation, two standard errors each way</text>')
    return captioned(__file__, "lk-pairs", f"860 {y + 16}", label, parts)
