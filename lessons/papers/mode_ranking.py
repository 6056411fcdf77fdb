"""What stands before the failure-mode table: boundaries, the worst rows, shared items."""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from labkit.plant.causes import MEETING
from labkit.plant.wiring import Leads, leaves
from labkit.wording import listed
from lessons.papers.basis import Basis, minutes, money, rounded
from lessons.papers.contributions import Contributions
from lessons.papers.mode_rows import ModeRow
from lessons.papers.paper import Column, PaperTable, Section, columns, section, table, texts

MOST_RANKED = 12


def boundaries(basis: Basis) -> Section:
    """Return what is inside the table, what is outside, and for which functions it is made."""
    plant = basis.plant
    kinds = Counter(part.kind for part in plant.parts.values())
    inside = listed(f"{kind} × {count}" if count > 1 else kind for kind, count in kinds.items())
    pair = f"The pair {listed(plant.pair.units)} with its sync: " \
           f"{listed(plant.pair.sync) or 'no cable named'}." if plant.pair is not None else \
        "There is no pair."
    supply = "" if any(part.kind == "mains" for part in plant.parts.values()) else "the public supply, "
    return section("boundaries", _items(basis), supply=supply, count=len(plant.parts), inside=inside,
                   pair=pair, functions=listed(plant.functions_counted))


def _items(basis: Basis) -> PaperTable:
    """Return what each item is, with the functions that ask for it or its like by their wiring."""
    plant = basis.plant
    needs = {name: {leaf.unit if isinstance(leaf, Leads) else leaf.name for leaf in leaves(plant.condition(name))}
             for name in plant.functions_counted}
    found: dict[str, list[str]] = {}
    for part in plant.parts:
        sync = plant.pair is not None and part in plant.pair.sync
        said = listed(name for name in needs if part in needs[name]) or texts()["for"]["sync" if sync else "none"]
        found.setdefault(said, []).append(basis.named(part))
    return table("items", ({"function": said, "items": "; ".join(items)} for said, items in found.items()))


def first_ten(modes: list[ModeRow]) -> PaperTable:
    """Return the ten worst rows."""
    order = [*texts()["severity"]]
    ranked = sorted(modes, key=lambda each: (order.index(each.severity), -each.per_year))[:10]
    return table("first_ten", (mode.row for mode in ranked))


def matrix(modes: list[ModeRow]) -> PaperTable:
    """Return how many rows there are of each severity and frequency."""
    found = columns("matrix")
    limits = [*zip((column.key for column in found[1:]), (1.0, 0.1, 0.01, 0.0), strict=True)]
    count = Counter((mode.severity, next(key for key, least in limits if mode.per_year >= least))
                    for mode in modes)
    return PaperTable("", found, tuple(
        {"severity": letter} | {key: str(count[letter, key] or "–") for key, _ in limits}
        for letter in texts()["severity"]))


def ranked(basis: Basis, modes: list[ModeRow], sums: Contributions) -> list[Section]:
    """Return the rows that bring most minutes, and those that cost most, each down to the sum."""
    counted = [mode for mode in modes if mode.takes]
    by_time = section("by_time", _ranking(
        basis, sums, sorted(counted, key=lambda mode: -math.fsum(mode.down_min.values()))))
    by_time = replace(by_time, texts=(*by_time.texts, *basis.blinded.values()))
    if not sums.loss_per_year:
        return [replace(by_time, short_rows=5)]
    return [by_time, section("by_money", _ranking(
        basis, sums, sorted(counted, key=lambda mode: -mode.loss)))]


def _ranking(basis: Basis, sums: Contributions, ranked: list[ModeRow]) -> PaperTable:
    functions, rest = tuple(sums.down_min_per_year), ranked[MOST_RANKED:]
    rows = [_ranked_row(mode.down_min, mode.loss) | {
        key: mode.row[key] for key in ("number", "designation", "mode")}
        for mode in ranked[:MOST_RANKED]]
    if rest:
        rows.append({"number": "", "designation": f"{len(rest)} more rows", "mode": ""} | _ranked_row(
            {name: math.fsum(mode.down_min[name] for mode in rest) for name in functions},
            math.fsum(mode.loss for mode in rest)))
    rows += [{"number": "", "designation": MEETING, "mode": ""} | _ranked_row(*left_over(ranked, sums)),
             {"number": "", "designation": "in all, as the comparison has it", "mode": ""}
             | _ranked_row(sums.whole_min_per_year, sums.whole_loss_per_year)]
    return PaperTable("", (
        *columns("ranking_of_modes"), *(Column(name, f"{name}, min/a", numbers=True) for name in functions),
        Column("loss", f"loss, {basis.plant.currency}/a", numbers=True)), tuple(rows), sums=1)


def left_over(modes: list[ModeRow], sums: Contributions) -> tuple[dict[str, float], float]:
    """Return what the rows leave to the figures of the comparison, in minutes a year and money."""
    return ({name: whole - math.fsum(mode.down_min[name] for mode in modes if mode.takes)
             for name, whole in sums.whole_min_per_year.items()},
            sums.whole_loss_per_year - math.fsum(mode.loss for mode in modes if mode.takes))


def _ranked_row(down_min: Mapping[str, float], loss: float) -> dict[str, str]:
    return {name: minutes(value) for name, value in down_min.items()} | {"loss": money(loss)}


def shared_items(basis: Basis) -> PaperTable:
    """Return what several things hang on: feeds, shared routes, racks, common ways."""
    plant, blind = basis.plant, basis.healthy.not_in_rate
    items = []
    for name, part in plant.parts.items():
        joined = [other for other in plant.neighbours[name]
                  if part.kind == "rack" and other in plant.parts]
        hanging = _fed_by(basis, name) or joined
        if len(hanging) > 1 or part.kind in ("supply", "ups", "repeater", "switch"):
            items.append((basis.named(name), hanging or plant.neighbours[name], {name}, part.mttr_h))
    items += [(f"{event.name} {event.what}", event.breaks, event.breaks, event.mttr_h)
              for event in plant.shared_events.values()]
    rows = [{"name": name, "hang": listed(hanging) or "nothing named",
             "lost": listed(each for each in plant.functions_counted
                            if plant.condition(each, breaks) is False
                            or any(name.startswith(f"{other} ") for other in blind.get(each, ())))
             or "none by itself; see the table", "down": "" if mttr_h is None else f"{rounded(mttr_h)} h"}
            for name, hanging, breaks, mttr_h in items]
    return table("shared", rows)


def _fed_by(basis: Basis, name: str) -> list[str]:
    """Return all that a feed carries, those behind other feeds too."""
    found: list[str] = []
    waiting = [name]
    while waiting:
        feed = waiting.pop()
        for each, part in basis.plant.parts.items():
            if feed in part.fed_by and each not in found:
                found.append(each)
                waiting.append(each)
    return found
