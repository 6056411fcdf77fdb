"""Chains: long run, in time, first failure."""

import doctest

import pytest

from labkit import elimination, markov, passage, thinning, transient


@pytest.mark.parametrize("module", [elimination, thinning, transient, passage, markov])
def test_doctests(module):
    result = doctest.testmod(module)
    assert result.attempted > 0 and result.failed == 0
