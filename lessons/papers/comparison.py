"""The comparison of variants: minutes, outages and money, and what the verdict hangs on."""

from __future__ import annotations

import math
from collections.abc import Iterable

from labkit.plant.sensitivity import BreakEven, Swing, break_evens, sensitivity
from labkit.plant.variants import Outcome, Ranked, compare_variants, rank_variants
from labkit.wording import listed
from lessons.papers.basis import Basis, hours, money, per_year
from lessons.papers.paper import Column, Paper, PaperTable, Section
from lessons.pictures.loss_and_price import variants_svg
from lessons.pictures.tornado import tornado_svg

__all__ = ["comparison"]

MOST_BARS = 12


def comparison(basis: Basis) -> Paper:
    """Make the comparison of the variants of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> comparison(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Comparison of variants'
    """
    plant = basis.plant
    outcomes = compare_variants(plant)
    sections = [
        Section("Down time and outages", (
            "Exact for the wiring and the shared parts of the file; nothing is said of what the "
            "file leaves out.",), tables=(_minutes(basis, outcomes),)),
        Section("Money", (
            "Expected loss: each outage pays the steps that are due when it lasts longer than "
            "their limit. Durations as widely spread as repairs are (exponential); in the last "
            "column, as a check, each outage as long as the mean of its cause.",),
            tables=(_money(basis, outcomes), _steps(basis)),
            picture=_bars(basis, outcomes), picture_says=_bars_say(basis, outcomes)),
    ]
    if len(outcomes) > 1:
        ranked = rank_variants(outcomes)
        sections.append(Section("What to do first: gain per money", (
            f"Measured against {outcomes[0].variant}, the first variant of the file. Gain: by how "
            "much the expected loss is smaller. Variants are whole states of the plant: a gain "
            "over the first one is not a gain over the one above.",),
            tables=(_ranking(basis, ranked), _next_steps(basis, outcomes))))
        sections += _verdict(basis, outcomes)
    else:
        sections.append(Section("What to do first", (
            "The file has no variants, so there is nothing to rank. Add [[variant]] tables: what "
            "would be doubled, which spare kept, what tested how often, each with its price a "
            "year.",)))
    sections.append(Section("What this leaves out", points=(
        "What cannot be counted in money here: staff at night, contracts, reputation, people.",
        "Safety: no variant here is a measure of safety, and none replaces one.",
        "Rates are from the file; a log of your own plant is worth more than any table.",
        "The price of doing nothing is in the table too: it is the first line.")))
    return Paper(
        name="comparison", title="Comparison of variants",
        purpose="What each way to build or keep the plant costs and saves a year, in which order "
                "to spend money, and what has to be true for the pair to pay.",
        facts=basis.facts("comparison"), assumptions=basis.assumptions(), wide=True,
        sections=tuple(sections))


def _share_of_time(down_min_per_year: float) -> str:
    """Write an unavailability with three figures."""
    return f"{down_min_per_year / 525_600:.3g}"


def _minutes(basis: Basis, outcomes: Iterable[Outcome]) -> PaperTable:
    rows = []
    functions = tuple(basis.plant.functions) or tuple(basis.plant.functions_counted)
    for each in outcomes:
        row = {"variant": each.variant, "about": each.about}
        for name in functions:
            down = each.down_min_per_year[name]
            row |= {f"{name} down": hours(down), f"{name} share": _share_of_time(down),
                    f"{name} out": per_year(each.outages_per_year[name])}
        rows.append(row)
    columns = [Column("variant", "variant", 12), Column("about", "what", 28)]
    for name in functions:
        columns += [Column(f"{name} down", f"{name}: min/a", numbers=True),
                    Column(f"{name} share", "unavailability", numbers=True),
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
                     "loss": f"{each.loss_per_year:.2f}", "price": f"{each.price_per_year:.2f}",
                     "total": f"{each.total_per_year:.2f}",
                     "fixed": f"{fixed[each.variant].loss_per_year:.2f}",
                     **{f"{name}: min/a": f"{each.down_min_per_year[name]:.6g}"
                        for name in functions},
                     **{f"{name}: outages/a": f"{each.outages_per_year[name]:.6g}"
                        for name in functions}})
    return PaperTable("", (
        Column("variant", "variant", 12), Column("about", "what", 36),
        Column("loss", f"expected loss, {currency}/a", numbers=True),
        Column("price", f"price, {currency}/a", numbers=True),
        Column("total", "together", numbers=True),
        Column("fixed", "loss, fixed durations", numbers=True)), tuple(rows), main=True,
        csv_columns=tuple(flat[0]), csv_rows=tuple(flat),
        note="Prices stand beside the cheapest variant, as the file has them.")


def _steps(basis: Basis) -> PaperTable:
    rows = tuple({"name": each.name, "function": each.function,
                  "limit": f"{each.longer_than_min:g} min", "cost": money(each.cost),
                  "chance": f"{each.chance:g}"} for each in basis.plant.costs)
    return PaperTable("What an outage costs", (
        Column("name", "what is lost", 36), Column("function", "outage of"),
        Column("limit", "longer than", numbers=True),
        Column("cost", f"{basis.plant.currency}", numbers=True),
        Column("chance", "chance", numbers=True)), rows or (
            {"name": "the file has no costs: all losses are 0", "function": "", "limit": "",
             "cost": "", "chance": ""},))


