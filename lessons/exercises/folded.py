"""What a cell prints, folded: running a cell in JupyterLab opens an output that was closed."""

import contextlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape


@contextlib.contextmanager
def folded(title: str = "Worked answers") -> Iterator[None]:
    """Keep what is printed under a title until the reader opens it.

    Parameters
    ----------
    title : str, optional
        What stands there before; a click or Enter opens it.

    Raises
    ------
    Exception
        What the lines within raise, after what they had printed.

    Notes
    -----
    Where no page shows it, the text stands open.

    Examples
    --------
    >>> with folded():
    ...     print("1. 35 min a year")
    1. 35 min a year
    """
    from IPython.display import display

    said = io.StringIO()
    try:
        with contextlib.redirect_stdout(said):
            yield
    finally:
        display(_Printed(title, said.getvalue().rstrip("\n")))


@dataclass(frozen=True)
class _Printed:
    title: str
    text: str

    def __repr__(self) -> str:
        return self.text

    def _repr_html_(self) -> str:
        # Else JupyterLab takes keys that are pressed there for its cells.
        return (f"<details><summary data-lm-suppress-shortcuts='true'>{escape(self.title)}</summary>"
                f"<pre><samp>{escape(self.text)}</samp></pre></details>")
