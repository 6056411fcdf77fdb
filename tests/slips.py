"""How many typical slips are named, and how many right answers accepted: a table by lesson.

    python -m tests.slips            all numbers and cells, 60 draws
    python -m tests.slips 10 11      some lessons, each question that stays below nine in ten
    python -m tests.slips 01-drill   one item, with what was not named
    python -m tests.slips --held     each near miss has a reply of its own, over 200 draws
    python -m tests.slips --typed    answers as they are typed: right ones refused, wrong ones taken
    python -m tests.slips --read 200 replies to read aloud

The slips stand in ``slips.toml``, written by hand as people make them, the typed answers in
``typed_answers.toml``.
"""

import fnmatch
import math
import random
import re
import sys
import time
import tomllib
from collections import Counter, defaultdict
from pathlib import Path

from labkit.wording import shown
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import REGISTER
from lessons.exercises.quantities import unit
from lessons.exercises.replies import Verdict

SLIPS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text("utf-8"))
TYPED = tomllib.loads(Path(__file__).with_name("typed_answers.toml").read_text("utf-8"))
NUMBERS = [f"{place:02}" for place in range(1, 13)]
DRAWS = 60
ALSO = {"Y": 8760.0, "math": math, "abs": abs, "max": max, "min": min, "sum": sum}
UNNAMED = ("far: many", "far: by", "far: sign", "far: nothing", "kind of unit", "rounded", "figures")
NUMBER = r"\d(?:[\d.\u202f]*\d)?(?:e[-+]\d+)?"
YEARLY = {"min/a": "min", "h/a": "h", "EUR/a": "EUR"}


def asked(number):
    """Return each numeric item and cell of a lesson, with the item that it belongs to."""
    return [(item, cell) for item in lesson_of(f"{number}-").items
            for cell in item.numeric_parts()]


def draws(number, item, most=DRAWS):
    """Yield different sets of numbers of an item, those of the plant first."""
    lesson, seen = lesson_of(f"{number}-"), set()
    for seed in range(most):
        numbers = lesson.numbers(item.case, seed)
        if id(numbers) not in seen:
            seen.add(id(numbers))
            yield seed, numbers


def slips_for(cell):
    """Return the slips written for an item, as lines over its numbers."""
    found = [lines for name, lines in SLIPS.items()
             if name == cell.id or ("*" in name and fnmatch.fnmatchcase(cell.id, name))]
    return found[0] if found else []


def values_of(cell, numbers):
    """Yield the slips that differ from the right value when they are written with four figures."""
    right = cell.solve(numbers)
    for line in slips_for(cell):
        value = eval(line, ALSO | vars(numbers))
        if math.isfinite(value) and value > 0 and (
                abs(value - right) > max(6e-3, 1.01 * cell.tolerance) * size(cell, right)):
            yield line, value


def size(cell, right):
    """Return what a deviation is compared with."""
    return abs(cell.whole - right) if cell.complement else abs(right)


def written(value, figures=4):
    """Write a number as people do, without a power of ten where it can be."""
    text = f"{value:.{figures}g}"
    return f"{float(text):.0f}" if "e+" in text else text


def written_for(cell, value, figures=4):
    """Write a value of an item; an availability needs the figures behind its nines."""
    if cell.complement and 0 < cell.whole - value < cell.whole / 10:
        places = max(0, figures - 1 - math.floor(math.log10(cell.whole - value)))
        return f"{value:.{places}f}"
    return written(value, figures)


