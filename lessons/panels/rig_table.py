"""The settled states of a plant with a few faults at once, as the table that a page runs from.

The engine works the table out; the pictures say what is seen. What is alike is kept once, and a
state is written as what differs from the healthy plant.
"""

import json
import os
import sys
import time
from collections.abc import Callable, Collection, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from hashlib import md5
from multiprocessing import get_context

from labkit.arguments import count
from labkit.plant.plant import Plant
from labkit.rig.acts import act_said, rows_of
from labkit.rig.rig import Rig, RigView
from labkit.rig.settled import Act, acts_at, come_to_rest, do, rest, state_key, ways_from
from labkit.switchover.roles import Outputs
from labkit.wording import did_you_mean
from lessons.panels.rig_page import faults_here, page_values, record_row_html
from lessons.pictures.layout import WIDTHS
from lessons.pictures.rig_picture import RigPicture
from lessons.pictures.slots import Values, changed

MOST_FAULTS = 2


class Sight:
    """Say what is seen of an act alone, in pictures of several widths.

    A value that depends on the width of the picture has the width before its name.

    >>> from labkit import load_plant
    >>> healthy = Sight(load_plant()).healthy
    >>> healthy["KF1.role"], healthy["1256 KF10.out.t"], healthy["412 KF10.out.t"]
    ('ACTIVE', 'outputs written', 'written')
    """

    def __init__(self, plant: Plant):
        self.pictures = {width: RigPicture(plant, width) for width in WIDTHS}
        self.view = Rig(plant).view()
        self._plants: dict[str, Values] = {}
        self.healthy = self._page(self.view) | self._plant(self.view) | self._level(self.view)

    def _page(self, view: RigView) -> Values:
        values = page_values(view)
        del values["head.time"]
        if not any(each.what == "outputs" for each in view.record) and \
                set(view.snapshot.outputs.values()) - {Outputs.WRITTEN}:
            values["head.gap"] = "outputs not written, as before"
        return values

    def _plant(self, view: RigView) -> Values:
        key = repr(view.snapshot)
        if key not in self._plants:
            self._plants[key] = self._by_width(
                lambda picture: picture.plant.values(view.snapshot, still=True))
        return self._plants[key]

    def _level(self, view: RigView) -> Values:
        return self._by_width(lambda picture: picture.level(view))

    def _by_width(self, values: Callable[[RigPicture], Values]) -> Values:
        found = {width: values(picture) for width, picture in self.pictures.items()}
        first, *others = found.values()
        same = {key: value for key, value in first.items()
                if all(key in each and each[key] == value for each in others)}
        return same | {f"{width:g} {key}": value for width, own in found.items()
                       for key, value in own.items() if key not in same}

    def values(self, before: RigView, after: RigView) -> tuple[Values, ...]:
        """Return what differs from the healthy plant: in the act, the page, the plant, the level."""
        return tuple(changed(self.healthy, each) for each in (
            {"act": act_said(before, after)}, self._page(after), self._plant(after),
            self._level(after)))


# ------------------------------------------------------------ states, found in several processes

@dataclass
class _Found:
    """Hold the ways from some states, by the keys of these, and what is seen, by its digest."""

    faults: dict[str, tuple[str, ...]] = field(default_factory=dict)
    ways: dict[str, list[tuple]] = field(default_factory=dict)
    paths: dict[str, tuple[Act, ...]] = field(default_factory=dict)
    contents: dict[str, object] = field(default_factory=dict)


class _Finder:
    """Follow the ways of one plant; each process has its own."""

    def __init__(self, plant: Plant, most_faults: int, among: Collection[str]):
        self.plant, self.most_faults, self.among = plant, most_faults, among
        # What outages cost a year is not shown, and would take as long as all the rest.
        self.start = Rig(replace(plant, costs=()))
        come_to_rest(self.start)
        self.order = {name: i for i, name in enumerate(self.start.known_faults)}
        self.sight = Sight(plant)

    def find(self, path: tuple[Act, ...]) -> _Found:
        """Return the ways from the state at the end of a path, and from states one fault further."""
        found, rig = _Found(), self.start.copy()
        # Step by step as it was found: a pair that nobody leads would rest for another time.
        for place, act in enumerate(path):
            if place:
                come_to_rest(rig)
            do(rig, act)
            rest(rig)
        self._follow(rig, path, found)
        return found

    def _follow(self, rig: Rig, path: tuple[Act, ...], found: _Found) -> None:
        key = _digest(state_key(rig))
        come_to_rest(rig)
        found.faults[key], found.ways[key] = rig.faults, []
        found.paths[key] = path
        for way in ways_from(
                rig, acts_at(rig, self.most_faults, self.among), self.plant):
            target = _digest(way.key)
            seen = [self._kept(each, found) for each in self.sight.values(way.before, way.after)]
            rows = [self._kept(record_row_html(row), found)
                    for row in reversed(rows_of(way.after.record))]
            found.ways[key].append((way.act, target, seen, rows))
            found.paths.setdefault(target, (*path, way.act))
            # The same two come in two orders: one of them is followed here and now.
            if (len(rig.faults) == 1 and way.act[0] == "on" and target not in found.ways
                    and self.order[rig.faults[0]] < self.order[way.act[1]]):
                self._follow(way.rig, (*path, way.act), found)

    @staticmethod
    def _kept(content: object, found: _Found) -> str:
        name = _digest(json.dumps(content))
        found.contents[name] = content
        return name


