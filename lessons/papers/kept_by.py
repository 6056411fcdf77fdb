"""How the functions of a plant are kept, and what stops them: the points of a block diagram.

What has to work, what is taken as independent, which failures stop a function together and what
each of them means to it, as IEC 61078 asks of an analysis by block diagrams.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import replace

from labkit.availability.blocks import Block
from labkit.plant.causes import MEETING, causes_of, meeting, modes_of
from labkit.plant.plant_data import AtLeast, Need, Reached
from labkit.plant.stop_modes import StopMode
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, minutes, per_year, rounded, share
from lessons.papers.contributions import BOTH_FAILED, names_of
from lessons.papers.paper import Section, section, table
from lessons.pictures.block_diagrams import FONT, WIDTH, block_diagram, drawn_once
from lessons.pictures.two_states_picture import Picture

MOST = 8
# Points in print, of a sheet of A4 across: as wide as its text, and as high without its
# headings and the words below it, which stay with it.
SHEET_WIDE, SHEET_HIGH = 773, 380
LEAST_LETTERS = 8


def kept_by(basis: Basis) -> list[Section]:
    """Return what has to work, the minimal cut sets and the importances of the plant of the file."""
    return [
        replace(section("needs"), points=(*_criteria(basis), *_independent(basis))),
        *_diagrams(basis),
        section("cut_sets", table("cut_sets", _cut_sets(basis)), version=basis.plant.version),
        section("importance", table("importance", _importance(basis))),
    ]


def _criteria(basis: Basis) -> Iterator[str]:
    plant = basis.plant
    for name, function in plant.functions_counted.items():
        units = listed(plant.leading(function), word="or") or "a controller"
        needs = [_needed(units, entry) for entry in function.needs]
        if function.reached:
            needs.append(_needed(units, Reached(function.reached)))
        waits, unseen = (f", after {rounded(function.idle_h)} h idle", ", and with what failed unseen in "
                         "the idle time") if function.idle_h else ("", "")
        asked = "" if function.hours_per_year == HOURS_PER_YEAR else \
            f" It is asked for {rounded(function.hours_per_year)} h a year{waits}: losses count in that share" \
            f"{unseen}, minutes and outages in all the hours."
        yield f"{name} needs {'; '.join(needs)}.{asked}"
    yield from basis.blinded.values()
    if any(part.fed_by for part in plant.parts.values()):
        yield "A part that is fed needs one of its feeds too, and these theirs."


def _diagrams(basis: Basis) -> Iterator[Section]:
    """Yield the block diagrams that can be read on a sheet, and the names of the others."""
    drawn = {name: diagram_for_a_sheet(basis.plant.block(name))
             for name in basis.plant.functions_counted}
    large = [name for name, each in drawn.items() if each is None]
    yield section("diagrams", large=f" Too large for a sheet: {listed(large)}; block_diagram() of lesson 02 "
                  "draws any." if large else "")
    for name, picture in drawn.items():
        if name not in large:
            yield Section(name, level=2, picture=picture.svg, picture_says=picture.words)


def diagram_for_a_sheet(block: Block) -> Picture | None:
    """Draw a block as narrow as it stands whole on one sheet in letters that can be read, or not."""
    once, least = drawn_once(block), LEAST_LETTERS / FONT
    for width in (WIDTH, (WIDTH + SHEET_WIDE / least) / 2, SHEET_WIDE / least):
        picture = block_diagram(once, width=width)
        wide, high = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)', picture.svg).groups())
        if least * wide <= SHEET_WIDE and least * high <= SHEET_HIGH:
            return picture
    return None


def _needed(units: str, entry: Need) -> str:
    if isinstance(entry, AtLeast):
        of = [_needed(units, each) for each in entry.of]
        return listed(of, word="or") if entry.k == 1 else f"at least {entry.k} of {listed(of)}"
    if isinstance(entry, Reached):
        return f"a whole way from {units} to {listed(entry.racks)}"
    return entry


def _independent(basis: Basis) -> Iterator[str]:
    plant = basis.plant
    common = [twins.name.removesuffix(" common cause") for twins in plant.twins]
    common += [event.name for event in plant.shared_events.values() if event.mtbf_h is not None]
    if plant.pair is not None and plant.pair.common_cause:
        common.insert(0, "+".join(plant.pair.units))
    yield ("Parts fail independently of each other, at constant rates"
           + (f", but for what these have in common: {listed(common)}." if common else
              "; the file names nothing that several have in common."))
    others = sorted({unit for each in plant.functions_counted.values() for unit in each.by
                     if unit in plant.parts})
    if others:
        yield f"Counted as parts that work or not: {listed(others)}."
    crews = plant.people.crews
    yield ("Each repair begins as soon as the failure is noticed, "
           + ("with nobody to wait for" if not crews else f"with {crews} of them at a time")
           + (f"; the units of the pair have {plant.pair.crews} crew"
              f"{'s' * (plant.pair.crews > 1)}." if plant.pair is not None else "."))


def _cut_sets(basis: Basis) -> Iterator[dict[str, str]]:
    for name in basis.plant.functions_counted:
        modes = modes_of(basis.plant, name)
        order = {each: _order(basis, mode) for mode in modes for each in names_of(basis.plant, mode)}
        causes = causes_of(basis.plant, name)
        block, left, meet = basis.plant.block(name), causes[MOST:], meeting(basis.plant, name, causes)
        whole = block.downtime_h_per_year * 60.0
        found = [(f"{each.name}{f', {each.length}' if each.length else ''}", order[each.name],
                  each.outages_per_year, f"{rounded(each.mean_down_h)} h", each.down_min_per_year)
                 for each in causes[:MOST]]
        if left:
            found.append((f"{len(left)} more", "", sum(each.outages_per_year for each in left), "",
                          sum(each.down_min_per_year for each in left)))
        found += [(MEETING, "", meet.outages_per_year, "", meet.down_min_per_year), (
            "in all", "", block.failures_per_h * HOURS_PER_YEAR, f"{rounded(block.mean_down_time_h)} h", whole)]
        for words, size, often, lasts, down in found:
            yield {"function": name, "set": words, "order": size, "often": per_year(often), "lasts": lasts,
                   "minutes": minutes(down), "share": share(down / whole) if whole else ""}


def _order(basis: Basis, mode: StopMode) -> str:
    """Return how many failures have to come together; both units fail by one cause or by two."""
    if mode.pair_state != BOTH_FAILED:
        return str(mode.size)
    return f"{mode.size} or {mode.size + 1}" if basis.plant.pair.common_cause else str(mode.size + 1)


def _importance(basis: Basis) -> Iterator[dict[str, str]]:
    for name in basis.plant.functions_counted:
        block = basis.plant.block(name)
        found = block.importance() if block.parts else {}
        for part in sorted(found, key=lambda each: -found[each].fussell_vesely)[:MOST]:
            each = found[part]
            if each.fussell_vesely:
                yield {"function": name, "part": part, "birnbaum": f"{each.birnbaum:.3g}",
                       "vesely": share(each.fussell_vesely), "raw": rounded(each.risk_achievement),
                       "rrw": "no limit" if math.isinf(each.risk_reduction) else
                       rounded(each.risk_reduction)}