def right_forms(cell, numbers):
    """Yield right answers in the forms in which people write them."""
    right = cell.solve(numbers)
    whole = right == round(right)
    own = cell.unit
    figures = [3, 4, 5] if not (whole and right >= 100) else [12]
    if not cell.is_exact(numbers):
        figures.append(2)
    else:
        figures = [12]
    for each in figures:
        text = written_for(cell, right, each)
        if each < 12 and re.fullmatch(r"(0\.0*)?[1-9](e.*)?", text):
            text = f"{right:#.2g}"  # 3.998 is 4.0, and one figure is not enough
        yield f"{text} {own}"
        if len(text.partition(".")[2]) != 3:
            yield f"about {text} {own}".replace(".", ",")
    yield f"{right!r} {own}"
    yield f"{right:.6e} {own}"
    if own in YEARLY:
        yield f"{written_for(cell, right, 4 if not cell.is_exact(numbers) else 12)} {YEARLY[own]}"
    kind = unit(own).kind
    others = {("time", "time"): ["h/a", "min/a", "s/a"], ("time", ""): ["h", "min", "s", "ms"]}
    given = {(float(value), its.factor) for name, its, value in cell.worked.quantities(numbers)
             if name in cell.told}
    for other in others.get(kind, []):
        value = right * unit(own).factor / unit(other).factor
        if (value, unit(other).factor) in given:  # written off, and not worked out
            continue
        yield f"{written(value, 12 if abs(value - round(value)) < 1e-9 else 4)} {other}"
    if own == "%":
        yield repr(right / 100)
        if cell.shows_unit:
            yield written_for(cell, right, 4)
    if cell.shows_unit:
        yield repr(right)


def measure(number, most=DRAWS):
    """Return the counts of each numeric question of a lesson, and what was missed."""
    counts, missed = {}, []
    for item, cell in asked(number):
        count = counts[cell.id] = Counter()
        for seed, numbers in draws(number, item, most):
            for line, value in values_of(cell, numbers):
                said = f"{written_for(cell, value)} {cell.unit}".strip()
                judged = cell.judge(said, numbers, seed, {})
                count["slips"] += 1
                if judged.verdict is Verdict.RIGHT:
                    count["called right"] += 1
                    missed.append((cell.id, seed, said, line, "RIGHT"))
                elif judged.slip and not judged.slip.startswith(UNNAMED):
                    count["named"] += 1
                else:
                    missed.append((cell.id, seed, said, line, judged.shows))
                if re.search(r"\.\d{3}\b", said):  # with a comma it can be another number
                    continue
                again = cell.judge(said.replace(".", ","), numbers, seed, {})
                if again.verdict is not Verdict.UNCLEAR and not set(judged.slip.split(" or ")) & set(again.slip.split(" or ")):
                    count["two replies"] += 1
                    missed.append((cell.id, seed, said, line, f"{judged.slip} / {again.slip}"))
            for said in right_forms(cell, numbers):
                count["forms"] += 1
                judged = cell.judge(said, numbers, seed, {})
                if judged.verdict is Verdict.RIGHT:
                    count["accepted"] += 1
                else:
                    missed.append((cell.id, seed, said, "right form", judged.shows))
    return counts, missed


def not_held(number, item, cell, most):
    """Yield the near misses that are called right, have no reply of their own, or tell the value.

    A given number is not called right either, but where the plant means it so.

    All of them at the plant's numbers, every 37th in each draw.
    """
    entries = {entry.id for entry in REGISTER}
    plant = next(cell.case.draws(0))
    for place, (seed, numbers) in enumerate(draws(number, item, most)):
        right = cell.solve(numbers)
        for slip in cell.met(numbers) - cell.met(plant):
            yield cell.id, seed, slip, "is called right"
        given = re.findall(NUMBER, item.task(numbers, seed))
        found = cell.near_misses(numbers)
        for value, slip in found if place == 0 else found[place % 37::37]:
            apart = max(0.021, 1.01 * cell.tolerance) * size(cell, right)
            if value <= 0 or abs(value - right) <= apart:
                continue
            # Three decimals could be thousands.
            typed = re.sub(r"(\.\d{3})$", r"\g<1>0", f"{value!r}")
            judged = cell.judge(f"{typed} {cell.unit}", numbers, seed, {})
            said = re.findall(NUMBER, judged.shows.replace(typed, ""))
            if judged.verdict is Verdict.RIGHT:
                yield cell.id, seed, slip, "called right"
            elif not judged.slip or judged.slip.startswith("far: "):
                yield cell.id, seed, slip, judged.shows
            elif judged.misconception not in entries | {None}:
                yield cell.id, seed, slip, judged.misconception
            elif not cell.complement and shown(right) in said and shown(right) not in given:
                yield cell.id, seed, slip, judged.shows


