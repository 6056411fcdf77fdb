"""Other languages: a catalogue of gettext, and the edges at which English is turned into one.

Rooms inside know English only. What leaves for a page goes through :mod:`.edges`, which hands it to
:mod:`.turning`; notebooks are turned when they are laid, by :mod:`.notebooks`.
"""

from pathlib import Path

FOLDER = Path(__file__).resolve().parent
VARIABLE = "WORKBOOK_LANGUAGE"


def languages() -> list[str]:
    """Return the languages that can be asked for, English first."""
    return ["en", *sorted(path.stem for path in FOLDER.glob("*.po"))]
