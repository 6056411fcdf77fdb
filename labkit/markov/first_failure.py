"""The first failure of a block whose parts are repaired: as a Markov chain, exact, if it is small.

How long a repairable block works without a break depends on which parts are down at the moment,
and not on how likely each is to be down. So there is no short cut through its structure as there
is for the unavailability; all states in which the block works have to be told apart.
"""

from labkit.availability.blocks import Block
from labkit.availability.modules import inside
from labkit.markov.chain import MarkovModel

# Ten parts in parallel; their reliability over time takes a second or two.
MOST_STATES = 1024
GOOD, FAILED = "good", "failed"


def first_failure_chain(block: Block) -> MarkovModel:
    """Build the chain of a repairable block that ends with its first failure.

    Parameters
    ----------
    block : Block
        Of `Part`, `series`, `parallel`, `at_least` and `Chain.when`. With at most 1024 states
        in which it works.

    Returns
    -------
    MarkovModel
        Its states are tuples with one entry for each of `block.parts`, in order: "good" or
        "failed" for a part, its state for a chain; and the state "failed", which it never
        leaves. It begins with all parts good and the chains where they start. Take
        `reliability`, `unreliability` and `mean_time_to_first_failure_h` of it.

    Raises
    ------
    TypeError
        If something else than a block is given.
    ValueError
        If the block works in more than 1024 states. `Block.outages_until` bounds its chance of
        a failure then, for any size.

    Notes
    -----
    Parts fail and are restored independently, each with its own crew, at constant rates; exact.

    References
    ----------
    A. Birolini, Reliability Engineering, 5th ed. 2007, section 6 (first failure of repairable
    structures, failed states absorbing).

    Examples
    --------
    >>> from labkit import Part, parallel
    >>> pair = parallel(*(Part(name, mtbf_h=1000, mttr_h=4) for name in ("one", "two")))
    >>> chain = first_failure_chain(pair)
    >>> f"{chain.mean_time_to_first_failure_h():.0f} h, {chain.unreliability(8760):.5f}"
    '126500 h, 0.06688'
    """
    if not isinstance(block, Block):
        raise TypeError(f"block must be a block, got {block!r}")
    members = list(block.parts.values())
    order = inside(block)
    begin = [{GOOD: 1.0} if hasattr(one, "mtbf_h") else one.model.start for one in members]
    leaving = [_leaving(one) for one in members]
    start: dict = {}
    starts = [((), 1.0)]
    for each in begin:
        starts = [((*state, one), p * q) for state, p in starts for one, q in each.items()]
    for state, chance in starts:
        reached = state if _works(order, block, state) else FAILED
        start[reached] = start.get(reached, 0.0) + chance
    rates: dict = {}
    known = dict.fromkeys(start)
    waiting = [state for state in start if state != FAILED]
    while waiting:
        state = waiting.pop()
        for place, one in enumerate(state):
            for to, per_h in leaving[place].get(one, {}).items():
                after = (*state[:place], to, *state[place + 1:])
                if after not in known and not _works(order, block, after):
                    after = FAILED
                elif after not in known:
                    known[after] = None
                    waiting.append(after)
                    if len(known) > MOST_STATES:
                        raise ValueError(
                            f"block must work in at most {MOST_STATES} states, got more; "
                            f"outages_until bounds its chance of a failure"
                        )
                rates[state, after] = rates.get((state, after), 0.0) + per_h
    up = [state for state in known if state != FAILED]
    return MarkovModel(rates, up, start if rates else next(iter(start)))


def _leaving(member) -> dict:
    """Give the rates per hour at which a part or chain leaves each of its states."""
    if hasattr(member, "mtbf_h"):
        return {
            GOOD: {FAILED: member.failure_rate_per_h},
            FAILED: {GOOD: member.restoration_rate_per_h},
        }
    found: dict = {}
    for (state, to), per_h in member.model.rates.items():
        found.setdefault(state, {})[to] = per_h
    return found


def _works(order: list, block: Block, state: tuple) -> bool:
    conditions = dict(zip(block.parts, state, strict=True))
    works: dict[int, bool] = {}
    for one in order:
        if one.blocks:
            works[id(one)] = sum(works[id(inner)] for inner in one.blocks) >= one.needed
        elif one.parts:
            (name,) = one.parts
            asked = (GOOD,) if one._condition is None else one._condition
            works[id(one)] = conditions[name] in asked
        else:
            works[id(one)] = one.works
    return works[id(block)]
