"""Two rigs with the same faults and other settings, row by row: what differs, and by how much."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from html import escape

from labkit.rig.rig import RigView
from labkit.wording import grouped, listed
from lessons.pictures import boards


@dataclass(frozen=True)
class Row:
    """Hold one line of a comparison.

    Parameters
    ----------
    what : str
        What is compared, with its unit.
    a, b : str
        How it stands with settings A and with settings B.

    >>> Row("hold_ms", "500", "100").differs
    True
    """

    what: str
    a: str
    b: str

    @property
    def differs(self) -> bool:
        """Whether the two are not the same."""
        return self.a != self.b


def comparison_rows(a: RigView, b: RigView) -> tuple[Row, ...]:
    """Return what two rigs have come to, row by row.

    Parameters
    ----------
    a, b : RigView
        Of rigs of one plant, on which the same was done.

    Returns
    -------
    tuple of Row
        First the settings that differ, then what came of it.

    >>> from labkit.rig.rig import Rig
    >>> from labkit.switchover.settings import PairSettings
    >>> rows = comparison_rows(Rig().view(), Rig(settings=PairSettings(hold_ms=100)).view())
    >>> [row.what for row in rows if row.differs]
    ['setting hold_ms']
    """
    rows = [Row(f"setting {each.name}", _plain(getattr(a.settings, each.name)),
                _plain(getattr(b.settings, each.name)))
            for each in fields(a.settings)
            if getattr(a.settings, each.name) != getattr(b.settings, each.name)]
    told_a, told_b = _told(a), _told(b)
    return (*rows, *(Row(what, told_a[what], told_b[what]) for what in told_a))


def _plain(value: object) -> str:
    if value is None:
        return "none"
    return ("no", "yes")[value] if isinstance(value, bool) else str(value)


def _told(view: RigView) -> dict[str, str]:
    said = dict(view.lines)
    found = {
        "who leads": said["Roles"],
        "control now": said["Control now"],
        "gap": boards.gap_words(view.record, view.snapshot.time_ms) or "no gap so far",
        "alarms": said.get("Alarms", "none"),
    }
    if view.trend is not None:
        found["lowest level [m]"] = f"{view.trend.level_m.min():.3f}"
        found["highest level [m]"] = f"{view.trend.level_m.max():.3f}"
        found["what happened"] = ", ".join(dict.fromkeys(
            happening.name for happening in view.happenings)) or "nothing"
        found["cost of the event"] = f"{view.plant.currency} {grouped(view.event_cost)}"
    return found


def comparison_verdict(rows: Sequence[Row]) -> str:
    """Say in which of what came of it the two differ.

    >>> comparison_verdict([Row("setting hold_ms", "500", "100"), Row("gap", "no", "no")])
    'So far A and B do the same.'
    """
    unlike = [row.what for row in rows if row.differs and not row.what.startswith("setting ")]
    return f"A and B differ: {listed(unlike)}." if unlike else "So far A and B do the same."


def comparison_text(rows: Sequence[Row]) -> str:
    """Return a comparison as text.

    Returns
    -------
    str
        A line for each row; those that differ begin with a mark and say so.

    >>> print(comparison_text([Row("gap", "no", "no"), Row("hold_ms", "500", "100")]))
      gap: A and B: no
    * hold_ms differs: A: 500 | B: 100
    """
    return "\n".join(
        f"* {row.what} differs: A: {row.a} | B: {row.b}" if row.differs else
        f"  {row.what}: A and B: {row.a}" for row in rows)


def comparison_html(rows: Sequence[Row]) -> str:
    """Return a comparison as a table.

    Returns
    -------
    str
        HTML; a row that differs carries a word for it, not a colour alone.

    >>> comparison_html([Row("hold_ms", "500", "100")]).count("differs")
    1
    """
    drawn = "".join(
        f'<tr{" class=lk-unlike" if row.differs else ""}><th scope="row">{escape(row.what)}</th>'
        f"<td>{escape(row.a)}</td><td>{escape(row.b)}</td>"
        f"<td>{'differs' if row.differs else 'same'}</td></tr>" for row in rows)
    return ('<table class="lk-cmp"><caption>The same faults, two settings</caption><thead><tr>'
            '<th scope="col">what</th><th scope="col">A</th><th scope="col">B</th>'
            f'<th scope="col"></th></tr></thead><tbody>{drawn}</tbody></table>')
