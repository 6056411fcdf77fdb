"""The comparison of variants: minutes, outages and money, and what the verdict hangs on."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from labkit.plant import sensitivity
from labkit.plant.uncertainty import joint_uncertainty
from labkit.plant.variants import Outcome, Ranked, compare_variants, rank_variants
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, money, per_year, rounded
from lessons.papers.kept_by import kept_by
from lessons.papers.paper import Column, Paper, PaperTable, Section, section, table, texts
from lessons.pictures.loss_and_price import variants_svg
from lessons.pictures.svg import alone
from lessons.pictures.tornado import tornado_svg

MOST_BARS = 8
SEED = 1
LEAST_SWING = 0.5  # what moves by less shows in no figure


def comparison(basis: Basis) -> Paper:
    """Make the comparison of the variants of a plant.

    >>> from labkit import load_plant
    >>> comparison(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Comparison of variants'
    """
    plant = basis.plant
    outcomes, functions = compare_variants(plant), [*plant.functions_counted]
    sections = [
        section("down_time", _minutes(outcomes, functions[:2], first=True), *(
            _minutes(outcomes, functions[at:at + 4]) for at in range(2, len(functions), 4)),
            parted=(texts()["kept"]["parted"],) * (plant.pair is not None and len(plant.racks) > 1)),
        *kept_by(basis),
        replace(section("money", _money(basis, outcomes), _steps(basis)), **_bars(basis, outcomes)),
    ]
    if len(outcomes) > 1:
        sections.append(section(
            "gain", table("gain", _ranking(rank_variants(outcomes)), currency=plant.currency),
            table("way", _next_steps(outcomes), title="Step by step, each against the one before"),
            first=outcomes[0].variant))
        sections += _verdict(basis, outcomes)
    else:
        sections.append(section("no_variants"))
    return basis.paper("comparison", [*sections, section("left_out", left_out=_left_out(basis))])


def _minutes(outcomes: Iterable[Outcome], functions: Sequence[str], first: bool = False) -> PaperTable:
    """Return the figures of some functions; the first table says more of each, for it has the room."""
    rows = []
    for each in outcomes:
        row = {"variant": each.variant, "about": each.about}
        for name in functions:
            down = each.down_min_per_year[name]
            row |= {f"{name} down": rounded(down), f"{name} share": f"{down / 525_600:.3g}",
                    f"{name} out": per_year(each.outages_per_year[name])}
        rows.append(row)
    columns = [Column("variant", "variant", 12), *[Column("about", "what", 28)] * first]
    for name in functions:
        columns += [Column(f"{name} down", f"{name}: min/a", numbers=True),
                    *[Column(f"{name} share", "unavailability", numbers=True)] * first,
                    Column(f"{name} out", "outages", numbers=True)]
    return PaperTable("", tuple(columns), tuple(rows))


def _money(basis: Basis, outcomes: tuple[Outcome, ...]) -> PaperTable:
    fixed = {each.variant: each for each in compare_variants(basis.plant, "fixed")}
    least = min(each.total_per_year for each in outcomes)
    currency = basis.plant.currency
    functions = tuple(basis.plant.functions_counted)
    rows = []
    flat = []
    for each in outcomes:
        best = " (least)" if each.total_per_year == least and len(outcomes) > 1 else ""
        rows.append({"variant": each.variant, "about": each.about,
                     "loss": money(each.loss_per_year), "price": money(each.price_per_year),
                     "total": money(each.total_per_year) + best,
                     "fixed": money(fixed[each.variant].loss_per_year)})
        flat.append({"variant": each.variant, "about": each.about,
                     **{f"{key}_{currency}_per_year": f"{value:.2f}" for key, value in (
                         ("loss", each.loss_per_year), ("price", each.price_per_year),
                         ("together", each.total_per_year),
                         ("loss_fixed_durations", fixed[each.variant].loss_per_year))},
                     **{f"down_min_per_year: {name}": f"{each.down_min_per_year[name]:.6g}"
                        for name in functions},
                     **{f"outages_per_year: {name}": f"{each.outages_per_year[name]:.6g}"
                        for name in functions}})
    return table("money", rows, currency=currency, main=True, csv_rows=flat,
                 note="Prices stand beside the cheapest variant, as the file has them.")


def _steps(basis: Basis) -> PaperTable:
    rows = [{"name": each.name, "function": each.function,
                  "limit": f"{each.longer_than_min:g} min", "cost": money(each.cost),
                  "beyond": money(each.cost_per_h), "chance": f"{each.chance:g}"} for each in basis.plant.costs]
    return table("costs", rows or [
        {"name": "the file has no costs: all losses are 0", "function": "", "limit": "", "cost": "",
         "beyond": "", "chance": ""}], title="What an outage costs", currency=basis.plant.currency)


def _ranking(ranked: tuple[Ranked, ...]) -> Iterator[dict[str, str]]:
    for place, each in enumerate(ranked, start=1):
        ratio = each.gain_per_money
        yield {"place": str(place), "variant": each.variant, "gain": money(each.gain_per_year),
               "price": money(each.price_per_year), "net": money(each.net_per_year),
               "ratio": "no price" if math.isinf(ratio) else f"{ratio:.2f}",
               "verdict": "pays" if each.pays else "does not pay"}


def _next_steps(outcomes: tuple[Outcome, ...]) -> Iterator[dict[str, str]]:
    """Yield the way from variant to variant, each step measured against the one before."""
    at, left = outcomes[0], list(outcomes[1:])
    while left:
        gains = [(each, at.loss_per_year - each.loss_per_year,
                  each.price_per_year - at.price_per_year) for each in left]
        paying = [(each, gain, price) for each, gain, price in gains if gain > max(price, 0)]
        if not paying:
            break
        each, gain, price = max(paying, key=lambda found: (
            math.inf if found[2] <= 0 else found[1] / found[2], found[1]))
        yield {"from": at.variant, "to": each.variant, "gain": money(gain), "price": money(price),
               "net": money(gain - price)}
        at = each
        left = [other for other in left if other is not each]
    yield {"from": at.variant, "to": "stop: no further variant gains more than it costs",
           "gain": "", "price": "", "net": ""}


def _question(basis: Basis, outcomes: tuple[Outcome, ...]) -> tuple[str, str, bool]:
    """Return the variant in question, the one beside it, and whether it is about the pair."""
    plant = basis.plant
    names = [each.variant for each in outcomes]
    has_pair = {name: plant.variant(name).pair is not None for name in names}
    without = [name for name in names if not has_pair[name]]
    paired = [name for name in names if has_pair[name]]
    if without and paired:
        return paired[0], without[0], True
    first = rank_variants(outcomes)[0].variant
    return first, names[0], False


def _verdict(basis: Basis, outcomes: tuple[Outcome, ...]) -> list[Section]:
    variant, since, pair = _question(basis, outcomes)
    swings = sensitivity.sensitivity(basis.plant, variant, since, limits=_both_ways(
        sensitivity.assumptions(basis.plant, variant, since)))
    evens = sensitivity.break_evens(basis.plant, variant, since)
    net = swings[0].net_per_year if swings else 0.0
    currency = basis.plant.currency
    turning = [each.assumption.key for each in swings if each.turns]
    says = (f"{variant} against {since}: gain less price {money(net)} {currency} a year, so it "
            f"{'pays' if net > 0 else 'does not pay'} with the numbers of the file. ")
    says += f"Within usual limits the verdict turns with {listed(turning, 5)}." if turning else \
        "No single assumption turns it within usual limits."
    return [
        section("to_pay", _true(evens), what="the pair" if pair else variant, says=says),
        replace(section("moves", _swings(basis, swings)), picture=_tornado(swings),
                picture_says=f"Tornado: {says}"),
        _all_at_once(basis, outcomes, variant, since),
    ]


def _both_ways(found: Iterable[sensitivity.Assumption]) -> dict[str, tuple[float, float]]:
    """Return limits on both sides of each number that lies at or beyond a usual one, not one of the file."""
    limits = {}
    for each in found:
        if each.why == "the file":
            continue
        low, high = each.low, each.high
        share = each.key.rpartition(": ")[2] in sensitivity.SHARES
        if 0 < each.value <= low:
            low = each.value / 2.0
        if high <= each.value and each.value > 0:
            high = 1.0 - (1.0 - each.value) / 2.0 if share else each.value * 2.0
        if (low, high) != (each.low, each.high) and low < high:
            limits[each.key] = (low, high)
    return limits


def _all_at_once(basis: Basis, outcomes: tuple[Outcome, ...], variant: str,
                 since: str) -> Section:
    """Return what the minutes and the verdict come to when all numbers are unsure at once."""
    plant = basis.plant
    least = min(outcomes, key=lambda each: each.total_per_year).variant
    names = [*dict.fromkeys((since, variant, least))]
    limits: dict[str, tuple[float, float]] = {}
    for name in names[1:]:
        limits |= _both_ways(sensitivity.assumptions(plant, name, since))
    found = joint_uncertainty(plant, names, np.random.default_rng(SEED), draws=basis.draws,
                              limits=limits)
    exact = {each.variant: each for each in outcomes}
    best = found.best_share()
    rows = []
    for name in names:
        # What costs nothing has parts that are in no verdict and so are not drawn.
        for function in dict.fromkeys(step.function for step in plant.costs):
            low, middle, high = found.range_of(name, function)
            rows.append({"variant": name, "function": function,
                         "file": rounded(exact[name].down_min_per_year[function]),
                         "low": rounded(low), "middle": rounded(middle), "high": rounded(high)})
    net = found.net_per_year(variant, since)
    low, middle, high = map(float, np.quantile(net, (0.05, 0.5, 0.95)))
    cheapest = listed(f"{name} in {round(part * basis.draws)}" for name, part in best.items())
    return section("unsure", table("unsure", rows, title="Minutes down a year"), says=(
        f"{variant} pays against {since} in {int(np.sum(net > 0))} of {basis.draws} draws of all numbers "
        f"within their limits; gain less price lies between {money(low)} and "
        f"{money(high)} {plant.currency} a year in nine of ten, in the middle {money(middle)}. "
        f"Least in loss and price together: {cheapest}."))


def _left_out(basis: Basis) -> tuple[str, ...]:
    """Say what is in no total, with its size where it is known."""
    plant, pair, told, found = basis.plant, basis.plant.pair, texts()["left_out"], []
    if pair is not None:
        repairs = sum(plant.parts[unit].failure_rate_per_h for unit in pair.units) * HOURS_PER_YEAR
        tests, people = HOURS_PER_YEAR / pair.test_interval_h, plant.people
        found.append(told["people"].format(wrong=per_year(people.wrong_unit * repairs),
                                           left=per_year(people.left_stopped * (repairs + tests))))
        if not plant.started_by_hand:
            found.append(told["gap"].format(gap_ms=basis.settings.longest_write_gap_ms))
            found += [told["sync"].format(sync=listed(pair.sync))] * bool(pair.sync)
    unknown = [each.name for each in plant.shared_events.values() if each.mtbf_h is None]
    if unknown:
        found.append(f"Events without a rate in the file: {listed(unknown)}.")
    found.append(told["settings"])
    passing = [fault.label for fault in basis.faults.values()
               if fault.kind.share is not None and not fault.breaks]
    if passing:
        found.append(told["passing"].format(passing=listed(passing, 4)))
    return tuple(found)


def _true(evens: tuple[sensitivity.BreakEven, ...]) -> PaperTable:
    open_, closed = [], []
    for each in evens:
        if each.limit is None:
            closed.append(each)
        else:
            open_.append({"key": each.assumption.key, "is": rounded(each.assumption.value),
                          "must": f"{each.pays} {rounded(each.limit)}"})
    note = ""
    for word in ("always", "never"):
        keys = [each.assumption.key for each in closed if each.pays == word]
        if keys:
            note += f"It {word} pays, whatever the value of {listed(keys)}. "
    return table("to_pay", open_ or [{"key": "no single number decides", "is": "", "must": ""}],
                 note=note.strip())


def _swings(basis: Basis, swings: tuple[sensitivity.Swing, ...]) -> PaperTable:
    moving = [each for each in swings if each.width >= LEAST_SWING]
    still = sorted(each.assumption.key for each in swings if each.width < LEAST_SWING)
    return table("moves", ({
            "key": each.assumption.key, "is": rounded(each.assumption.value),
            "low": rounded(each.assumption.low), "high": rounded(each.assumption.high),
            "net_low": money(each.net_low), "net_high": money(each.net_high),
            "turns": "yes" if each.turns else "no",
            "why": each.assumption.why if each.assumption.why != "given" else
            "beyond the usual: half or double"}
            for each in moving),
        note=f"Net: gain less price, {basis.plant.currency} a year." + (
            f" Without effect: {listed(still)}." if still else ""))


# ---------------------------------------------------------------- pictures


def _tornado(swings: tuple[sensitivity.Swing, ...]) -> str:
    shown = [each for each in swings if each.width >= LEAST_SWING]
    return alone(tornado_svg(shown, most=MOST_BARS)) if shown else ""


def _bars(basis: Basis, outcomes: tuple[Outcome, ...]) -> dict[str, str]:
    """Return the picture of loss and price, and the same in words."""
    currency, best = basis.plant.currency, min(outcomes, key=lambda each: each.total_per_year)
    if max(each.total_per_year for each in outcomes) <= 0:
        return {"picture_says": "Neither losses nor prices in the file: no picture."}
    return {"picture": alone(variants_svg(outcomes, currency=currency)), "picture_says":
            "Expected loss and price a year for each variant; together they are least for "
            f"{best.variant}: {money(best.total_per_year)} {currency} a year."}
