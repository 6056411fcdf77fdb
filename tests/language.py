"""Catalogues of other languages: what is to be said, and what is wrong with how it is said.

    python -m tests.language extract de     new sentences and their places into the catalogue
    python -m tests.language check de       all that is wrong, after all of the lessons was gone through
    python -m tests.language pseudo long    a language to try pictures with: twice as long, or rtl
"""

import difflib
import re
import sys
from collections import Counter
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from lessons.language import FOLDER
from lessons.language.catalogue import catalogue_of, turner_of
from lessons.language.turning import PLACE, Turner
from tests.language_sources import ROOT, all_templates, item_templates, notebook_templates

LESSONS = ("01", "04")
COMPOSED = "put together in the code"
ENGLISH = set("the and of is are were with which that for it its to from not be what who when "
              "how does one two each has have".split())
QUOTED = re.compile(r"`[^`]*`|'[^']*'|\([^()\s]*\)|https?:\S+|\{[^{}]*\}")
CODE = re.compile(r"`[^`]+`|\$[^$]+\$|\]\([^)\s]*")
MOST_LETTERS = {"button": 40, "word over a narrow column": 11, "prompt in a narrow cell": 8,
                "prompt before a box": 8, "words of a lamp": 18}


def needed(number):
    """Yield what a lesson says by itself: its notebook and its items, each text with its place."""
    [path] = (ROOT / "lessons").glob(f"{number}_*.ipynb")
    yield from notebook_templates(path)
    yield from item_templates(number)


def findings(catalogue):
    """Return all that is wrong in a catalogue, each in one line."""
    found = []
    for message in catalogue:
        if not (said := message.id):
            continue
        turned = message.string
        wrong = ["untranslated"] if not turned else ["unsure"] if message.fuzzy else [
            *(["names in braces differ"] if {*PLACE.findall(said)} != {*PLACE.findall(turned)} else []),
            *(["code or links differ"] if Counter(CODE.findall(said)) != Counter(CODE.findall(turned))
              else []),
            *(["numbers differ"] if numbers(said) != numbers(turned) else []),
            *([f"English in it: {' '.join(sorted(mixed))}"] if (mixed := english(said, turned)) else []),
        ]
        found += [f"{each}: {said!r}" for each in wrong]
    return found


def numbers(text):
    """Return the digits of a text, in order, whatever stands before decimals."""
    return sorted(re.findall(r"\d+(?:\.\d+)?", re.sub(r"(?<=\d),(?=\d)", ".", PLACE.sub("", text))))


def english(said, turned):
    """Return the English words of a sentence that stand in its translation too."""
    words = [{*re.findall(r"[^\W\d_]+", QUOTED.sub(" ", text))} for text in (said, turned)]
    return words[0] & words[1] & ENGLISH


def missing(catalogue, number):
    """Return what a lesson says by itself and the catalogue does not hold, with its place."""
    return [f"{place}: {text!r}" for text, place in needed(number) if not catalogue.get(text)]


def too_long(labels):
    """Return the labels that are too long for their place, each with its kind."""
    return [f"{kind}: {text!r}" for kind, text in sorted(labels) if len(text) > MOST_LETTERS[kind]]


def extract(name):
    """Write what is new into a catalogue, with the places of all; a changed sentence is unsure."""
    from tests.language_tour import go_through

    catalogue = catalogue_of(name)
    places = {}
    for number in LESSONS:
        for text, place in needed(number):
            places.setdefault(text, place)
    everywhere = {}
    for text, place in all_templates():
        everywhere.setdefault(text, place)
    turner = turner_of(name)
    for number in LESSONS:
        go_through(number, turner)
    # What a sentence is made of that cannot be said yet.
    english = Turner({text: text for text in everywhere}, ".")
    for text in turner.missed:
        english(text)
    old = {m.id for m in catalogue if m.id}
    gone = [text for text in old if text not in everywhere and text not in places
            and re.match(r"lesson_|\d\d_", catalogue[text].auto_comments[0])]
    fresh = Catalog(locale=name, charset="utf-8")
    for text in [*places, *sorted(english.used), *(m.id for m in catalogue if m.id)]:
        if text in fresh or text in gone:
            continue
        near = [] if text in old else difflib.get_close_matches(text, gone, n=1)
        known = catalogue.get(near[0] if near else text)
        fresh.add(text, known.string if known else "", flags=["fuzzy"] if near else (),
                  auto_comments=[places.get(text) or everywhere.get(text, COMPOSED)])
    write(fresh, FOLDER / f"{name}.po")
    print(f"{len(fresh)} sentences, {sum(not m.string for m in fresh if m.id)} of them not translated")


def write(catalogue, path):
    """Write a catalogue so that a change of it shows as itself."""
    with path.open("wb") as file:
        write_po(file, catalogue, width=100, omit_header=False, include_lineno=False)
    text = path.read_text("utf-8")
    head = ('# The workbook in another language; the English of a sentence is its id.\n'
            'msgid ""\nmsgstr ""\n"Language: %s\\n"\n"Content-Type: text/plain; charset=utf-8\\n"\n'
            % catalogue.locale_identifier)
    path.write_text(head + text[text.index("\n\n"):].lstrip("\n").join(("\n", "")), "utf-8")


def check(name):
    """Print all that is wrong; return 1 where something is."""
    from tests.language_tour import go_through

    catalogue, turner = catalogue_of(name), turner_of(name)
    wrong = findings(catalogue)
    for number in LESSONS:
        wrong += missing(catalogue, number)
        labels = go_through(number, turner)
        wrong += [f"too long for a {label}" for label in too_long(labels)]
    wrong += [f"cannot be looked up: {text!r}" for text in sorted(turner.missed)]
    print(*wrong, sep="\n")
    print(f"{len(catalogue)} sentences, wrong: {len(wrong)}")
    return int(bool(wrong))


def pseudo(kind):
    """Return a catalogue that only looks like a language: twice as long, or from right to left."""
    made = Catalog(locale="en" if kind == "long" else "ar", charset="utf-8")
    for message in catalogue_of("de"):
        if message.id:
            made.add(message.id, pseudo_text(message.id, kind))
    return made


def pseudo_text(text, kind):
    """Return a sentence with marks around it, so that it is seen that it was looked up."""
    if kind == "long":
        bare = CODE.sub("", PLACE.sub("", text))
        return f"⟦{text}{'·' * len(bare)}⟧"
    return f"⟦\u2067{text}\u2069⟧"


def main(do, name):
    if do == "extract":
        extract(name)
    elif do == "pseudo":
        path = Path(f"pseudo_{name}.po")
        write(pseudo(name), path)
        print(f"{path}: WORKBOOK_LANGUAGE={path.resolve()}")
    else:
        return check(name)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
