"""Checking a plant file: errors from its rules, doubts from the plant that it describes."""

from collections.abc import Mapping
from pathlib import Path

from labkit.plant.file import Finding, find_file, read_file
from labkit.plant.plant import Plant, build
from labkit.plant.plant_data import Reached, racks_of
from labkit.plant.toml_lines import line_of

__all__ = ["check_file"]

# By how much file and rig may differ in the share of failures that are noticed.
DIFFERS = 0.1


def check_file(path: str | Path) -> list[Finding]:
    """List everything that is wrong or doubtful in a plant file.

    Parameters
    ----------
    path : str or Path
        Path of a plant file, or the name of one that comes with the package.

    Returns
    -------
    list of Finding
        In the order of the lines; empty if there is nothing to say.

    Raises
    ------
    ValueError
        If there is no such file.

    Examples
    --------
    >>> check_file("brackenquay")
    []
    """
    path = find_file(path)
    document, findings, lines = read_file(path)
    found = list(findings)
    if not any(each.severity == "error" for each in found):
        plant = build(document, str(path))
        for key, name, rule, what in [*_never(plant, ""), *_unconnected(plant), *_out_of_reach(plant),
                                      *_watched(plant)]:
            found.append(Finding(_line(document, lines, key, name), f"{key} {name}".strip(), rule, what,
                                 "warning"))
        for name in plant.variants:
            for key, function, rule, what in _never(plant.variant(name), f" in variant {name}"):
                if (key, function) not in {(k, n) for k, n, *_ in _never(plant, "")}:
                    found.append(Finding(_line(document, lines, "variant", name),
                                         f"{key} {function}", rule, what, "warning"))
    return sorted(found, key=lambda each: each.line)


def _line(document: Mapping, lines: Mapping[tuple, int], key: str, name: str) -> int:
    if key == "pair":
        return line_of(lines, (key,))
    label = "designation" if key == "part" else "name"
    for position, table in enumerate(document[key]):
        if table[label] == name:
            return line_of(lines, (key, position))
    return 0


def _never(plant: Plant, where: str) -> list[tuple[str, str, str, str]]:
    found = []
    for name, function in plant.functions_counted.items():
        if plant.condition(name) is False:
            lost = [f"no way from {' or '.join(plant.controllers) or 'any controller'} to {rack}"
                    for racks in racks_of(function) for rack in racks
                    if not any(plant.ways(unit, rack) for unit in plant.controllers)]
            found.append(("function", name, "must be able to work with all parts whole" + where,
                          "; ".join(lost) or "no controller that reaches all of its racks"))
    return found


def _unconnected(plant: Plant) -> list[tuple[str, str, str, str]]:
    used = {name for part in plant.parts.values() for name in part.fed_by}
    used |= {name for name, others in plant.neighbours.items() if others}
    for function in plant.functions_counted.values():
        waiting = [*function.reached, *function.needs]
        while waiting:
            entry = waiting.pop()
            if isinstance(entry, str):
                used.add(entry)
            else:
                waiting += entry.racks if isinstance(entry, Reached) else entry.of
    return [("part", name, "should join, feed or be needed by something", "nothing")
            for name in plant.parts if name not in used]


def _out_of_reach(plant: Plant) -> list[tuple[str, str, str, str]]:
    """Return controllers that a function needs and that have no way to its racks."""
    found = []
    wanted = {rack for function in plant.functions_counted.values()
              for racks in racks_of(function) for rack in racks}
    for unit in plant.controllers:
        lost = [rack for rack in sorted(wanted) if not plant.ways(unit, rack)
                and any(plant.ways(other, rack) for other in plant.controllers)]
        if lost:
            found.append(("part", unit, "should have a way to every rack that a function needs, "
                          "for else it cannot take over", f"none to {', '.join(lost)}"))
    return found


def _watched(plant: Plant) -> list[tuple[str, str, str, str]]:
    """Return what the file says of noticed failures otherwise than the rig, without a note."""
    found = []
    pair = plant.pair
    counted = {name for function in plant.functions_counted
               for each in plant.single_failures(plant.condition(function)).values()
               for name in each.parts}
    for name, part in plant.parts.items():
        if pair is not None and name in pair.units:
            continue
        if part.noticed is None and name not in counted:
            continue
        rig = plant.share_seen(name)
        if part.noticed is not None:
            if abs(part.noticed - rig) > DIFFERS and not part.noticed_note:
                found.append(("part", name, f"noticed should be what the rig shows, {rig:.2g}, or "
                              "have a noticed_note that says who notices them or why not",
                              f"{part.noticed:g}"))
        elif rig < 0.5 and "test_interval_h" not in _table(plant, name):
            found.append(("part", name, "should say noticed or test_interval_h, for no lamp, alarm "
                          "or process shows most of its failures",
                          f"neither; a test every {part.test_interval_h:g} h is taken"))
    if pair is not None:
        rig = min(map(plant.share_seen, pair.units))
        if abs(pair.diagnosed - rig) > DIFFERS and not pair.source_note:
            found.append(("pair", "", f"diagnosed should be what the rig shows, {rig:.2g}, or have "
                          "a source_note", f"{pair.diagnosed:g}"))
    return found


def _table(plant: Plant, name: str) -> Mapping:
    return next(each for each in plant.document["part"] if each["designation"] == name)
