"""Parts as the sums take them: with the wait for a spare, replaced in time, behind the mains.

`mtbf_h` and `mttr_h` of a file are those of a part that is left to fail and whose spare lies on the
shelf. What the file says of spares, ageing and cuts of the mains is worked into the two here, once.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from labkit.plant.plant_data import Changeover, OwnMode, PlantPart, Spare, record
from labkit.wording import HOURS_PER_YEAR


def parts_of(document: Mapping, data: str) -> Iterator[PlantPart]:
    """Yield the parts of a document from which what is not fitted has been taken out.

    >>> from labkit.plant.fitting import fitted
    >>> from labkit import load_plant
    >>> next(parts_of(fitted(load_plant().document), "found")).mttr_h
    4.0
    """
    found = {}
    modes = [record(OwnMode, table) for table in document["mode"]]
    for table in document["part"]:
        part = record(PlantPart, {"source": data} | table)
        part = replace(part, mtbf_h=_replaced_in_time_h(part.mtbf_h, table))
        part = _with_modes(_with_cuts(part, table),
                           [mode for mode in modes if part.designation in mode.parts])
        found[part.designation] = part
    for table in document["changeover"]:
        duty = record(Changeover, table)
        if duty.every_h:
            # A part rests until the turn comes to it; its start shows whether it is whole.
            rests_h = duty.every_h * (len(duty.parts) - duty.running)
            for name in duty.parts:
                part = found[name]
                found[name] = replace(part, test_interval_h=min(part.test_interval_h, rests_h))
    for table in document["spare"]:
        spare = record(Spare, table)
        wait_h = spare.wait_h(math.fsum(found[name].spares_per_h for name in spare.parts))
        for name in spare.parts:
            waits_h = wait_h * found[name].takes_spare
            found[name] = replace(found[name], mttr_h=found[name].mttr_h + waits_h, waits_h=waits_h)
    yield from found.values()


def _with_cuts(part: PlantPart, table: Mapping) -> PlantPart:
    """Return the mains with their short cuts in them; everybody sees that they are gone."""
    if part.kind != "mains":
        return part
    cuts = ((part.failure_rate_per_h, part.mttr_h),)
    if "short_cuts" in table:
        short = table["short_cuts"]
        cuts += ((short["per_year"] / HOURS_PER_YEAR, float(short["mean_h"])),)
    often = math.fsum(rate for rate, _ in cuts)
    return replace(part, cuts=cuts, mtbf_h=1.0 / often, noticed=1.0 if part.noticed is None else
                   part.noticed, noticed_note=part.noticed_note or "everybody sees it",
                   mttr_h=math.fsum(rate * mean_h for rate, mean_h in cuts) / often)


def _with_modes(part: PlantPart, modes: list[OwnMode]) -> PlantPart:
    """Return a part with what its ways of failing come to, each by its share."""
    if not modes:
        return part
    whole = math.fsum(mode.share for mode in modes)
    down = math.fsum(mode.share * (part.mttr_h if mode.mttr_h is None else mode.mttr_h)
                     for mode in modes)
    takes = math.fsum(mode.share for mode in modes if mode.mttr_h is None)
    part = replace(part, mttr_h=down / whole, takes_spare=takes / whole, cuts=tuple(
        (part.failure_rate_per_h * mode.share / whole,
         part.mttr_h if mode.mttr_h is None else mode.mttr_h) for mode in modes if part.cuts))
    if all(mode.noticed is None for mode in modes):
        return part
    seen = math.fsum(mode.share * (1.0 if mode.noticed is None else mode.noticed) for mode in modes)
    return replace(part, noticed=seen / whole, noticed_note="by its ways of failing")


def _replaced_in_time_h(mtbf_h: float, table: Mapping) -> float:
    """Return the mean time between failures of a part that ages and is replaced at an age."""
    if "ageing_shape" not in table:
        return mtbf_h
    from labkit.availability.ageing import Ageing

    shape = float(table["ageing_shape"])
    life = Ageing(scale_h=mtbf_h / math.gamma(1.0 + 1.0 / shape), shape=shape)
    return 1.0 / life.failures_per_h(table.get("replaced_after_h", math.inf))
