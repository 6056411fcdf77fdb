"""What is unusual in a plant file, or contradicts itself: doubts, and no errors."""

import math
from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

from labkit.plant.schema_words import Wrong, a_kind, quoted, tables_at, values
from labkit.reading import read_table

_TABLE = read_table(__file__)
# Within which limits the numbers of one class of parts usually lie, hours; any is for a kind in no class.
USUAL_RANGES: Mapping[str, Mapping[str, list]] = MappingProxyType(_TABLE["usual_ranges"])


def ranges_in(document: Mapping) -> Iterator[tuple[tuple, float | None, list]]:
    """Yield all limits with their path, and the number that they stand around."""
    for path, table in values(document):
        for key, both in table.get("range", {}).items() if isinstance(table, dict) else ():
            yield (*path, "range", key), table.get(key), both


def doubts(document: dict) -> Wrong:
    """Yield what is unusual in a document whose form is right."""
    # What the pair does not say counts as perfect, which hides the most.
    pairs = [(path, {"common_cause": 0, "coverage": 1, "diagnosed": 1} | table)
             for path, table in tables_at(document, "pair")] + tables_at(document, "variant.pair")
    changes = [(path, table) for path, table in tables_at(document, "variant.part") if "parts" in table]
    for path, table in tables_at(document, "part"):
        kind = table.get("kind") if table.get("kind") in USUAL_RANGES else "any"
        usual = USUAL_RANGES[kind]
        of = "for any part" if kind == "any" else f"for {a_kind(kind)}"
        # A variant may be that without a spare: its repair waits for the delivery.
        waits = usual | {"mttr_h": (usual["mttr_h"][0], USUAL_RANGES["any"]["mttr_h"][1])}
        for place, numbers, ranges in [(path, table, usual), *(
                (*change, waits) for change in changes if table.get("designation") in change[1]["parts"])]:
            for key, limits in ranges.items():
                yield from _unusual(place, numbers, key, limits, of)
    for of, usual in _TABLE["usual"].items():
        for path, table in pairs if of == "pair" else tables_at(document, of):
            for key, limits in usual.items():
                if (key, table.get(key)) not in (("starts", 0), ("coverage", 0)):
                    yield from _unusual(path, table, key, limits, _TABLE["words"].get(f"{of}.{key}", ""))
    yield from _against_sense(document)
    yield from _against_one_another(document)
    sourced = ("part", "twins", "shared_event", "spare", "mode", "maintenance", "changeover")
    for path, table in [*(each for of in sourced for each in tables_at(document, of)), *pairs]:
        if "found" in (table.get("source"), *table.get("sources", {}).values()) and not table.get("source_note"):
            yield (*path, "source"), "should have a source_note that says where", "none"
    for path, table in tables_at(document, "costs.step"):
        for key in ("cost", "chance"):
            if table.get(key) == 0 and not (key == "cost" and table.get("cost_per_h")):
                yield (*path, key), "should be above 0, for the step never costs", "0"
    for path, table in tables_at(document, "function"):
        free_h, idle_h = 8760 - table.get("hours_per_year", 8760), table.get("idle_h", 0)
        if idle_h > free_h:
            yield ((*path, "idle_h"), f"should be <= {free_h:g}, what hours_per_year leaves of a "
                   "year", f"{idle_h:g}")


