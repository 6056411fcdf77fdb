"""Decision diagrams: against enumeration in fractions, graph searches, and closed forms; speed."""

import dataclasses
import itertools
import math
import random
import time
from collections import Counter
from fractions import Fraction

import networkx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.availability import diagram, figures, variable_order
from labkit.availability.blocks import ALWAYS_FAILED, ALWAYS_WORKS, MOST_DEPTH
from labkit.availability.modules import modules_of
from labkit.availability.parts import Chain, Part, at_least, parallel, series
from labkit.availability.quadrature import quadrature
from labkit.availability.variable_order import few_open, reading_order
from labkit.markov import chain
from labkit.markov.first_failure import MOST_STATES
from labkit.plant.file_rules import MOST_STEPS
from labkit.simulation.chain_tables import MOST_DRAWN, MOST_KEPT
from tests.enumerated import CHAIN, Enumerated, Weighted
from tests.house import ROOT

pytestmark = pytest.mark.usefixtures("ends")

# A handful of sums and products of positive doubles: some units of 1.1e-16 each.
RTOL = 4e-15
# Hundreds of them, one below the other.
DEEP = 1e-13


def close(number, exact, rtol=RTOL):
    assert number == pytest.approx(float(exact), rel=rtol, abs=0.0, nan_ok=True)


def ratio(above, below):
    if below:
        return above / below
    return math.inf if above else math.nan


# ------------------------------------------------------------------ integrals


@pytest.mark.parametrize("length_h, first_h, edges_h", [
    (10, 0.5, [0, 0.3125, 0.625, 1.25, 2.5, 5, 10]), (8, 1, [0, 1, 2, 4, 8]),
    (3, 3, [0, 3]), (1, 2, [0, 1]),
])
def test_stretches_of_an_integral_are_twice_as_long_each(length_h, first_h, edges_h):
    """Gauss and Legendre with 3 points: the middle, +- half x sqrt(3/5); 8/9 and 5/9 of the half."""
    stretches = list(itertools.pairwise(edges_h))
    times_h, weights = quadrature(length_h, first_h, 3)
    apart = [(low + high + sign * (high - low) * math.sqrt(3 / 5)) / 2
             for low, high in stretches for sign in (-1, 0, 1)]
    np.testing.assert_allclose(times_h, apart, rtol=1e-14)
    halves = [(high - low) / 2 * of / 9 for low, high in stretches for of in (5, 8, 5)]
    np.testing.assert_allclose(weights, halves, rtol=1e-14)


# ------------------------------------------------------------------ any small block

HOURS = st.sampled_from([1, 2, 3, 7, 40, 1000, 123_457, 10**9])
STATES = "xyz"


@st.composite
def descriptions(draw, leaves, depth=3):
    if depth == 0 or draw(st.integers(0, 3)) == 0:
        return draw(leaves)
    inner = draw(st.lists(descriptions(leaves, depth - 1), min_size=1, max_size=3))
    return ("gate", draw(st.integers(1, len(inner))), tuple(inner))


PART = st.sampled_from([("part", name) for name in "abcde"])
ASKED = st.sampled_from(
    [("chain", frozenset(some)) for size in (1, 2) for some in itertools.combinations(STATES, size)]
)


@st.composite
def small_blocks(draw, with_chain):
    leaves = st.one_of(PART, ASKED) if with_chain else PART
    numbers = {name: (draw(HOURS), draw(HOURS)) for name in "abcde"}
    weights = {state: draw(st.integers(1, 50)) for state in STATES}
    flow = {frozenset(two): draw(st.integers(0, 5)) for two in itertools.combinations(STATES, 2)}
    description = ("gate", 1, (draw(descriptions(leaves)),))
    return Enumerated(description, numbers, Weighted(weights, flow))