CELLS = {cell.id: (number, item, cell) for number in NUMBERS for item, cell in asked(number)}


def typed(most=None, seed=1):
    """Return the counts of answers as they are typed, all or some, and what went wrong."""
    rows = [(name, kind, said) for name, kinds in TYPED.items() for kind, answers in kinds.items()
            for said in answers]
    count, missed = Counter(), []
    for name, kind, said in rows if most is None else random.Random(seed).sample(rows, most):
        number, item, cell = CELLS[name]
        judged = cell.judge(said, lesson_of(f"{number}-").numbers(item.case, 0), 0, {})
        right = judged.verdict is Verdict.RIGHT
        named = bool(judged.slip) and not judged.slip.startswith(UNNAMED)
        count[kind] += 1
        count[f"{kind}, called right"] += right
        count[f"{kind}, named"] += named
        if right != (kind == "right") or (kind == "wrong" and not named):
            missed.append((name, kind, said, judged.shows))
    return count, missed


def row(name, count):
    """Return a line of the table."""
    share, forms = (count[part] / max(1, count[whole])
                    for part, whole in (("named", "slips"), ("accepted", "forms")))
    return (f"{name:24}  {count['slips']:5}  {count['named']:5}  {share:6.1%}  "
            f"{count['called right']:12}  {count['two replies']:11}  {forms:.2%} of "
            f"{count['forms']}")


def table(numbers, most=DRAWS):
    """Yield the table of lessons, and each question below nine in ten in it."""
    yield f"{'lesson':24}  slips  named  share   called right  two replies  forms accepted"
    total = Counter()
    for number in numbers:
        counts = measure(number, most)[0]
        lesson = sum(counts.values(), Counter())
        total += lesson
        yield row(number, lesson)
        yield from (row(f"  {name}", count) for name, count in counts.items()
                    if count["named"] < 0.9 * count["slips"])
    if len(numbers) > 1:
        yield row("all", total)


def replies(many, seed=1):
    """Return some replies to typical slips, drawn at random."""
    source, found = random.Random(seed), []
    while len(found) < many:
        number, item, cell = source.choice(list(CELLS.values()))
        draw = source.randrange(DRAWS)
        numbers = lesson_of(f"{number}-").numbers(item.case, draw)
        slips = list(values_of(cell, numbers))
        if slips:
            line, value = source.choice(slips)
            said = f"{written_for(cell, value)} {cell.unit}".strip()
            start = time.perf_counter()
            judged = cell.judge(said, numbers, draw, {})
            took_ms = 1000 * (time.perf_counter() - start)
            found.append(f"{cell.id} ({draw}) {line}\n    {judged.verdict.value}: {judged.shows}"
                         f"   [{judged.misconception}; {judged.slip}; {took_ms:.0f} ms]")
    return "\n".join(found)


def main(words):
    if words[:1] == ["--held"]:
        for number in NUMBERS:
            for item, cell in asked(number):
                print(*not_held(number, item, cell, 200), sep="\n", end="")
    elif words[:1] == ["--typed"]:
        count, missed = typed()
        print(*missed, dict(count), sep="\n")
    elif words[:1] == ["--read"]:
        print(replies(int(words[1])))
    elif words and words[0] not in NUMBERS:
        seen = defaultdict(list)
        for name, seed, said, line, shows in measure(words[0][:2])[1]:
            if fnmatch.fnmatchcase(name, f"{words[0]}*"):
                seen[name, line].append((seed, said, shows))
        for (name, line), cases in seen.items():
            print(f"{len(cases):3} {name}: {line}\n      {cases[0]}")
    else:
        for line in table(words or NUMBERS):
            print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
