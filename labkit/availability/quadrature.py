"""Integrals of what settles: fine at the beginning, and coarser with every step."""

import math

import numpy as np


def quadrature(length_h: float, first_h: float, points: int = 20) -> tuple[np.ndarray, np.ndarray]:
    """Give times and weights of an integral from 0: stretches twice as long each, by Gauss and Legendre.

    The first is no longer than `first_h`. Of a sum of exponentials, none faster than that, 20
    points in each leave nothing that a double could show.

    >>> times_h, weights = quadrature(8.0, 1.0)
    >>> math.isclose(weights @ np.exp(-times_h), 1 - math.exp(-8), rel_tol=1e-14)
    True
    """
    number = math.ceil(math.log2(max(length_h / first_h, 1.0))) + 1
    edges_h = np.append(0.0, length_h * 0.5 ** np.arange(number - 1, -1, -1))
    inside, weights = np.polynomial.legendre.leggauss(points)
    half_h, middle_h = np.diff(edges_h) / 2, (edges_h[1:] + edges_h[:-1]) / 2
    times_h = (middle_h[:, None] + half_h[:, None] * inside).ravel()
    return times_h, (half_h[:, None] * weights).ravel()
