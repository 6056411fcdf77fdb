"""The plan of spare parts and repair times: what to keep, where, and what it saves.

Demand is counted as Poisson over one delivery time (IEC 62550 is the frame of such plans); what a
missing spare costs the plant follows from its availability with the delivery time added to each
repair.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from types import MappingProxyType

from labkit.evidence.claims import running_out_chance, spares_needed
from labkit.plant.plant import Plant
from labkit.plant.plant_data import PlantPart
from labkit.plant.variants import losses
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, hours, money, per_year, share
from lessons.papers.paper import Column, Paper, PaperTable, Section

__all__ = ["DELIVERY_DAYS", "TARGET", "spares_plan"]

DELIVERY_DAYS: Mapping[str, float] = MappingProxyType({
    "cable": 7.0, "supply": 14.0, "ups": 21.0, "sensor": 21.0, "analyser": 21.0, "pump": 42.0,
    "blower": 42.0, "fan": 42.0, "repeater": 28.0, "switch": 28.0, "panel": 56.0,
    "interface": 90.0, "module": 90.0, "rack": 90.0, "controller": 90.0,
})
"""Delivery times to begin with, days, invented: ask, and write the date of the answer down."""
OTHER_DAYS = 60.0
TARGET = 0.95

NOT_PARTS = (
    ("program of each controller, with its version and checksum", "two places, one off site"),
    ("settings and addresses of controllers, racks, panel, drives", "with the program"),
    ("licences, passwords, tools and cables for loading", "sealed, two people know where"),
    ("firmware of the version in use", "with the program"),
    ("drawings, terminal lists, this plan", "paper copy at the cabinet"),
)


def spares_plan(basis: Basis) -> Paper:
    """Make the plan of spare parts and repair times of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> spares_plan(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Spare parts and repair times'
    """
    groups = _groups(basis.plant)
    return Paper(
        name="spares_plan", title="Spare parts and repair times",
        purpose="What to keep for this plant, how likely it is to run out, and what each spare "
                "saves. Delivery times are to be asked for, dated and asked for again.",
        facts=basis.facts("spares and repair"), assumptions=basis.assumptions(), wide=True,
        sections=(
            Section("How to read it", points=(
                f"Stock: the fewest spares with which a demand during one delivery time is met "
                f"with at least {share(TARGET)} (Poisson, all parts in use together).",
                "Without a spare each repair lasts as long as the delivery: that is in the "
                "columns of down time and loss.",
                "Stock 0 says that a demand is rare, not that it does not matter: keep one "
                "wherever the loss without it is more than a spare costs a year.",
                "The delivery times below are invented until somebody has asked: write the days, "
                "the source and the date.",
                "A spare that was never tried is a hope: swap it in once a year, with its time.")),
            Section("Parts", tables=(_parts(basis, groups),)),
            Section("One spare for several: is it enough?", tables=(_shared(basis, groups),)),
            Section("Spares that are no parts", tables=(_no_parts(),)),
            Section("Small things that hold up a night", tables=(_small(basis),)),
            Section("Repair time: where it goes", (
                "The plant file counts with the sum. Rehearse one of each kind with a stop watch "
                "and write the minutes down; the largest is the one to work on.",),
                tables=(_repair(basis, groups),)),
        ))


def _groups(plant: Plant) -> list[list[PlantPart]]:
    """Return like parts together: same kind and numbers."""
    found: dict[tuple, list[PlantPart]] = {}
    for part in plant.parts.values():
        found.setdefault((part.kind, part.mtbf_h, part.mttr_h), []).append(part)
    return list(found.values())


def _with_repair(plant: Plant, names: set[str], mttr_h: float) -> Plant:
    return dataclasses.replace(plant, parts=MappingProxyType({
        name: dataclasses.replace(part, mttr_h=mttr_h) if name in names else part
        for name, part in plant.parts.items()}))


def _worth(basis: Basis, names: set[str], mttr_h: float) -> tuple[dict[str, float], float]:
    """Return how many hours a year each function is down, and the loss in money a year."""
    plant = _with_repair(basis.plant, names, mttr_h)
    return ({name: plant.block(name).downtime_h_per_year for name in _counted(basis)},
            math.fsum(each.loss_per_year for each in losses(plant)))


def _counted(basis: Basis) -> tuple[str, ...]:
    """Return the functions whose down time stands in the plan: those on the panel."""
    return tuple(basis.plant.functions) or tuple(basis.plant.functions_counted)


def _parts(basis: Basis, groups: list[list[PlantPart]]) -> PaperTable:
    with_spare = _worth(basis, set(), 1.0)
    rows = []
    for group in groups:
        first = group[0]
        days = DELIVERY_DAYS.get(first.kind, OTHER_DAYS)
        rate = len(group) * first.failure_rate_per_h
        demand = rate * days * 24.0
        names = {each.designation for each in group}
        # A spare that is kept is part of the file's repair time; without one, add the delivery.
        down_h, loss = _worth(basis, names, first.mttr_h + days * 24.0)
        more_loss = loss - with_spare[1]
        more_down_h = max(down_h[name] - with_spare[0][name] for name in down_h)
        rows.append((-more_loss, {
            "part": f"{first.kind}: {', '.join(each.designation for each in group)}",
            "count": str(len(group)), "rate": f"{per_year(rate * HOURS_PER_YEAR)}",
            "source": first.source, "days": f"{days:.0f}",
            "none": share(running_out_chance(demand, 0)),
            "one": share(running_out_chance(demand, 1)),
            "two": share(running_out_chance(demand, 2)),
            "stock": str(spares_needed(demand, TARGET)),
            "down": f"+{hours(max(more_down_h, 0.0) * 60)}",
            "loss": f"+{money(max(more_loss, 0.0))}"}))
    rows.sort(key=lambda row: row[0])
    return PaperTable("", (
        Column("part", "part, designations", 16), Column("count", "in use", 3.5, numbers=True),
        Column("rate", "failures", 5), Column("source", "source", 5),
        Column("days", "delivery, days (invented until dated)", 6.4, numbers=True),
        Column("asked", "asked whom, date", 6.5),
        Column("none", "runs out with 0", 5, numbers=True),
        Column("one", "with 1", 5.2, numbers=True), Column("two", "with 2", 5.2, numbers=True),
        Column("stock", f"stock for {share(TARGET)}", 4.4, numbers=True),
        Column("down", "without: min/a", 5.4, numbers=True),
        Column("loss", f"without: {basis.plant.currency}/a", 5.8, numbers=True),
        Column("place", "place, who fetches", 7), Column("life", "shelf life, tested", 6.4),
        Column("version", "version fits", 6), Column("swap", "swap, min", 4.4)),
        tuple(row for _, row in rows), main=True, small=True,
        note="Without: by how much the down time (of the function that suffers most: "
             f"{listed(_counted(basis))}) and the expected loss grow in a year if no spare is at "
             "hand and each repair waits for the delivery. The file's repair times are taken as "
             "those with a spare on site.")


def _shared(basis: Basis, groups: list[list[PlantPart]]) -> PaperTable:
    rows = []
    for group in groups:
        if len(group) < 2:
            continue
        first = group[0]
        demand = len(group) * first.failure_rate_per_h * DELIVERY_DAYS.get(
            first.kind, OTHER_DAYS) * 24.0
        gone = running_out_chance(demand, 1)
        rows.append({
            "part": listed(each.designation for each in group),
            "gone": share(gone), "verdict":
            f"one is enough for all {len(group)}: {share(1 - gone)} of delivery times" if
            gone <= 1 - TARGET else f"one is not enough: keep {spares_needed(demand, TARGET)}",
            "but": "a common cause can take several on one day; then one spare starts one of them"})
    if not rows:
        rows = [{"part": "no like parts", "gone": "", "verdict": "", "but": ""}]
    return PaperTable("", (Column("part", "for", 36), Column("gone", "second wanted before delivery",
                                                        14, numbers=True),
                      Column("verdict", "verdict", 24), Column("but", "and yet")), tuple(rows))


def _no_parts() -> PaperTable:
    return PaperTable("", (
        Column("what", "what", 38), Column("where", "where", 22), Column("copy", "last copy, date"),
        Column("tried", "loaded from it, date"), Column("who", "who can")),
        tuple({"what": what, "where": where} for what, where in NOT_PARTS))


def _small(basis: Basis) -> PaperTable:
    plant = basis.plant
    cables = [part for part in plant.parts.values() if part.kind == "cable"]
    buses = [each for each in cables if f"{each.designation}: terminator missing" in basis.faults]
    rows = [
        {"what": "plugs and made-up leads for " + (listed((each.designation for each in cables), 9)
                                                   or "every line"),
         "count": str(max(2, math.ceil(len(cables) / 3)))},
        {"what": "length of cable for the longest run, with joints", "count": "1"},
        {"what": "terminators of 120 ohm" + (f" for {listed(e.designation for e in buses)}"
                                             if buses else ", if there is a bus"),
         "count": str(2 * len(buses) or 2)},
        {"what": "fuses of each rating in the cabinets", "count": "5 each"},
        {"what": "lamps, batteries of clocks and memories", "count": "2 each"},
        {"what": "wrist strap, meter with fresh battery, torch, labels", "count": "1"},
    ]
    return PaperTable("", (Column("what", "what", 55), Column("count", "count", 10),
                      Column("place", "place"), Column("seen", "seen, date")), tuple(rows))


def _repair(basis: Basis, groups: list[list[PlantPart]]) -> PaperTable:
    rows = [{"part": f"{group[0].kind}: {', '.join(each.designation for each in group)}",
             "sum": hours(group[0].mttr_h),
             "wait": hours(wait_h) if (wait_h := max(map(basis.waits_h, group))) else ""}
            for group in groups]
    columns = (Column("part", "part", 30), Column("sum", "file, h", 6, numbers=True),
               Column("wait", "unnoticed, h", 7, numbers=True),
               *(Column(each, each) for each in ("notice", "way", "find", "part at hand", "swap",
                                                 "load", "test")),
               Column("total", "measured, h", 7), Column("who", "who, date", 9))
    return PaperTable("", columns, tuple(rows))
