"""The catalogue of a language: a file of gettext, read by Babel as it stands.

No compiled copy lies beside it: reading takes some tenths of a second, once, and a second copy
could differ from the first.
"""

import functools
import io

from babel.messages.catalog import Catalog
from babel.messages.pofile import PoFileError, read_po

from labkit.reading import read_utf8
from lessons.language import FOLDER, languages
from lessons.language.turning import PLACE, Turner

# A text can be split at each of them in many ways, and all are tried.
MOST_BETWEEN, MOST_SHORT = 5, 2


def catalogue_of(name: str) -> Catalog:
    """Read the catalogue of a language, or a file of one's own that ends with ``.po``."""
    own = name.endswith(".po")
    if not own and name not in languages()[1:]:
        raise ValueError(f"language must be one of {', '.join(languages())}, got {name!r}")
    try:
        text = read_utf8(name if own else FOLDER / f"{name}.po")
        catalogue = read_po(io.StringIO(text.removeprefix("\ufeff")), abort_invalid=True)
    except (ValueError, LookupError, AttributeError, TypeError, PoFileError) as problem:
        raise ValueError(f"{name} must be a catalogue of gettext in UTF-8, got: {problem}") from None
    if catalogue.locale is None:
        raise ValueError(f"{name} must say in its head which language it is, as in Language: de")
    return catalogue


@functools.cache
def turner_of(name: str) -> Turner:
    """Return what turns texts into a language; an unsure entry is none."""
    catalogue = catalogue_of(name)
    entries = {message.id: message.string for message in catalogue
               if message.id and message.string and not message.fuzzy}
    for said in entries:
        between = PLACE.split(said)[1:-1]
        if len(between) > MOST_BETWEEN or sum(len(each) < 4 for each in between) > MOST_SHORT:
            raise ValueError(f"{name}: between its places a sentence must have at most {MOST_BETWEEN} "
                             f"texts, and at most {MOST_SHORT} of less than 4 letters, "
                             f"got {said[:60]!r}")
    return Turner(entries, catalogue.locale.number_symbols["latn"]["decimal"],
                  str(catalogue.locale).replace("_", "-"))
