"""Pictures drawn once: a template with named slots, and the values that fill them.

A slot is an element with a name (`data-s`). A value belongs to the words of a slot (its key is the
name) or to one of its attributes (name, "@", attribute): its class where no attribute is named,
and what is inside, as markup, by "html". A still picture is a template with its
values in it; a page that shows a state in motion gets the template once, then what has changed.
"""

import re
from collections.abc import Mapping
from html import escape

Values = dict[str, str]

_ELEMENT = re.compile(r'<(\w+)((?: [\w-]+="[^"]*")*) data-s="([^"]*)"((?: [\w-]+="[^"]*")*)>'
                      r"(?:[^<]*(</))?")


def slot(tag: str, name: str, words: str = "", **attributes: object) -> str:
    """Return an element with a name; attributes end in `_` where Python has the word itself.

    >>> slot("text", "KF1.role", "ACTIVE", x=3)
    '<text data-s="KF1.role" x="3">ACTIVE</text>'
    """
    return f"<{tag} {_written(name, attributes)}>{escape(words, quote=False)}</{tag}>"


def group(name: str, inside: str, *, tag: str = "g", **attributes: object) -> str:
    """Return a group of elements with a name; only its attributes are slots.

    >>> group("KF1", "<rect/>", class_="part")
    '<g data-s="KF1" class="part"><rect/></g>'
    """
    return f"<{tag} {_written(name, attributes)}>{inside}</{tag}>"


def _written(name: str, attributes: Mapping[str, object]) -> str:
    more = "".join(f' {key.rstrip("_").replace("_", "-")}="{escape(_short(value))}"'
                   for key, value in attributes.items())
    return f'data-s="{escape(name)}"{more}'


def _short(value: object) -> str:
    return f"{round(value, 1):g}" if isinstance(value, float) else str(value)


def filled(template: str, values: Mapping[str, str]) -> str:
    """Return a template with its values in it.

    >>> filled('<text data-s="a" class="q">old</text>', {"a": "new", "a@": "b"})
    '<text data-s="a" class="b">new</text>'
    """
    sorted_out: dict[str, dict[str, str]] = {}
    for key, value in values.items():
        name, at, attribute = key.partition("@")
        sorted_out.setdefault(escape(name), {})[attribute or at and "class"] = value

    def put(found: re.Match) -> str:
        mine = sorted_out.get(found[3])
        if mine is None:
            return found[0]
        attributes = dict(re.findall(r'([\w-]+)="([^"]*)"', found[4]))
        attributes |= {key: escape(value) for key, value in mine.items()
                       if key not in ("", "html")}
        head = f'<{found[1]}{found[2]} data-s="{found[3]}"' + "".join(
            f' {key}="{value}"' for key, value in attributes.items()) + ">"
        if found[5] and ("" in mine or "html" in mine):
            inside = mine["html"] if "html" in mine else escape(mine[""], quote=False)
            return f"{head}{inside}</"
        return head + found[0][found[0].index(">", found.end(4) - found.start()) + 1:]

    return _ELEMENT.sub(put, template)


def changed(before: Mapping[str, str], after: Mapping[str, str]) -> Values:
    """Return the values that are new or other than before.

    >>> changed({"a": "1", "b": "2"}, {"a": "1", "b": "3", "c": "4"})
    {'b': '3', 'c': '4'}
    """
    return {key: value for key, value in after.items() if before.get(key) != value}