def agrees_with_enumeration(case):
    block = case.block()
    assert set(block.parts) == set(case.names)
    close(block.unavailability, case.unavailability)
    close(block.availability, 1 - case.unavailability)
    begun = {name: case.begun_by(name) for name in case.names}
    close(block.failures_per_h, sum(begun.values()))
    assert block.minimal_cut_sets() == case.cut_sets()
    assert block.count_minimal_cut_sets() == Counter(map(len, case.cut_sets()))
    records = block.importance()
    assert set(records) == set(case.names)
    for name, record in records.items():
        down = case.unavailability
        close(record.birnbaum, case.birnbaum(name))
        close(record.criticality, ratio(case.critical(name), down))
        close(record.fussell_vesely, ratio(case.contained(name), down))
        close(record.risk_achievement, ratio(case.down_with(name, case.worst(name)), down))
        close(record.risk_reduction, ratio(down, case.down_with(name, case.best(name))))
        close(record.failures_per_h, begun[name])


@settings(deadline=None, max_examples=60)
@given(small_blocks(with_chain=False))
def test_blocks_of_parts_against_enumeration(case):
    agrees_with_enumeration(case)


@settings(deadline=None, max_examples=60)
@given(small_blocks(with_chain=True))
def test_blocks_with_a_chain_against_enumeration(case):
    agrees_with_enumeration(case)


@settings(deadline=None, max_examples=40)
@given(small_blocks(with_chain=False))
def test_mission_mttf_against_the_sum_of_exponentials(case):
    close(case.block().mission_mttf_h(), case.mission_mttf_h())


@settings(deadline=None, max_examples=40)
@given(small_blocks(with_chain=True), st.data())
def test_given_against_conditioning(case, data):
    fates = {name: data.draw(st.sampled_from(["left", "failed", "working"])) for name in case.names}
    failed = {name for name, fate in fates.items() if fate == "failed"}
    working = {name for name, fate in fates.items() if fate == "working"}
    fixed = {name: case.worst(name) for name in failed}
    fixed |= {name: case.best(name) for name in working}
    exact = case.probability(lambda state: not case.works(state | fixed), failed | working)
    close(case.block().given(failed=failed, working=working).unavailability, exact)


# ------------------------------------------------------------------ networks

BRIDGE = [("s", "u"), ("s", "v"), ("u", "v"), ("u", "t"), ("v", "t")]


def random_network(seed):
    rng = random.Random(seed)
    nodes = ["s", "a", "b", "c", "t"]
    network = networkx.Graph(BRIDGE if seed == 0 else [])
    while not network.has_node("t") or len(network.edges) < 8 and seed:
        network.add_edge(*rng.sample(nodes, 2))
    network.add_nodes_from("st")
    return network


def edge_name(edge):
    return "-".join(sorted(edge))


def ways_block(network, rng):
    """The network as a user writes it: all ways from s to t, each a series of edges."""
    parts = {
        edge_name(edge): Part(edge_name(edge), mtbf_h=rng.randint(1, 50), mttr_h=rng.randint(1, 9))
        for edge in network.edges
    }
    ways = networkx.all_simple_edge_paths(network, "s", "t")
    return parallel(*(series(*(parts[edge_name(edge)] for edge in way)) for way in ways)), parts


@pytest.mark.parametrize("seed", range(12))
def test_cut_sets_and_unavailability_of_networks(seed):
    """Reference: networkx (connected or not, for every set of broken edges)."""
    network = random_network(seed)
    if not networkx.has_path(network, "s", "t"):
        pytest.skip("this network has no way at all")
    block, parts = ways_block(network, random.Random(seed))
    edges = {edge_name(edge): edge for edge in network.edges}
    cuts, exact = [], Fraction(0)
    for size in range(len(edges) + 1):
        for broken in map(frozenset, itertools.combinations(edges, size)):
            rest = network.copy()
            rest.remove_edges_from(edges[name] for name in broken)
            if networkx.has_path(rest, "s", "t"):
                continue
            if not any(cut <= broken for cut in cuts):
                cuts.append(broken)
            chance = Fraction(1)
            for name in edges:
                part = parts[name]
                hours = part.mttr_h if name in broken else part.mtbf_h
                chance *= Fraction(hours) / Fraction(part.mtbf_h + part.mttr_h)
            exact += chance
    used = set(block.parts)
    assert set(block.minimal_cut_sets()) == set(cuts)
    assert all(cut <= used for cut in cuts)
    close(block.unavailability, exact)


