"""Chains in continuous time: long run, in time, first failure; the pair, its tests and flaws."""