def _ranking(basis: Basis, ranked: tuple[Ranked, ...]) -> PaperTable:
    rows = []
    for place, each in enumerate(ranked, start=1):
        ratio = each.gain_per_money
        rows.append({"place": str(place), "variant": each.variant,
                     "gain": money(each.gain_per_year), "price": money(each.price_per_year),
                     "net": money(each.net_per_year),
                     "ratio": "no price" if math.isinf(ratio) else f"{ratio:.2f}",
                     "verdict": "pays" if each.pays else "does not pay"})
    currency = basis.plant.currency
    return PaperTable("", (
        Column("place", "", 4), Column("variant", "variant", 24),
        Column("gain", f"gain, {currency}/a", numbers=True),
        Column("price", f"more price, {currency}/a", numbers=True),
        Column("net", "gain less price", numbers=True),
        Column("ratio", "gain per money", numbers=True), Column("verdict", "verdict")),
        tuple(rows))


def _next_steps(basis: Basis, outcomes: tuple[Outcome, ...]) -> PaperTable:
    """Return the way from variant to variant, each step measured against the one before."""
    at, left, rows = outcomes[0], list(outcomes[1:]), []
    while left:
        gains = [(each, at.loss_per_year - each.loss_per_year,
                  each.price_per_year - at.price_per_year) for each in left]
        paying = [(each, gain, price) for each, gain, price in gains if gain > max(price, 0)]
        if not paying:
            break
        each, gain, price = max(paying, key=lambda found: (
            math.inf if found[2] <= 0 else found[1] / found[2], found[1]))
        rows.append({"from": at.variant, "to": each.variant, "gain": money(gain),
                     "price": money(price), "net": money(gain - price)})
        at = each
        left = [other for other in left if other is not each]
    rows.append({"from": at.variant, "to": "stop: no further variant gains more than it costs",
                 "gain": "", "price": "", "net": ""})
    return PaperTable("Step by step, each against the one before", (
        Column("from", "from", 20), Column("to", "to", 40), Column("gain", "gain", numbers=True),
        Column("price", "more price", numbers=True),
        Column("net", "gain less price", numbers=True)), tuple(rows))


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
    swings = sensitivity(basis.plant, variant, since)
    evens = break_evens(basis.plant, variant, since)
    net = swings[0].net_per_year if swings else 0.0
    currency = basis.plant.currency
    turning = [each.assumption.key for each in swings if each.turns]
    title = "the pair" if pair else variant
    says = (f"{variant} against {since}: gain less price {money(net)} {currency} a year, so it "
            f"{'pays' if net > 0 else 'does not pay'} with the numbers of the file. ")
    says += f"Within usual limits the verdict turns with {listed(turning, 5)}." if turning else \
        "No single assumption turns it within usual limits."
    return [
        Section(f"What has to be true for {title} to pay", (
            says, "One assumption at a time; all others as the file has them."),
            tables=(_true(evens),)),
        Section("How the verdict moves", (
            "Each bar: gain less price with one assumption at its lower and upper limit.",),
            picture=_tornado(basis, swings),
            picture_says=f"Tornado of {variant} against {since}. {says}",
            tables=(_swings(basis, swings),)),
    ]


def _number(value: float) -> str:
    return hours(value) if abs(value) >= 1000 else f"{value:.3g}"


def _true(evens: tuple[BreakEven, ...]) -> PaperTable:
    open_, closed = [], []
    for each in evens:
        if each.limit is None:
            closed.append(each)
        else:
            open_.append({"key": each.assumption.key, "is": _number(each.assumption.value),
                          "must": f"{each.pays} {_number(each.limit)}"})
    note = ""
    for word in ("always", "never"):
        keys = [each.assumption.key for each in closed if each.pays == word]
        if keys:
            note += f"It {word} pays, whatever the value of {listed(keys)}. "
    return PaperTable("", (Column("key", "assumption", 40), Column("is", "in the file", numbers=True),
                      Column("must", "has to be", numbers=True)), tuple(open_) or (
                          {"key": "no single number decides", "is": "", "must": ""},),
                 note=note.strip())


def _swings(basis: Basis, swings: tuple[Swing, ...]) -> PaperTable:
    return PaperTable("", (
        Column("key", "assumption", 30), Column("is", "in the file", numbers=True),
        Column("low", "from", numbers=True), Column("high", "to", numbers=True),
        Column("net_low", "net at from", numbers=True),
        Column("net_high", "net at to", numbers=True), Column("turns", "turns"),
        Column("why", "limits", 18)), tuple({
            "key": each.assumption.key, "is": _number(each.assumption.value),
            "low": _number(each.assumption.low), "high": _number(each.assumption.high),
            "net_low": money(each.net_low), "net_high": money(each.net_high),
            "turns": "yes" if each.turns else "no", "why": each.assumption.why}
            for each in swings),
        note=f"Net: gain less price, {basis.plant.currency} a year.")


# ---------------------------------------------------------------- pictures


def _tornado(basis: Basis, swings: tuple[Swing, ...]) -> str:
    shown = [each for each in swings if each.width > 0]
    return tornado_svg(shown, currency=basis.plant.currency, most=MOST_BARS,
                       standalone=True) if shown else ""


def _bars(basis: Basis, outcomes: tuple[Outcome, ...]) -> str:
    if max(each.total_per_year for each in outcomes) <= 0:
        return ""
    return variants_svg(outcomes, currency=basis.plant.currency, standalone=True)


def _bars_say(basis: Basis, outcomes: tuple[Outcome, ...]) -> str:
    if max(each.total_per_year for each in outcomes) <= 0:
        return "Neither losses nor prices in the file: no picture."
    best = min(outcomes, key=lambda each: each.total_per_year)
    return (f"Expected loss and price a year for each variant; together they are least for "
            f"{best.variant}: {money(best.total_per_year)} {basis.plant.currency} a year.")
