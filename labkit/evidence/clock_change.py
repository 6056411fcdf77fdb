"""Local time with summer time: how long it really took between two entries of a log.

Logs are written in local time. On the last Sunday of October one hour comes twice, on the last
Sunday of March one hour is missing (rule of the European Union since 1996, from memory). Nothing
here needs a table of time zones: the difference to winter time is all that matters.
"""

from datetime import datetime, timedelta

HOUR = timedelta(hours=1)


def _last_sunday(year: int, month: int) -> datetime:
    last = datetime(year, month, 31)
    return last - timedelta(days=(last.weekday() + 1) % 7)


def summer_time(year: int) -> tuple[datetime, datetime]:
    """Return when summer time begins and ends, in local time before the change.

    Returns
    -------
    (datetime, datetime)
        Clocks go from 2 to 3 o'clock at the first, from 3 back to 2 at the second.

    >>> [str(moment) for moment in summer_time(2031)]
    ['2031-03-30 02:00:00', '2031-10-26 03:00:00']
    """
    return _last_sunday(year, 3) + 2 * HOUR, _last_sunday(year, 10) + 3 * HOUR


def is_repeated(local: datetime) -> bool:
    """Say whether a local time comes twice.

    >>> is_repeated(datetime(2031, 10, 26, 2, 30)), is_repeated(datetime(2031, 10, 26, 3, 0))
    (True, False)
    """
    end = summer_time(local.year)[1]
    return end - HOUR <= local < end


def is_missing(local: datetime) -> bool:
    """Say whether a local time never comes.

    >>> is_missing(datetime(2031, 3, 30, 2, 30))
    True
    """
    begin = summer_time(local.year)[0]
    return begin <= local < begin + HOUR


def elapsed_h(local: datetime, *, year: int, second_pass: bool = False,
              changes: bool = True) -> float:
    """Return the hours that have really passed since the year began.

    Parameters
    ----------
    local : datetime
        Local time as written.
    year : int
        The year that is counted from.
    second_pass : bool
        Of an hour that comes twice, take the second.
    changes : bool
        False for a clock that keeps winter time all year.

    Returns
    -------
    float
        Hours, below 0 for a time before that year.

    >>> first = elapsed_h(datetime(2031, 10, 26, 2, 30), year=2031)
    >>> elapsed_h(datetime(2031, 10, 26, 2, 30), year=2031, second_pass=True) - first
    1.0
    """
    winter = local
    if changes:
        begin, end = summer_time(local.year)
        # a clock that shows a time that never comes was set late: it still shows winter time
        if begin + HOUR <= local < end and not (second_pass and is_repeated(local)):
            winter = local - HOUR
    return (winter - datetime(year, 1, 1)) / HOUR