def _digest(words: str) -> str:
    return md5(words.encode(), usedforsecurity=False).hexdigest()


_finder: _Finder | None = None


def _begin(*arguments: object) -> None:
    global _finder
    _finder = _Finder(*arguments)


def _find(path: tuple[Act, ...]) -> _Found:
    return _finder.find(path)


@contextmanager
def _finders(processes: int, *arguments: object) -> Iterator[Callable[..., Iterable[_Found]]]:
    """Give what finds the ways from many paths, in several processes where these can be forked."""
    if processes == 1 or not sys.platform.startswith("linux"):
        yield partial(map, _Finder(*arguments).find)
        return
    # a plant cannot be sent to a process; a fork has it already
    with ProcessPoolExecutor(processes, get_context("fork"), _begin, arguments) as pool:
        yield partial(pool.map, _find)


def _found(plant: Plant, most_faults: int, among: Collection[str], say: Callable[[str], None],
           processes: int) -> tuple[str, _Found]:
    """Return the key of the healthy state, and everything that is found from it."""
    whole, first = _Found(), None
    begun = said = time.monotonic()
    todo: list[tuple[Act, ...]] = [()]
    with _finders(processes, plant, most_faults, among) as find:
        while todo:
            for piece in find(todo):
                first = first or next(iter(piece.ways))
                for name in ("faults", "ways", "contents"):
                    getattr(whole, name).update(getattr(piece, name))
                for key, path in piece.paths.items():
                    whole.paths.setdefault(key, path)
                now = time.monotonic()
                if now - said > 2:
                    said = now
                    say(f"{len(whole.ways)} states, {sum(map(len, whole.ways.values()))} ways "
                        f"after {now - begun:.0f} s")
            todo = [path for key, path in whole.paths.items() if key not in whole.ways]
    return first, whole


def rig_table(plant: Plant, *, most_faults: int = MOST_FAULTS, among: Collection[str] = (),
              say: Callable[[str], None] = lambda _: None, processes: int | None = None) -> dict:
    """Return the table of a plant, ready to be written as JSON.

    Parameters
    ----------
    most_faults : int
        How many faults are on at once at most, 0 to `MOST_FAULTS`.
    among : collection of str
        Ids of the faults that can be switched on; all of the plant where it is empty.
    say : callable
        Is told every two seconds how far it is.
    processes : int, optional
        As many as there are processors, where it is left out; one where they cannot be forked.

    Returns
    -------
    dict
        "healthy": slot to value. "slots", "words", "sets": a set holds numbers of slots and of
        their words in turn. "rows": rows of the record. "faults": what can be switched on.
        "states": of each the numbers of its faults, then its ways: number of the act, number of
        the state it leads to, the sets that are seen, the rows. The acts are numbered: faults on,
        faults off, the switchover by hand, all off. The first state is the healthy plant.
    """
    most_faults = count("faults", most_faults, most=MOST_FAULTS)
    every = Rig(plant).known_faults
    for name in sorted(set(among) - set(every)):
        raise ValueError(f"fault must be one of the plant's, got {name!r}"
                         f"{did_you_mean(name, every)}")
    known = {name: each for name, each in every.items() if not among or name in among}
    sight = Sight(plant)
    first, found = _found(plant, most_faults, among, say, processes or os.cpu_count() or 1)
    number = {name: i for i, name in enumerate(known)}
    acts: dict[Act, int] = {act: place for place, act in enumerate((
        *(("on", name) for name in known), *(("off", name) for name in known),
        ("role change", ""), ("all off", "")))}
    keys = sorted(found.ways, key=lambda key: key != first)
    places = {key: i for i, key in enumerate(keys)}
    slots, words, sets, rows = _Numbered(), _Numbered(), _Numbered(), _Numbered()

    def set_of(name: str) -> int:
        return sets[tuple(number for slot, value in found.contents[name].items()
                          for number in (slots[slot], words[value]))]

    states = [
        [[number[each] for each in found.faults[key]],
         *([acts[act], places[target], [set_of(each) for each in seen],
            [rows[found.contents[each]] for each in said]]
           for act, target, seen, said in found.ways[key])]
        for key in keys]
    return {
        "healthy": sight.healthy, "slots": [*slots], "words": [*words], "sets": [*sets],
        "rows": [*rows], "states": states, "most": most_faults,
        "faults": faults_here(known),
    }


class _Numbered(dict):
    """Number things as they come."""

    def __missing__(self, key: object) -> int:
        self[key] = number = len(self)
        return number
