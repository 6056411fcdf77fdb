"""A year of records: an invented log, a reader for logs, cleaning with reasons, and results.

`example_year` makes the log, `read_log` and `write_log` carry it to and from a file, `clean`
decides what each row is worth and says why, `analyse` turns the rest into numbers with limits.
"""

from labkit.records.analysis import FunctionLoss, KindFigures, SilentWindow, YearFigures, analyse
from labkit.records.cleaning import CleanLog, CleanRow, Decision, clean
from labkit.records.example_year import example_year
from labkit.records.log import COLUMNS, LogFile, LogRow, log_page, read_log, write_log

__all__ = [
    "COLUMNS",
    "CleanLog",
    "CleanRow",
    "Decision",
    "FunctionLoss",
    "KindFigures",
    "LogFile",
    "LogRow",
    "SilentWindow",
    "YearFigures",
    "analyse",
    "clean",
    "example_year",
    "log_page",
    "read_log",
    "write_log",
]