def test_smallest_cut_is_the_largest_flow():
    """Reference: networkx maximum flow with one unit for each edge (Menger)."""
    network = networkx.grid_2d_graph(3, 4)
    network = networkx.relabel_nodes(network, {(0, 0): "s", (2, 3): "t"})
    network = networkx.relabel_nodes(network, {node: str(node) for node in network.nodes})
    block, _ = ways_block(network, random.Random(1))
    networkx.set_edge_attributes(network, 1, "capacity")
    smallest = len(block.minimal_cut_sets()[0])
    assert smallest == networkx.maximum_flow_value(network, "s", "t")
    few = block.minimal_cut_sets(largest=3)
    assert few == tuple(cut for cut in block.minimal_cut_sets() if len(cut) <= 3)
    assert 0 < len(few) < len(block.minimal_cut_sets())


# ------------------------------------------------------------------ large blocks


def random_part(rng, name):
    return Part(name, mtbf_h=rng.randint(10**3, 10**6), mttr_h=rng.randint(1, 100))


def chance_down(part):
    return Fraction(part.mttr_h) / Fraction(part.mtbf_h + part.mttr_h)


def failed_exactly(parts):
    """Distribution of the number of failed parts: whole numbers, part by part, over their product."""
    row, whole = [1], 1
    for part in parts:
        works, down = int(part.mtbf_h), int(part.mttr_h)
        row = [one * works + less * down for one, less in zip([*row, 0], [0, *row], strict=True)]
        whole *= works + down
    return [Fraction(one, whole) for one in row]


@pytest.mark.parametrize(("k", "count"), [(10, 20), (2, 3), (1, 40), (40, 40), (30, 60)])
def test_large_votes_against_the_distribution_of_the_count(k, count):
    rng = random.Random(k * count)
    parts = [random_part(rng, f"p{number}") for number in range(count)]
    block = at_least(k, *parts)
    close(block.unavailability, sum(failed_exactly(parts)[count - k + 1 :]), DEEP)
    exact = Fraction(0)
    for part in parts:
        others = failed_exactly([other for other in parts if other is not part])
        exact += others[count - k] / Fraction(part.mtbf_h + part.mttr_h)
    close(block.failures_per_h, exact, DEEP)


def test_number_of_cut_sets_of_a_large_vote():
    parts = [Part(f"p{number}", mtbf_h=9, mttr_h=1) for number in range(16)]
    sets = at_least(8, *parts).minimal_cut_sets()
    assert len(set(sets)) == math.comb(16, 9)
    assert {len(names) for names in sets} == {9}
    assert at_least(8, *parts).minimal_cut_sets(largest=8) == ()


