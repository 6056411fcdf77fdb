"""Loss and price a year as bars: of three versions with two fail states, and of any variants."""

import functools
from collections.abc import Sequence

from labkit.plant.plant import load_plant
from labkit.plant.variants import Outcome, compare_variants
from labkit.wording import capital, grouped
from lessons.pictures.charts import along, nice_step, ticks_below, ticks_of
from lessons.pictures.svg import document, line, rectangle, text

WIDTH = 900.0
LEFT, TOP = 250.0, 52.0
MOST_EUR = 20_000
VERSIONS = {"V0": "everything single", "V1a": "second controller", "V1b": "supply, UPS doubled"}


@functools.cache
def _outcomes(durations: str) -> dict[str, Outcome]:
    return {each.variant: each for each in compare_variants(load_plant(), durations)}


def _three(air: bool, durations: str) -> list[tuple[str, float, float, float]]:
    """Return name, loss, price beside the first, and minutes without control, all a year."""
    ending = " air" if air else ""
    found = [(words, _outcomes(durations)[f"{version}{ending}"])
             for version, words in VERSIONS.items()]
    base = found[0][1].price_per_year
    return [(words, each.loss_per_year, each.price_per_year - base,
             each.down_min_per_year["control kept"]) for words, each in found]


def _gains(air: bool, durations: str) -> list[str]:
    (_, first, _, _), *rows = _three(air, durations)
    return [f"{words}: gain {grouped(first - loss)}, price {grouped(price)}, "
            f"net {grouped(first - loss - price)}; control down {down:.0f} min"
            for words, loss, price, down in rows]


def worth_alt_text(air: bool = False, durations: str = "fixed") -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    air : bool
        Whether the blowers fail to on.
    durations : str
        ``fixed`` or ``exponential``; see `labkit.plant.variants`.

    Raises
    ------
    ValueError
        If `durations` is neither.

    >>> worth_alt_text().startswith("Bars of loss and price in EUR a year, blowers fail to off.")
    True
    """
    (_, loss, _, down), *_ = _three(air, durations)
    gains = " ".join(f"{capital(words)}." for words in _gains(air, durations))
    return (f"Bars of loss and price in EUR a year, blowers fail to {'on' if air else 'off'}. "
            f"Everything single: loss {grouped(loss)}; control down {down:.0f} min. {gains}")


def worth_verdict(air: bool = False, durations: str = "fixed") -> list[str]:
    """Say what control is down with everything single, and what each step gains and costs a year."""
    (_, loss, _, down_min), *_ = _three(air, durations)
    said = (f"everything single: loss {grouped(loss)}; control down {down_min:.0f} min",
            *_gains(air, durations))
    return ["All amounts in EUR a year, times in minutes a year.",
            *(f"{capital(words)}." for words in said)]


def worth_svg(air: bool = False, durations: str = "fixed") -> str:
    """Draw loss and price a year of the three versions, with the first as the one to beat."""
    rows = _three(air, durations)
    return _drawn([row[:3] for row in rows], f"EUR a year, blowers fail to {'on' if air else 'off'}",
                  worth_alt_text(air, durations), most=MOST_EUR, row=62.0,
                  against_first=True)


def variants_alt_text(outcomes: Sequence[Outcome], currency: str = "EUR") -> str:
    """Say in at most 60 words what the picture shows."""
    first, best = outcomes[0], min(outcomes, key=lambda each: each.total_per_year)
    return (f"Stacked bars: expected loss by outages and price a year [{currency}] of "
            f"{len(outcomes)} variants. {first.variant}: {grouped(first.total_per_year)}. Least in "
            f"all: {best.variant} with {grouped(best.total_per_year)}, of this "
            f"{grouped(best.price_per_year)} for the variant.")


def variants_svg(outcomes: Sequence[Outcome], currency: str = "EUR") -> str:
    """Draw what each variant of a plant loses and costs a year."""
    rows = [(each.variant, each.loss_per_year, each.price_per_year) for each in outcomes]
    most = max(1.0, *(each.total_per_year for each in outcomes))
    return _drawn(rows, f"{currency} a year", variants_alt_text(outcomes, currency), most=most,
                  row=min(62.0, 420.0 / len(rows)))


def _drawn(rows: Sequence[tuple[str, float, float]], title: str, label: str, *, most: float,
           row: float, against_first: bool = False) -> str:
    """Draw a bar of loss and price for each (name, loss, price), with their sum."""
    # Sums need more room beside the bars than their parts.
    width = 510.0 if against_first else 440.0

    x = along(0, most, LEFT, LEFT + width)
    floor = TOP + row * len(rows)
    parts = [text(12, 24, title, "b", size=17),
             rectangle(480, 8, 26, 18, "now", 0), text(514, 23, "loss by outages"),
             rectangle(670, 8, 26, 18, "card", 0), text(704, 23, "price of the step" if against_first else "price")]
    parts += ticks_below(((x(amount), grouped(amount))
                          for amount in ticks_of(0, most, nice_step(most, 5))), TOP, floor)
    first = x(rows[0][1])
    for place, (words, loss, price) in enumerate(rows):
        top, thick = TOP + row * (place + 0.13), 0.71 * row
        middle = top + thick / 2 + 6
        parts.append(text(LEFT - 10, middle, words, size=16, anchor="end"))
        parts.append(rectangle(LEFT, top, x(loss) - LEFT, thick, "now", 0))
        if price:
            parts.append(rectangle(x(loss), top, x(loss + price) - x(loss), thick, "card", 0))
        end = max(x(loss + price), first) if against_first else x(loss + price)
        total = "" if against_first else f" = {grouped(loss + price)}"
        parts.append(text(end + 10, middle, f"{grouped(loss)} + {grouped(price)}{total}"
                          if price else grouped(loss), "over"))
    if against_first:
        parts.append(line([(first, TOP), (first, floor)], "limit"))
    return document(parts, WIDTH, floor + 20, label)
