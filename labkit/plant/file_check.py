"""Checking a plant file: errors from its rules, doubts from the plant that it describes."""

from collections.abc import Mapping
from pathlib import Path

from labkit.plant.file import Finding, find_file, read_file
from labkit.plant.plant import Plant, build
from labkit.plant.plant_data import Reached, racks_of
from labkit.plant.toml_lines import line_of

__all__ = ["check_file"]


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
        for key, name, rule, what in [*_never(plant, ""), *_unconnected(plant)]:
            found.append(Finding(_line(document, lines, key, name), f"{key} {name}", rule, what,
                                 "warning"))
        for name in plant.variants:
            for key, function, rule, what in _never(plant.variant(name), f" in variant {name}"):
                if (key, function) not in {(k, n) for k, n, *_ in _never(plant, "")}:
                    found.append(Finding(_line(document, lines, "variant", name),
                                         f"{key} {function}", rule, what, "warning"))
    return sorted(found, key=lambda each: each.line)


def _line(document: Mapping, lines: Mapping[tuple, int], key: str, name: str) -> int:
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
