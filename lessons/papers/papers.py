"""The papers around a pair, each made from the plant file by one call.

=================== ========================================================================
name                paper
=================== ========================================================================
failure_modes       what can fail, what that does, and who would notice
switchover_test     what has to come out stands in it before anybody tests
fault_finding       from what a person sees to what puts it right
spares_plan         what to keep, how likely it runs out, what it saves
comparison          variants in minutes, outages and money, and what the verdict hangs on
=================== ========================================================================

Each is written as HTML that prints on A4, as Markdown, and as CSV. A filled test sheet is read
back by `lessons.papers.results`.
"""

import datetime
from collections.abc import Iterable
from pathlib import Path

from labkit.plant.plant import Plant
from labkit.switchover.settings import PairSettings
from labkit.wording import did_you_mean
from labkit.writing import write_whole
from lessons.papers.basis import Basis
from lessons.papers.comparison import comparison
from lessons.papers.failure_modes import failure_modes
from lessons.papers.fault_finding import fault_finding
from lessons.papers.paper import Paper
from lessons.papers.spares import spares_plan
from lessons.papers.switchover_sheet import switchover_test

MAKERS = (failure_modes, switchover_test, fault_finding, spares_plan, comparison)
PAPERS = tuple(maker.__name__ for maker in MAKERS)
"""Names of the papers, in the order in which they are made."""


def make_papers(plant: Plant, settings: PairSettings | None = None, *,
                only: Iterable[str] | None = None, date: str | None = None) -> tuple[Paper, ...]:
    """Make the papers of a plant.

    Parameters
    ----------
    plant : Plant
    settings : PairSettings, optional
        Times of the controllers and racks. Default: the invented example, which the papers say.
    only : iterable of str, optional
        Names from `PAPERS`. Default: all.
    date : str, optional
        As it is to stand on the papers. Default: today.

    Returns
    -------
    tuple of Paper
        In the order of `PAPERS`.

    Raises
    ------
    TypeError
        If `only` is a single text.
    ValueError
        If there is no paper of such a name.

    Examples
    --------
    >>> from labkit import load_plant
    >>> papers = make_papers(load_plant("mirelow"), date="2031-05-06")
    >>> [paper.title for paper in papers]  # doctest: +NORMALIZE_WHITESPACE
    ['Failure-mode table', 'Switchover test sheet', 'Fault-finding page',
     'Spare parts and repair times', 'Comparison of variants']
    """
    if isinstance(only, str):
        raise TypeError(f"only must be a collection of names, got {only!r}")
    names = PAPERS if only is None else tuple(only)
    for name in names:
        if name not in PAPERS:
            raise ValueError(f"only must hold names among {', '.join(PAPERS)}, "
                             f"got {name!r}{did_you_mean(name, PAPERS, repr)}")
    basis = Basis(plant, settings, date=date or datetime.date.today().isoformat())
    return tuple(maker(basis) for maker in MAKERS if maker.__name__ in names)


def make_paper(plant: Plant, name: str, settings: PairSettings | None = None, *,
               date: str | None = None) -> Paper:
    """Make one paper of a plant.

    Parameters
    ----------
    plant : Plant
    name : str
        From `PAPERS`.
    settings, date : optional
        As in `make_papers`.

    Returns
    -------
    Paper

    Raises
    ------
    ValueError
        If there is no paper of that name.

    Examples
    --------
    >>> from labkit import load_plant
    >>> paper = make_paper(load_plant("mirelow"), "spares_plan", date="2031-05-06")
    >>> paper.markdown().splitlines()[0]
    '# Spare parts and repair times: Mirelow Mushroom House'
    """
    return make_papers(plant, settings, only=[name], date=date)[0]


def write_papers(plant: Plant, folder: str | Path, settings: PairSettings | None = None, *,
                 only: Iterable[str] | None = None, date: str | None = None,
                 short: bool = False) -> tuple[Path, ...]:
    """Make the papers of a plant and write each as HTML, Markdown and CSV.

    Parameters
    ----------
    plant : Plant
    folder : str or Path
        It is made if it is not there. A filled test sheet in it is never written over: give it a
        name of its own, or this says so.
    settings, only, date : optional
        As in `make_papers`.
    short : bool
        Whether to write the short forms instead, each for one sheet of A4, both sides, as HTML and
        Markdown.

    Returns
    -------
    tuple of Path
        The files, three for each paper, two for each short form.

    Raises
    ------
    ValueError
        If there is no paper of such a name, or a test sheet in the folder has been filled in.
    OSError
        If a file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from labkit import load_plant
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     files = write_papers(load_plant("mirelow"), folder, only=["comparison"])
    >>> [file.name for file in files]
    ['comparison.html', 'comparison.md', 'comparison.csv']
    """
    folder = Path(folder)
    papers = make_papers(plant, settings, only=only, date=date)
    folder.mkdir(parents=True, exist_ok=True)
    if short:
        papers = tuple(paper.short() for paper in papers)
    for paper in papers:
        if paper.name == switchover_test.__name__:
            _refuse_filled(folder / f"{paper.name}.csv")
    written = []
    for paper in papers:
        # A byte order mark tells spreadsheets that the CSV is UTF-8.
        for ending, text, encoding in ((".html", paper.html(), "utf-8"),
                                       (".md", paper.markdown(), "utf-8"),
                                       (".csv", paper.csv(), "utf-8-sig"))[:2 if short else 3]:
            file = folder / f"{paper.name}{ending}"
            written.append(write_whole(file, text, encoding))
    return tuple(written)


def _refuse_filled(sheet: Path) -> None:
    """Refuse to write over a sheet that holds readings."""
    if not sheet.exists():
        return
    from lessons.papers.results import read_results

    try:
        filled = any(each.why != "not done" for each in read_results(sheet).repeats)
    except ValueError:
        filled = True
    if filled:
        raise ValueError(f"folder must hold no filled test sheet, got {sheet}: "
                         "rename it or give another folder")
