"""Whether a formula can come out in the unit that is asked for, by the endings of its names."""

from collections.abc import Iterator

from lessons.exercises.formulas import Call, Fixed, Node, Product, Quantified, Spoken, Sum, within
from lessons.exercises.quantities import Unit, unit

# Path, rule, and what was found.
Complaint = tuple[tuple, str, object]


def basis_of(tree: Node) -> set[str]:
    """Return the names of a formula that follow from no others."""
    return {part.name for part, _ in within(tree) if isinstance(part, Quantified) and part.line is None}


def unit_complaints(path: tuple, tree: Node, spoken: Spoken, asked: Unit) -> Iterator[Complaint]:
    """Yield what does not fit in a formula by the endings of its names, such as `mttr_h`.

    A number in it may stand for a change of unit, and one of a year for a time or for none; what
    has no ending is taken for what it has to be.
    """
    for node, _ in within(tree):
        if isinstance(node, Sum):
            units = {spoken.unit_of(part.name) for _, part in node.terms
                     if isinstance(part, Quantified)} - {None}
            if len(units) > 1 and not any(isinstance(part, Fixed) for _, part in node.terms):
                yield (path, "must add what has one unit",
                       " and ".join(sorted(each.text for each in units)))
                return
    own = spoken.unit_of(tree.name) if isinstance(tree, Quantified) else None
    if own is not None and own.kind[0] == "money" != asked.kind[0]:
        yield path, f"must come out in {asked.text or 'a plain number'}", f"{tree.name}, which is in {own.text}"
        return
    found = _powers(tree, spoken)
    if found is None or {*asked.kind} - {"time", ""}:
        return
    wanted = (asked.kind[0] == "time") - (asked.kind[1] == "time")
    fits = {wanted} | ({1} if asked.kind == ("time", "time") else set())
    if found not in fits:
        yield (path, f"must come out in {asked.text or 'a plain number'}",
               {1: "a time", 0: "a plain number", -1: "a number per time"}.get(
                   found, f"a time to the power {found}"))
    elif own is not None and (
            own.kind == asked.kind and own.factor != asked.factor
            # a time that is lost in a year may go by the name of the time
            or (own.kind, asked.kind) == (("time", ""), ("time", "time"))
            and own.factor != unit(asked.text.partition("/")[0]).factor):
        yield path, f"must come out in {asked.text}", f"{tree.name}, which is in {own.text}"


def _powers(node: Node, spoken: Spoken) -> int | None:
    """Return to which power of time a formula comes out; None where its names do not say it."""
    match node:
        case Fixed():
            return 0
        case Quantified(name, line):
            own = spoken.unit_of(name)
            if own is None:
                return None if line is None else _powers(line, spoken)
            if {*own.kind} - {"time", ""}:
                return None
            return (own.kind[0] == "time") - (own.kind[1] == "time")
        case Product(factors):
            powers = [_powers(part, spoken) for _, part in factors]
            return None if None in powers else sum(
                way * power for (way, _), power in zip(factors, powers, strict=True))
        case Sum(terms):
            powers = {_powers(part, spoken) for _, part in terms if not isinstance(part, Fixed)}
            return powers.pop() if len(powers) == 1 else None
        case Call(function, inner) if function in ("abs", "max", "min"):
            return _powers(inner, spoken)
    return None