def _against_sense(document: dict) -> Wrong:
    """Yield what has the form of a plant file and contradicts itself, or says nothing."""
    for path, table in tables_at(document, "part"):
        mtbf_h, noticed = table.get("mtbf_h", math.inf), table.get("noticed")
        if "alarm" in table and noticed is not None and noticed < 1:
            yield (*path, "alarm"), "should go with noticed = 1, for an alarm tells of every failure", (
                f"{noticed:g}")
        for key, why in (("mttr_h", ""), ("replaced_after_h", ", the mean life"), ("test_interval_h", "")):
            if table.get(key, 0) >= mtbf_h:
                yield (*path, key), f"should be below mtbf_h, {mtbf_h:g}{why}", f"{table[key]:g}"
        for key in ("test_interval_h", "missed"):
            if key in table and noticed == 1:
                yield (*path, key), "should go with noticed below 1, for else no test counts", "1"
        mean_h, mttr_h = table.get("short_cuts", {}).get("mean_h", 0), table.get("mttr_h", math.inf)
        if mean_h >= mttr_h:
            yield (*path, "short_cuts"), f"should be shorter than the long ones, {mttr_h:g} h", (
                f"{mean_h:g}")
    own, takes = ({name for _, mode in tables_at(document, "mode") if ("mttr_h" in mode) is its
                   for name in mode.get("parts", ())} for its in (True, False))
    for path, table in tables_at(document, "spare"):
        if idle := [name for name in table.get("parts", ()) if name in own - takes]:
            yield ((*path, "parts"), "should name what fails in a way that takes a spare, a mode without "
                   "mttr_h", ", ".join(idle))
    for path, table in tables_at(document, "part") + tables_at(document, "pair"):
        test_h, late_h = table.get("test_interval_h", 4380), table.get("overhaul_interval_h", math.inf)
        if late_h <= test_h:
            yield (*path, "overhaul_interval_h"), f"should be above test_interval_h, {test_h:g}", f"{late_h:g}"
    for path, table in tables_at(document, "changeover"):
        if table.get("starts", 1) == 1 and "every_h" not in table:
            yield path, "should say starts or every_h, for else it changes nothing", "neither"
    for path, table in tables_at(document, "title_block"):
        if "checker" in table and table["checker"] == table.get("author"):
            yield (*path, "checker"), "should be another one than author", quoted(table["checker"])
    for path, table in tables_at(document, "variant"):
        if table.get("fit") and not table.get("price_per_year"):
            yield path, "should have a price_per_year, for it fits parts that others lack", "none"
    for path, _, (low, high) in ranges_in(document):
        if high > 100 * low > 0:
            yield path, "should have limits less than 100 times apart", quoted([low, high])


def _against_one_another(document: dict) -> Wrong:
    """Yield numbers of several tables that do not go together."""
    parts = {table.get("designation"): table for _, table in tables_at(document, "part")}

    def of(names: Iterable[str], key: str) -> list[float]:
        return [parts[name][key] for name in names if key in parts.get(name, ())]

    for path, table in tables_at(document, "pair"):
        mttr_h = min(of(table.get("units", ()), "mttr_h"), default=math.inf)
        if table.get("restart_h", 0) > mttr_h:
            yield (*path, "restart_h"), f"should be at most mttr_h of the units, {mttr_h:g}", (
                f"{table['restart_h']:g}")
    for path, table in tables_at(document, "shared_event"):
        mttr_h = max(of(table.get("breaks", ()), "mttr_h"), default=0)
        if table.get("mttr_h", math.inf) < mttr_h:
            yield ((*path, "mttr_h"), f"should not be below that of a part that it breaks, {mttr_h:g}",
                   f"{table['mttr_h']:g}")
    for path, table in tables_at(document, "twins"):
        mtbf_h = of(table.get("parts", ()), "mtbf_h")
        if len({*mtbf_h}) > 1:
            yield path, "should name like parts, with the same mtbf_h", (
                f"{min(mtbf_h):g} and {max(mtbf_h):g}")
    shares: dict[str, list[tuple[tuple, float]]] = {}
    for path, table in tables_at(document, "mode"):
        for name in table.get("parts", ()):
            shares.setdefault(name, []).append((path, table.get("share", math.nan)))
    for name, ways in shares.items():
        whole = math.fsum(share for _, share in ways)
        if not math.isclose(whole, 1, abs_tol=0.02):
            yield ((*ways[-1][0], "share"), f"should make 1 with the other modes of {name}, "
                   "for they are all of its failures", f"{whole:g} in all")
    due: set[tuple] = set()
    for path, table in tables_at(document, "costs.step"):
        when = table.get("function"), table.get("longer_than_min")
        if None not in when and when in due:
            yield path, "should be due at another time than the step before, for steps add up", (
                f"{when[1]:g} min of {when[0]} twice")
        due.add(when)


def _unusual(path: tuple, table: Mapping, key: str, usual: tuple[float, float], of: str = ""
             ) -> Wrong:
    """Yield a number outside what is usual, with its range, and as which unit it would lie in it."""
    value, (low, high) = table.get(key), usual
    if value is None or low <= value <= high:
        return
    words = f"is usually {low:g} to {high:.15g} {of}".strip()
    low_high = _TABLE["meant"].get(key.rpartition("_")[2], {})
    meant = next((f"; {value:g} {unit} would be {value * times:.6g}"
                  for unit, times in low_high.get("low" if value < low else "high", {}).items()
                  if value > 0 and low <= value * times <= high), "")
    yield (*path, key), f"{words} (common practice{meant})", f"{value:g}"