def plant_of_120(seed, shared=12):
    """36 groups of 2 out of 3, each channel on one of the shared supplies: 120 parts."""
    rng = random.Random(seed)
    supplies = [random_part(rng, f"supply {number}") for number in range(shared)]
    groups, channels = [], []
    for group in range((120 - shared) // 3):
        three = [
            (random_part(rng, f"{group}.{number}"), rng.randrange(shared)) for number in range(3)
        ]
        channels.append(three)
        groups.append(at_least(2, *(series(part, supplies[which]) for part, which in three)))
    return series(*groups), supplies, channels


def test_120_parts_against_conditioning_on_the_shared_ones():
    """All states of the shared parts by hand; what is left then is groups of their own."""
    block, supplies, channels = plant_of_120(seed=1, shared=6)
    assert len(block.parts) == 120
    exact = Fraction(0)
    scale = 10**60
    for state in itertools.product([0, 1], repeat=6):
        weight, works = Fraction(1), scale
        for supply, down in zip(supplies, state, strict=True):
            chance = chance_down(supply)
            weight *= chance if down else 1 - chance
        for three in channels:
            down = [Fraction(1) if state[which] else chance_down(part) for part, which in three]
            a, b, c = down
            failed = a * b * (1 - c) + a * (1 - b) * c + (1 - a) * b * c + a * b * c
            # 60 decimal places are kept, so that the fractions do not grow without end.
            works = works * (1 - failed).numerator // (1 - failed).denominator
        exact += weight * Fraction(scale - works, scale)
    close(block.unavailability, exact, DEEP)


@pytest.mark.parametrize("seed", range(3))
def test_120_parts_within_a_second(seed):
    times_s = []
    for _ in range(3):
        block, _, _ = plant_of_120(seed)
        begin_s = time.process_time()
        figures = (block.unavailability, block.failures_per_h, block.importance())
        times_s.append(time.process_time() - begin_s)
    assert min(times_s) < 1.0
    down, per_h, records = figures
    assert len(records) == 120
    assert sum(one.failures_per_h for one in records.values()) == pytest.approx(per_h, rel=DEEP)
    # Known for any coherent block: U = U(part good) + U(part) x Birnbaum.
    for name, record in records.items():
        part_down = block.parts[name].unavailability
        assert down / record.risk_reduction + part_down * record.birnbaum == pytest.approx(
            down, rel=DEEP
        )


def test_a_thousand_parts_in_series():
    parts = [Part(f"p{number}", mtbf_h=10**6, mttr_h=1) for number in range(1000)]
    block = series(*parts)
    works = Fraction(10**6, 10**6 + 1) ** 1000
    close(block.availability, works, DEEP)
    close(block.unavailability, 1 - works, DEEP)
    close(block.failures_per_h, works * 1000 / Fraction(10**6), DEEP)
    close(block.mission_mttf_h(), 1000, DEEP)
    assert len(block.minimal_cut_sets()) == 1000


def plant_of_1000(pairs=30):
    """470 functions, each of two lines, on 30 pairs of feeds: 1000 parts."""
    rng = random.Random(1000)
    feeds = [(random_part(rng, f"A{k}"), random_part(rng, f"B{k}")) for k in range(pairs)]
    lines = [
        (random_part(rng, f"x{k}"), random_part(rng, f"y{k}"), rng.randrange(pairs))
        for k in range((1000 - 2 * pairs) // 2)
    ]
    block = series(
        *(parallel(series(x, feeds[k][0]), series(y, feeds[k][1])) for x, y, k in lines)
    )
    return block, feeds, lines


def test_a_thousand_parts_on_thirty_pairs_of_feeds():
    """U by hand: all four states of each pair of feeds, and what hangs on it in each of them."""
    times_s = []
    for _ in range(3):
        block, feeds, lines = plant_of_1000()
        begin_s = time.process_time()
        figures = (block.unavailability, block.failures_per_h, block.importance())
        times_s.append(time.process_time() - begin_s)
    assert len(block.parts) == 1000
    assert min(times_s) < 1.0
    scale = 10**40
    all_work = scale
    for number, pair in enumerate(feeds):
        both_work = 0
        for state in itertools.product([0, 1], repeat=2):
            works = scale
            for part, down in zip(pair, state, strict=True):
                works = works * (chance_down(part) if down else 1 - chance_down(part))
            for x, y, on in lines:
                if on == number:
                    ways = [
                        Fraction(1) if down else chance_down(part)
                        for part, down in zip((x, y), state, strict=True)
                    ]
                    works = works * (1 - ways[0] * ways[1])
                    works = Fraction(round(works))
            both_work += works
        all_work = round(all_work * both_work / scale)
    down, per_h, records = figures
    close(down, Fraction(scale - all_work, scale), DEEP)
    assert sum(one.failures_per_h for one in records.values()) == pytest.approx(per_h, rel=DEEP)
    by_part = [
        down / record.risk_reduction + block.parts[name].unavailability * record.birnbaum
        for name, record in records.items()
    ]
    np.testing.assert_allclose(by_part, down, rtol=DEEP, atol=0)


def test_importances_of_five_thousand_parts_in_series():
    rng = random.Random(5000)
    parts = [random_part(rng, f"p{number}") for number in range(5000)]
    block = series(*parts)
    begin_s = time.process_time()
    records = block.importance()
    assert time.process_time() - begin_s < 5.0
    down, works = block.unavailability, block.availability
    found = np.array([dataclasses.astuple(records[part.name]) for part in parts])
    hours = np.array([(part.mtbf_h, part.mttr_h) for part in parts]).T
    others, in_repair = works * hours.sum(axis=0) / hours[0], hours[1] / hours.sum(axis=0)
    exact = (
        others, others * in_repair / down, in_repair / down,
        np.full(5000, 1 / down), down / (down - others * in_repair), others / hours.sum(axis=0),
    )
    np.testing.assert_allclose(found.T, exact, rtol=DEEP, atol=0)


def test_modules_are_what_shares_nothing_with_the_rest():
    """A shared pair of feeds is one module, and so is each group of parts that are met once."""
    a, b, c, d, e, f, g = (Part(name, mtbf_h=9, mttr_h=1) for name in "abcdefg")
    block = series(parallel(series(a, b, e), series(c, d, e)), parallel(f, g), parallel(g, f))
    found = [set(module.sources) for module in modules_of(block)]
    assert found == [{"a", "b"}, {"c", "d"}, {0, 1, "e"}, {"f", "g"}, {2, 3}]
    assert all(module.plain for module in modules_of(parallel(series(a, b), series(c, d))))
    tangled = [module for module in modules_of(block) if not module.plain]
    assert [len(module.sources) for module in tangled] == [3]


@pytest.mark.parametrize("build, sources", [
    # like gates are one, and what nothing else needs stands alone
    (lambda a, b, c, d, x, y: series(a, series(b, c)), [{"a", "b", "c"}]),
    # what is joined alone is itself, so that the gate around it is one
    (lambda a, b, c, d, x, y: parallel(a, series(b), c), [{"a", "b", "c"}]),
    # two groups that share nothing: one module each, and the gate over both
    (lambda a, b, c, d, x, y: series(parallel(a, x), parallel(b, x), parallel(c, y), parallel(d, y)),
     [{"a", "b", "x"}, {"c", "d", "y"}, {0, 1}]),
    # x ties all together, and one part beside it is no module
    (lambda a, b, c, d, x, y: series(parallel(a, series(b, x)), parallel(c, series(d, x))),
     [{"a", "b", "c", "d", "x"}]),
    (lambda a, b, c, d, x, y: series(parallel(a, b, series(c, x)), parallel(d, x)),
     [{"a", "b"}, {0, "c", "d", "x"}]),
])
def test_modules_by_hand(build, sources):
    block = build(*(Part(name, mtbf_h=1000, mttr_h=10) for name in "abcdxy"))
    assert [set(module.sources) for module in modules_of(block)] == sources


def test_nothing_helps_in_series_with_what_has_failed():
    block = series(Part("a", mtbf_h=1000, mttr_h=10), ALWAYS_FAILED)
    assert block.unavailability == 1.0 and modules_of(block)[-1].sources == ()


def test_what_is_needless_or_never_down_means_nothing_to_the_block():
    """"b or a, and a" is a; and what works in some or in the other states of a chain always works."""
    a, b, c, d = (Part(name, mtbf_h=900, mttr_h=100) for name in "abcd")
    found = series(parallel(b, a), a).importance()
    assert dataclasses.astuple(found["b"]) == (0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
    assert dataclasses.astuple(found["a"]) == (1.0, 1.0, 1.0, 10.0, math.inf, 0.001)
    chain = Chain("pair", Weighted({"x": 5, "y": 3, "z": 2}, {frozenset("xy"): 2}))
    block = series(c, parallel(chain.when({"x"}), chain.when({"y", "z"}), d))
    found = block.importance()
    assert dataclasses.astuple(found["c"]) == (1.0, 1.0, 1.0, 10.0, math.inf, 0.001)
    assert dataclasses.astuple(found["d"]) == (0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
    # with none of its states d is left: 1 - 0.9 x 0.9 in place of 0.1; c good and d failed: 0.9 x 0.1
    assert dataclasses.astuple(found["pair"]) == pytest.approx((0.09, 0.0, 0.0, 1.9, 1.0, 0.0), rel=1e-14)
    assert block.minimal_cut_sets() == (frozenset("c"),)


def test_what_something_certain_makes_needless_leaves_the_block():
    """a in series with "always works, or b and c": a alone. The pair b and c still stands in d's way."""
    a, b, c, d = (Part(name, mtbf_h=900, mttr_h=100) for name in "abcd")
    both = series(b, c)
    needless = parallel(ALWAYS_WORKS, both)
    close(series(a, needless).unavailability, 0.1)
    assert modules_of(series(a, needless))[-1].sources == ("a",)
    block = series(a, needless, parallel(d, both))
    # 1 - 0.9 (1 - 0.1 (1 - 0.81))
    close(block.unavailability, 1 - 0.9 * (1 - 0.1 * 0.19), rtol=1e-14)
    assert block.minimal_cut_sets() == tuple(map(frozenset, ("a", "bd", "cd")))


def test_what_is_known_at_once_is_not_worked_out():
    works, failed = diagram.WORKS, diagram.FAILED
    tree = diagram.Diagram([((), (0,))] * 2)
    b = tree.node(1, (works, failed))
    a, either = tree.node(0, (works, failed)), tree.node(0, (b, failed))
    for condition, if_failed, if_works, answer in [
            (failed, a, b, a), (works, a, b, b), (a, b, b, b), (a, failed, works, a),
            (a, failed, a, a), (works, failed, works, works)]:
        assert tree.choose(condition, if_failed, if_works) == answer
    memo, chances = {}, [(0.9, 0.1), (0.8, 0.2)]
    down, up = ({node: tree.probabilities(either, chances, end)[node] for node in (works, failed, b, either)}
                for end in (failed, works))
    for one, other, chance in [(b, b, 0), (works, b, 0), (b, failed, 0), (b, works, 0.2), (failed, b, 0.8)]:
        assert tree.lost(one, other, chances, memo, down, up) == pytest.approx(chance, rel=1e-15)
    for one, other, answer in [(b, b, works), (works, b, works), (b, failed, works), (b, works, b),
                               (failed, b, failed)]:
        assert tree._raise(one, other) == answer
    for vectors, function, answer in [(works, b, works), (b, failed, works), (b, works, b), (failed, b, failed)]:
        assert tree._strip(vectors, function) == answer
    assert tree.minimal_vectors(failed) == failed and tree.minimal_vectors(works) == works
    assert not any((memo, tree._chosen, tree._raised, tree._stripped, tree._minimal))


def test_cut_sets_are_counted_before_they_are_listed():
    lines = [
        series(*(Part(f"p{line}.{number}", mtbf_h=9, mttr_h=1) for number in range(10)))
        for line in range(8)
    ]
    block = parallel(*lines)
    assert block.count_minimal_cut_sets() == {8: 10**8}
    assert block.count_minimal_cut_sets(largest=7) == {}
    assert block.count_minimal_cut_sets(largest=8) == {8: 10**8}
    assert block.minimal_cut_sets(largest=7) == ()
    with pytest.raises(ValueError, match="at most 1000000 minimal cut sets, .* are 100000000"):
        block.minimal_cut_sets()


def test_as_many_cut_sets_as_a_list_holds_are_listed(monkeypatch):
    two, three = ([Part(f"p{line}.{number}", mtbf_h=9, mttr_h=1) for number in range(line)]
                  for line in (2, 3))
    block = parallel(series(*two), series(*three))
    monkeypatch.setattr(figures, "MOST_CUT_SETS", 6)
    assert len(block.minimal_cut_sets()) == 6
    monkeypatch.setattr(figures, "MOST_CUT_SETS", 5)
    with pytest.raises(ValueError, match="at most 5 minimal cut sets, and there are 6"):
        block.minimal_cut_sets()


def test_diagrams_that_grow_too_large_are_refused(monkeypatch):
    monkeypatch.setattr(diagram, "MOST_NODES", 100)
    parts = [Part(f"p{number}", mtbf_h=9, mttr_h=1) for number in range(21)]
    with pytest.raises(ValueError, match="at most 100 nodes of a decision diagram"):
        print(at_least(11, *parts).unavailability)


def test_the_last_node_of_a_diagram_is_that_of_its_limit(monkeypatch):
    monkeypatch.setattr(diagram, "MOST_NODES", 4)
    tree = diagram.Diagram([((), (0,))] * 4)
    assert [tree.node(level, (0, 1)) for level in range(3)] == [2, 3, 4]
    with pytest.raises(ValueError, match="at most 4 nodes"):
        tree.node(3, (0, 1))


def test_blocks_are_nested_within_a_limit():
    part = block = Part("p0", mtbf_h=9, mttr_h=1)
    for _ in range(2000):
        block = parallel(block, part)
    with pytest.raises(ValueError, match="nested at most 2000 deep, got 2001"):
        series(block, Part("last", mtbf_h=9, mttr_h=1))


@pytest.mark.parametrize("rungs", [1100])  # Python itself goes 1000 deep
def test_deep_nesting_needs_no_deep_recursion(rungs):
    def ladder():
        block, down = Part("p0", mtbf_h=999, mttr_h=1), Fraction(1, 1000)
        for number in range(1, rungs):
            part = Part(f"p{number}", mtbf_h=999, mttr_h=1)
            block = (series if number % 2 else parallel)(part, block)
            down = down + Fraction(1, 1000) - down / 1000 if number % 2 else down / 1000
            down = Fraction(round(down * 10**40), 10**40)
        return block, down

    block, down = ladder()
    close(block.unavailability, down, DEEP)
    assert block.failures_per_h > 0
    assert min(block.minimal_cut_sets(largest=2), key=len)
    other, _ = ladder()
    assert block == other and hash(block) == hash(other) and len(repr(block)) < 80
    assert block.given(failed={"p0"}) != block


# ------------------------------------------------------------------ the order


def test_order_keeps_a_ladder_small():
    """Pairs that share a neighbour, given in a bad order: the diagram must stay a ribbon."""
    parts = [Part(f"p{number}", mtbf_h=9, mttr_h=1) for number in range(61)]
    pairs = [parallel(parts[number], parts[number + 1]) for number in range(60)]
    random.Random(3).shuffle(pairs)
    block = series(*pairs)
    whole = block._figures._whole
    assert len(whole.diagram.nodes_of(whole.root)) < 4 * len(parts)


def test_order_of_groups_by_hand(monkeypatch):
    """2 ** (open members) from each beginning: 8 + 8 + 4 + 2, 2 + 4 + 8 + 2, 4 + 8 + 4 + 2 and
    2 + 8 + 4 + 2; with two beginnings these are groups 0 and 2."""
    groups = ["abc", "a", "ab", "c"]
    assert few_open(groups) == [1, 2, 0, 3]
    for most, work, order in ((12, 32, [2, 0, 1, 3]), (2, 10**9, [2, 0, 1, 3]),
                              (12, 31, [0, 2, 1, 3]), (12, 1, [0, 2, 1, 3])):
        monkeypatch.setattr(variable_order, "MOST_BEGINNINGS", most)
        monkeypatch.setattr(variable_order, "WORK", work)
        assert few_open(groups) == order
    # z stands everywhere and decides nothing: a and b are closed before group 1, which needs neither
    assert few_open(["az", "z", "abz", "abz"]) == [0, 2, 3, 1]
    # nor does p, which stands once: 4 + 8 + 4 + 1 from each beginning, so the first one wins
    assert few_open(["ac", "", "bcp", "ab"]) == [0, 2, 3, 1]


def test_five_groups_by_hand():
    """From bc 4 + 8 + 8 + 32 + 8, as much as 16 + 16 + 16 + 8 + 4 from abdf; the first wins."""
    assert few_open(["bd", "bc", "abdf", "aef", "ce"]) == [1, 4, 0, 2, 3]
    # d stands once: 4 + 8 + 4 from either; if it counted, 4 + 16 + 4 against 8 + 8 + 4
    assert few_open(["cf", "bdf", "bc"]) == [0, 1, 2]


def test_sources_are_read_in_the_order_of_their_groups():
    """a, then ab, then cba, as few are open so; where nothing is shared, as they stand."""
    leaves = {"f": ["c", "b", "a"], "g": ["a"], "h": ["a", "b"], "i": ["c"], "top": ["a", "b", "c"]}
    assert reading_order("top", {"top": ["f", "g", "h", "i"]}, leaves) == ["a", "b", "c"]
    apart = {"f": ["c"], "g": ["b"], "inner": ["c", "b"], "h": ["a"], "top": ["c", "b", "a"]}
    assert reading_order("top", {"top": ["inner", "h"], "inner": ["f", "g"]}, apart) == ["c", "b", "a"]


@pytest.mark.parametrize(("count", "beginnings"), [
    (12, 12), (13, 7), (40, 10), (41, 11), (44, 9), (99, 2), (100, 2), (101, 1), (200, 1)])
def test_many_groups_are_begun_from_fewer(count, beginnings, monkeypatch):
    """At most 12, and 20 000 over the square of their number: evenly spread from the first on."""
    tried = []
    monkeypatch.setattr(variable_order, "_from", lambda begin, *_: tried.append(begin) or (0, []))
    few_open([{number, number + 1} for number in range(count)])
    assert len(tried) == beginnings and tried[0] == 0


def test_order_holds_every_name_once():
    block, _, _ = plant_of_120(seed=2)
    order = [
        source for module in modules_of(block) for source in module.sources
        if isinstance(source, str)
    ]
    assert sorted(order) == sorted(block.parts)


def test_chain_of_enumeration_is_in_balance():
    """The reference itself: long run times generator is nothing."""
    model = Weighted({"x": 5, "y": 3, "z": 2}, {frozenset("xy"): 2, frozenset("yz"): 1})
    assert model.steady_state() @ model.generator == pytest.approx([0, 0, 0], abs=1e-16)
    assert CHAIN not in STATES


def test_the_limits_are_those_that_the_guide_states():
    guide = " ".join((ROOT / "DEVELOPERS.md").read_text("utf-8").split())
    assert diagram.MOST_NODES == figures.MOST_CUT_SETS
    assert f"{diagram.MOST_NODES:,} cut sets or nodes".replace(",", " ") in guide
    lives = f"{MOST_DRAWN:,} changes of state in a drawn life or {MOST_KEPT:,} that are kept"
    assert lives.replace(",", " ") in guide
    assert f"{MOST_DEPTH} blocks and {MOST_STEPS} feeds in turn" in guide
    assert f"{MOST_STATES} states of a first failure and {chain.MOST_STATES} of a chain" in guide
