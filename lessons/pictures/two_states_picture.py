"""Still pictures of the first lesson as SVG text, and the words that stand for them."""

from dataclasses import dataclass

from labkit.arguments import positive
from labkit.wording import shown
from lessons.pictures.look import markup
from lessons.pictures.svg import captioned, text_width


@dataclass(frozen=True)
class Picture:
    """A picture and its words; a notebook shows the one or the other.

    Parameters
    ----------
    svg : str
        SVG text with a title.
    words : str
        What the picture shows.

    >>> Picture("<svg></svg>", "Two states.")
    Two states.
    """

    svg: str
    words: str

    def __repr__(self) -> str:
        return self.words

    def _repr_html_(self) -> str:
        return self.svg


def two_states_picture(name: str, *, mtbf_h: float, mttr_h: float) -> Picture:
    """Draw the two states of one part and the rates between them.

    Parameters
    ----------
    name : str
        What the part is called.
    mtbf_h : float
        Mean operating time between failures in hours, > 0.
    mttr_h : float
        Mean time to restoration in hours, > 0.

    Returns
    -------
    Picture
        Two boxes, "up" and "down", and an arrow each way.

    Raises
    ------
    ValueError
        Where a time is not above zero.

    Examples
    --------
    >>> two_states_picture("pump", mtbf_h=500, mttr_h=4)
    pump goes from up to down at 1/500 h and from down to up at 1/4 h.
    """
    positive("mtbf_h", mtbf_h)
    positive("mttr_h", mttr_h)
    fails, comes_back = f"1/{shown(mtbf_h)} h", f"1/{shown(mttr_h)} h"
    words = f"{name} goes from up to down at {fails} and from down to up at {comes_back}."
    wide = max(150.0, *(text_width(said, 19) + 16 for said in (f"{name} runs", "is restored", "down")))
    drawn = markup(__file__, name=name, wide=wide, fails=fails, comes_back=comes_back)
    return Picture(captioned(__file__, "lk-states", f"{340 + 2 * wide:g} 190", words, drawn), words)
