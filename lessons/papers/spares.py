"""The plan of spare parts and repair times: what to keep, where, and what it saves.

Demand is counted as Poisson over one delivery time (IEC 62550 is the frame of such plans); what a
missing spare costs the plant follows from its availability with the delivery time added to each
repair.
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labkit.evidence.claims import running_out_chance, spares_needed
from labkit.plant.plant import Plant
from labkit.plant.plant_data import PlantPart, Spare
from labkit.plant.variants import losses
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, money, per_year, rounded, share
from lessons.papers.paper import Paper, PaperTable, fixed_table, section, table, texts

OTHER_DAYS = 60.0
TARGET = 0.95


def spares_plan(basis: Basis) -> Paper:
    """Make the plan of spare parts and repair times of a plant.

    >>> from labkit import load_plant
    >>> spares_plan(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Spare parts and repair times'
    """
    groups = _groups(basis.plant)
    return basis.paper("spares_plan", (
        section("stock", target=share(TARGET)), section("parts", _parts(basis, groups)),
        section("one_for_several", table("one_for_several", _shared(groups))), section("no_parts", fixed_table("no_parts")),
        section("small", _small(basis)), section("repair", table("repair", _repair(basis, groups)))))


@dataclass(frozen=True)
class _Group:
    """Hold parts for which one spare does, and what the file or our list says of it.

    `kept` is the stock of the file, None where it says none; repairs last `repair_h` with the part
    at hand.
    """

    name: str
    parts: tuple[PlantPart, ...]
    spare: Spare
    kept: int | None = None

    @property
    def failures_per_h(self) -> float:
        """Of all parts together."""
        return math.fsum(each.failure_rate_per_h for each in self.parts)

    @property
    def demand(self) -> float:
        """How many are wanted in one delivery time on average."""
        return self.spares_per_h * self.spare.delivery_days * 24.0

    @property
    def spares_per_h(self) -> float:
        """How many spares all parts take together."""
        return math.fsum(each.spares_per_h for each in self.parts)

    @property
    def words(self) -> str:
        """Name and designations."""
        return f"{self.name}: {', '.join(each.designation for each in self.parts)}"

    def repair_h(self, stock: int) -> dict[str, float]:
        """Return by designation how long a repair lasts with so many spares."""
        wait_h = dataclasses.replace(self.spare, stock=stock).wait_h(self.spares_per_h)
        return {each.designation: each.mttr_h - each.waits_h + each.takes_spare * wait_h
                for each in self.parts}


def _groups(plant: Plant) -> list[_Group]:
    """Return what the file has spares for, then like parts: same kind and numbers.

    The public mains is not among them: nobody has one on the shelf.
    """
    found = [_Group(each.name, tuple(plant.parts[name] for name in each.parts), each, each.stock)
             for each in plant.spares]
    alike: dict[tuple, list[PlantPart]] = {}
    for part in plant.parts.values():
        if plant.spare_of(part.designation) is None and part.kind != "mains":
            alike.setdefault((part.kind, part.mtbf_h, part.mttr_h), []).append(part)
    return found + [_Group(kind, tuple(parts), Spare(
        kind, tuple(each.designation for each in parts), 1, texts()["delivery_days"].get(kind, OTHER_DAYS)))
        for (kind, *_), parts in alike.items()]


def _worth(basis: Basis, repair_h: Mapping[str, float]) -> tuple[dict[str, float], float]:
    """Return how many hours a year each function is down, and the loss in money a year."""
    plant = dataclasses.replace(basis.plant, parts=MappingProxyType({
        name: dataclasses.replace(part, mttr_h=part.mttr_h + more_h, waits_h=part.waits_h + more_h)
        for name, part in basis.plant.parts.items()
        for more_h in (repair_h.get(name, part.mttr_h) - part.mttr_h,)}))
    return ({name: plant.block(name).downtime_h_per_year for name in basis.plant.functions_counted},
            math.fsum(each.loss_per_year for each in losses(plant)))


def _parts(basis: Basis, groups: list[_Group]) -> PaperTable:
    as_it_is, currency, told = _worth(basis, {}), basis.plant.currency, texts()["spares_note"]
    found = []
    for group in groups:
        # A file without a spare for a part has its repair as with the part at hand.
        kept = as_it_is if group.kept != 0 else _worth(basis, group.repair_h(1))
        without = as_it_is if group.kept == 0 else _worth(basis, group.repair_h(0))
        more_loss = max(0.0, without[1] - kept[1])
        more_min = max(0.0, *(without[0][name] - kept[0][name] for name in without[0])) * 60.0
        price, days = group.spare.price, group.spare.delivery_days
        chances = [running_out_chance(group.demand, stock) for stock in (0, 1, 2)]
        stock = spares_needed(group.demand, TARGET)
        said = "not said" if group.kept is None else f"{group.kept}" if group.kept else "no spare"
        years = [each / more_loss for each in group.spare.range.get("price", (price,))] if more_loss else []
        back = " to\n".join(f"{float(f'{each:.2g}'):g} a" if each < 100 else "> 100 a" for each in years) or "never"
        found.append((-more_loss, {
            "part": group.words, "count": str(len(group.parts)),
            "rate": f"{per_year(group.failures_per_h * HOURS_PER_YEAR)}\n{group.parts[0].source}",
            "days": f"{days:.0f}" + ("" if group.kept is not None else "\ninvented"),
            "kept": said, "out": "\n".join(map(share, chances)), "stock": str(stock),
            "down": f"+{rounded(more_min)}", "loss": f"+{money(more_loss)}",
            **({"price": money(price), "back": back} if price else {})}, {
            "part": group.words, "in_use": str(len(group.parts)),
            "failures_per_year": f"{group.failures_per_h * HOURS_PER_YEAR:.6g}",
            "source": group.parts[0].source, "delivery_days": f"{days:g}",
            "delivery_source": "invented until dated" if group.kept is None else
            group.spare.source, "kept": "" if group.kept is None else str(group.kept),
            **{f"chance_to_run_out_with_{stock}": f"{chance:.6g}"
               for stock, chance in enumerate(chances)},
            "stock_for_95_percent": str(stock),
            "more_down_min_per_year_without": f"{more_min:.6g}",
            f"more_loss_{currency}_per_year_without": f"{more_loss:.6g}",
            f"price_{currency}": f"{price:g}" if price else "",
            "pays_back_years": f"{price / more_loss:.6g}" if price and more_loss else "",
            **dict.fromkeys(("asked", "place", "life", "version", "swap_min"), "")}))
    found.sort(key=lambda each: each[0])
    outside = [basis.named(name) for name, part in basis.plant.parts.items()
               if part.kind == "mains"]
    return table(
        "parts", (row for _, row, _ in found), target=share(TARGET), currency=currency, main=True,
        small=True, csv_rows=(row for *_, row in found),
        note=" ".join(filter(None, (
            told["all"].format(functions=listed(basis.plant.functions_counted)),
            "" if any(step.cost_per_h for step in basis.plant.costs) else told["no_hours"],
            told["outside"].format(outside=listed(outside)) if outside else ""))))


def _shared(groups: list[_Group]) -> Iterator[dict[str, str]]:
    several = [group for group in groups if len(group.parts) > 1]
    for group in several:
        gone, needed = running_out_chance(group.demand, 1), spares_needed(group.demand, TARGET)
        yield {
            "part": listed(each.designation for each in group.parts),
            "gone": share(gone), "verdict":
            f"one is enough for all {len(group.parts)}: {share(1 - gone)} of delivery times" if
            needed <= 1 else f"one is not enough: keep {needed}",
            "but": "a common cause can take several on one day; then one spare starts one of them"}
    if not several:
        yield {"part": "no like parts", "gone": "", "verdict": "", "but": ""}


def _small(basis: Basis) -> PaperTable:
    plant = basis.plant
    cables = [part for part in plant.parts.values() if part.kind == "cable"]
    buses = [each for each in cables if f"{each.designation}: terminator missing" in basis.faults]
    return fixed_table(
        "small", leads=listed((each.designation for each in cables), 9) or "every line",
        plugs=max(2, math.ceil(len(cables) / 3)), terminators=2 * len(buses) or 2,
        buses=f" for {listed(each.designation for each in buses)}" if buses else ", if there is a bus")


def _repair(basis: Basis, groups: list[_Group]) -> Iterator[dict[str, str]]:
    for group in groups:
        wait_h = max(map(basis.waits_h, group.parts))
        yield {"part": group.words, "sum": rounded(max(each.mttr_h for each in group.parts)),
               "wait": rounded(wait_h) if wait_h else "",
               "spare": rounded(group.parts[0].waits_h) if group.parts[0].waits_h else ""}
