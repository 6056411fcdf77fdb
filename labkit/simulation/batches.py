"""Do independent work in batches: on several cores, with progress, stoppable, reproducible.

How the work is cut depends on the work and the seed, never on the number of cores or on time. So
the same seed gives the same result on any machine.
"""

import os
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from labkit.arguments import written

_QUIET_S = 2.0


def run_batches(
    work: Callable[[int, np.random.Generator], Any],
    lives: int,
    rng: np.random.Generator,
    *,
    events: int,
    width: tuple[int, int],
    progress: Callable[[int, int], object] | str | None,
    workers: int | None,
) -> list:
    """Return what `work(count, rng)` gives, batch by batch, until `lives` are done or it is stopped.

    Each result must have a field `events`.

    Parameters
    ----------
    work : callable
        Does `count` lives with a generator of its own.
    lives : int
        Lives asked for, >= 1.
    rng : numpy.random.Generator
        Has a child for each batch.
    events : int
        What a batch should come to. The first batch is as narrow as possible and tells how many
        lives that is.
    width : (int, int)
        The fewest and the most lives of a batch.
    progress, workers
        As for `labkit.simulation.runs.simulate_chain`.
    """
    show = _Bar() if isinstance(progress, str) and progress == "bar" else progress
    if not (show is None or callable(show)):
        raise TypeError(f'progress must be callable, "bar" or None, got {written(progress)}')
    workers = os.cpu_count() or 1 if workers is None else workers
    least, most = width
    first = min(least, lives)
    results = [work(first, *rng.spawn(1))]
    done, left = first, lives - first
    if left:
        per_life = max(results[0].events / first, 1.0)
        size = int(min(max(events / per_life, least), most))
        sizes = _sizes(left, size)
        keep_on = show is None or show(first, lives) is not False
        try:
            if keep_on:
                for count, result in _in_order(work, sizes, rng.spawn(len(sizes)), workers):
                    results.append(result)
                    done += count
                    if show is not None and show(done, lives) is False:
                        break
        except KeyboardInterrupt:
            # the part that is done is a result, with wider limits
            pass
    if isinstance(show, _Bar):
        show.close()
    return results


def _sizes(lives, size):
    """Cut lives into like batches of about a size, in fours, so that no core is left waiting."""
    batches = -(-lives // size)
    if batches > 1:
        batches = min(-(-batches // 4) * 4, lives)
    whole, more = divmod(lives, batches)
    return [whole + 1] * more + [whole] * (batches - more)


def _in_order(work, sizes, generators, workers):
    """Yield (count, result) of each batch in order, on several threads where that pays."""
    tasks = zip(sizes, generators, strict=True)
    if workers == 1 or len(sizes) == 1:
        for count, generator in tasks:
            yield count, work(count, generator)
        return
    from collections import deque
    from concurrent.futures import ThreadPoolExecutor

    pool = ThreadPoolExecutor(workers)
    try:
        waiting = deque()
        for count, generator in tasks:
            waiting.append((count, pool.submit(work, count, generator)))
            # no more ahead than keeps all cores busy, so that a stop comes soon
            if len(waiting) > 2 * workers:
                done, future = waiting.popleft()
                yield done, future.result()
        while waiting:
            done, future = waiting.popleft()
            yield done, future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Bar:
    """Draw a bar on stderr for work of more than two seconds."""

    def __init__(self):
        self._begun_s = time.monotonic()
        self._drawn = False

    def __call__(self, done, lives):
        if time.monotonic() - self._begun_s > _QUIET_S:
            full = 30 * done // lives
            bar = "#" * full + "." * (30 - full)
            sys.stderr.write(f"\r[{bar}] {done} of {lives} lives; interrupt keeps these")
            sys.stderr.flush()
            self._drawn = True

    def close(self):
        if self._drawn:
            sys.stderr.write("\n")
