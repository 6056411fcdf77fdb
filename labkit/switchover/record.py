"""The record of the pair as a table in a file, for a spreadsheet."""

from collections.abc import Iterable
from pathlib import Path

from labkit.switchover.roles import Entry
from labkit.writing import csv_text, write_new

HEADS = ("time_s", "who", "what", "from", "to", "why")


def record_csv(record: Iterable[Entry]) -> str:
    """Return a record as the text of a CSV file, with a line of headings.

    Parameters
    ----------
    record : iterable of Entry
        Oldest first.

    Returns
    -------
    str
        Commas between fields, times in s with a decimal point, lines ended as RFC 4180 says.

    References
    ----------
    RFC 4180, "Common Format and MIME Type for Comma-Separated Values (CSV) Files", 2005.

    >>> record_csv([Entry(5, "KF1", "role", "active", "off", "No supply.")]).splitlines()
    ['time_s,who,what,from,to,why', '0.005,KF1,role,active,off,No supply.']
    """
    return csv_text([HEADS, *(
        (f"{entry.time_ms / 1000:.3f}", entry.who, entry.what, entry.old, entry.new, entry.why)
        for entry in record)], end="\r\n")


def save_record(record: Iterable[Entry], folder: str | Path = ".", stem: str = "record") -> Path:
    """Write a record into a new CSV file; a file that is there already is never written over.

    Parameters
    ----------
    record : iterable of Entry
        Oldest first.
    folder : str or Path
        Where to; in a notebook the default is the folder of the notebook.
    stem : str
        The file is called so, and where the name is taken with the next free number.

    Returns
    -------
    Path
        The file, as a whole path.

    Raises
    ------
    OSError
        When the folder cannot be written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [save_record([], folder).name for _ in range(2)]
    ['record.csv', 'record-2.csv']
    """
    # Some spreadsheets take a file for UTF-8 only by its mark at the beginning.
    return write_new(Path(folder).resolve(), f"{stem}.csv", record_csv(record), "utf-8-sig")
