"""Variants of a plant file: what is changed, and what is left out because it is not fitted.

Documents are the tables of a plant file as `tomllib` gives them; none is ever changed in place.
"""

import copy
from collections.abc import Iterable, Mapping

from labkit.arguments import one_of

# Tables that name several parts: by which key, and how many have to be fitted.
GROUPS = {"twins": ("parts", 2), "shared_event": ("breaks", 1), "spare": ("parts", 1),
          "maintenance": ("parts", 1), "changeover": ("parts", 2), "mode": ("parts", 1)}
# Tables that a variant changes by their name.
NAMED = ("function", "step", "shared_event", "spare", "maintenance", "changeover")


def with_variant(document: Mapping, name: str) -> dict:
    """Return a document with the changes of one of its variants made, all parts still in it.

    Parameters
    ----------
    document : mapping
        A document without errors.
    name : str
        Name of the variant.

    Returns
    -------
    dict
        A new document; what the variant fits has ``fitted = true``, what it removes false.

    Raises
    ------
    ValueError
        If there is no such variant.

    >>> from labkit.plant.file import find_file, read_file
    >>> document = read_file(find_file("brackenquay"))[0]
    >>> changed = with_variant(document, "V3")
    >>> [part["mttr_h"] for part in changed["part"] if part["designation"] == "KF10"]
    [1]
    """
    variants = {table["name"]: table for table in document.get("variant", ())}
    variant = variants[one_of("variant", name, variants)]
    if "like" in variant:
        result = with_variant(document, variant["like"])
    else:
        result = copy.deepcopy(dict(document))
    parts = {table["designation"]: table for table in result["part"]}
    for key, there in (("fit", True), ("remove", False)):
        for designation in variant.get(key, ()):
            parts[designation]["fitted"] = there
    if "pair" in variant:
        result["pair"] = result.get("pair", {}) | variant["pair"]
    for change in variant.get("part", ()):
        for designation in change["parts"]:
            parts[designation].update(
                {key: value for key, value in change.items() if key != "parts"})
    for change in variant.get("twins", ()):
        same = [table for table in result.get("twins", ())
                if {*table["parts"]} == {*change["parts"]}]
        if same:
            same[0].update(change)
        else:
            result["twins"] = [*result.get("twins", ()), change]
    for key in NAMED:
        tables = result.get("costs", {}) if key == "step" else result
        known = {table["name"]: table for table in tables.get(key, ())}
        for change in variant.get(key, ()):
            known[change["name"]].update(change)
    return result


def fitted(document: Mapping) -> dict:
    """Return a document without the parts that are not fitted, and without mentions of them.

    Parameters
    ----------
    document : mapping
        A document without errors.

    Returns
    -------
    dict
        A new document. A pair of which one unit is left is no pair; twins of which one is left
        are no twins; an event that breaks nothing is left out.

    >>> from labkit.plant.file import find_file, read_file
    >>> document = read_file(find_file("brackenquay"))[0]
    >>> "pair" in fitted(with_variant(document, "V0"))
    False
    """
    result = copy.deepcopy(dict(document))
    result["part"] = [table for table in result["part"] if table.get("fitted", True)]
    there = {table["designation"] for table in result["part"]}

    def left(names: Iterable[str]) -> list[str]:
        return [name for name in names if name in there]

    for table in result["part"]:
        for key in ("joins", "fed_by"):
            table[key] = left(table.get(key, ()))
    for table in result["function"]:
        table["needs"] = _left_needs(table.get("needs", []), there)
    if "pair" in result:
        result["pair"]["sync"] = left(result["pair"].get("sync", ()))
        if len(left(result["pair"]["units"])) < 2:
            del result["pair"]
    for key, (names, least) in GROUPS.items():
        for table in result.get(key, ()):
            table[names] = left(table[names])
        result[key] = [table for table in result.get(key, ()) if len(table[names]) >= least]
    return result


def _left_needs(entries: list, there: set[str]) -> list:
    """Return needs without what is not fitted; a choice of one is that one."""
    left = []
    for entry in entries:
        if isinstance(entry, str):
            left += [entry] if entry in there else []
        elif "reached" in entry:
            left.append(entry)
        else:
            of = _left_needs(entry["of"], there)
            left.append(of[0] if entry["at_least"] == len(of) == 1 else entry | {"of": of})
    return left
