"""Chains: long run, in time, first failure."""

import doctest

import pytest

from labkit import elimination, markov, thinning, transient


@pytest.mark.parametrize("module", [elimination, thinning, transient, markov])
def test_doctests(module):
    result = doctest.testmod(module)
    assert result.attempted > 0 and result.failed == 0
