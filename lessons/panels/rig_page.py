"""What stands around the picture of the rig: one page of named slots, and their values.

The page is drawn once, as the picture is. What is folded away (cards, the whole record, stories) is
worked out only while it is open.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from html import escape

from labkit.rig.acts import RecordRow, latest_rows, rows_of
from labkit.rig.rig import RigView
from labkit.switchover.fault_kinds import Fault
from lessons.pictures import boards
from lessons.pictures.look import markup
from lessons.pictures.slots import Values
from lessons.pictures.svg import shape

ROWS, MOST_NEXT = 4, 6
SPEEDS = {"as in life": 1.0, "10 times": 10.0, "60 times": 60.0}
DRAWERS = {"cards": "Cards", "record": "Whole record", "stories": "Stories", "more": "More"}


def page_html(*, functions: Sequence[str], steps: Iterable[str] = (), step: str = "", task: str,
              ticks: Sequence[str] = (), cards: Sequence[str], projector: bool = False,
              about: str = "") -> str:
    """Return the page around the picture, with empty slots.

    Parameters
    ----------
    functions : sequence of str
        Names of the plant's functions; each has a line.
    steps, step : iterable of str, str
        The steps of time that can be chosen, and the chosen one. Without steps the time is not
        chosen here: there is no clock, no slow motion and nothing that writes a file.
    task, ticks : str, sequence of str
        What the reader is to do, and what they tick while observing.
    cards : sequence of str
        Which drawers there are, by their keys in `DRAWERS`, and "about".
    projector : bool
        Whether it is laid out for a wall.
    about : str
        What is to be known of the page itself.
    """
    return markup(__file__, functions=functions, steps=steps, step=step, task=task, ticks=ticks,
                  cards=cards, projector=projector, about=about, rows=ROWS, speeds=SPEEDS,
                  drawers=DRAWERS)


def faults_here(known: Mapping[str, Fault]) -> list[dict[str, object]]:
    """Return what the front end knows of the faults that can be switched on."""
    return [{"id": name, "how": each.how, "label": each.label, "place": each.place,
             "at": [each.unit, *sorted(each.breaks)]} for name, each in known.items()]


def _level_values(name: str, level: str) -> Values:
    form, colour = boards.SHAPES[level]
    return {f"{name}.i@": f"lamp {colour}", f"{name}.s@d": shape(form, 0, 0, 9)}


def _next_words(view: RigView, function: str) -> str:
    """Name the parts in the rate that would stop a function next; the rest is counted."""
    if not view.state.works[function]:
        return "The plant cannot do it as it stands now."
    names = view.state.next_failures[function]
    parts = [each.name for each in view.state.next_failure_details[function]
             if len(each.parts) == 1 and each.name not in view.state.not_in_rate.get(function, ())]
    shown = parts[:MOST_NEXT] or names[:1]
    if not shown:
        return "Next: nothing alone"
    said, more = ", ".join(shown), len(names) - len(shown)
    return f"Next: {said}{f' and {more} more' if more else ''}"


def page_values(view: RigView) -> Values:
    """Return the values of everything around the picture."""
    verdict, time_ms = boards.verdict_of(view), view.snapshot.time_ms
    values = {
        **_level_values("head", verdict.level),
        "head.1": verdict.sentence,
        "head.level": f"{verdict.level.upper()}.",
        "head.2": " ".join(verdict.more),
        "head.time": boards.clock_words(time_ms),
        "head.gap": boards.gap_words(view.record, time_ms) or "no gap at the outputs so far",
    }
    most = max([*view.state.failures_per_h.values(), *view.state.healthy_failures_per_h.values(),
                1e-12])
    # The first cards are those of the functions, in their order.
    for i, ((name, works), card) in enumerate(zip(view.state.works.items(),
                                                  boards.cards_of(view))):
        here = view.state.failures_per_h.get(name, 0.0) if works else 0.0
        values |= {
            **_level_values(f"f{i}", card.level), f"f{i}.name": card.heading,
            f"f{i}.rate": card.lines[0], f"f{i}.next": _next_words(view, name),
            f"f{i}.here@width": f"{120 * here / most:.0f}",
            f"f{i}.healthy@width": f"{120 * view.state.healthy_failures_per_h[name] / most:.0f}",
        }
    rows = latest_rows(view.record, ROWS)
    for i in range(ROWS):
        row = rows[i] if i < len(rows) else None
        nothing = "" if i else "Nothing has changed so far."
        values |= {f"r{i}": f"{row.time_ms / 1000:.3f} s\u2002{row.text}" if row else nothing,
                   f"r{i}@": "row hand" if row and row.by_hand else "row"}
    return values


def record_html(drawn: str, caption: str) -> str:
    """Return rows of the record as a table."""
    heads = "".join(f'<th scope="col">{each}</th>'
                    for each in ("time [s]", "who", "what", "from", "to", "why"))
    return (f'<div class="lk-scroll"><table class="lk-rec"><caption>{escape(caption)}</caption>'
            f"<thead><tr>{heads}</tr></thead><tbody>{drawn}</tbody></table></div>")


def record_row_html(row: RecordRow, story_starts: Iterable[int] = ()) -> str:
    """Return one row of the record; an act that begins another story says so."""
    begins = row.by_hand and row.time_ms in story_starts
    return (
        f'<tr{" class=hand" if row.by_hand else ""}><td>{row.time_ms / 1000:.3f}</td>'
        f"<td>{escape(', '.join(row.who))}</td><td>{escape(row.what)}</td>"
        f"<td>{escape(row.old or 'none')}</td><td><b>{escape(row.new or 'none')}</b></td>"
        f'<td class="y">{escape(row.why)}{" Another story begins." if begins else ""}</td></tr>')


def record_rows_html(rows: Sequence[RecordRow], story_starts: Iterable[int] = ()) -> str:
    """Return the whole record as a table, the latest row first."""
    starts = set(story_starts)
    return record_html("".join(record_row_html(row, starts) for row in reversed(rows)),
                       f"Record, latest first ({len(rows)} rows)")


def drawer_values(open_drawers: Iterable[str], view: RigView, stories: Callable[[], str],
                  story_starts: Iterable[int]) -> Mapping[str, str]:
    """Return the values of the drawers that are open; their slots hold HTML."""
    made = {
        "cards": lambda: boards.cards_html(view),
        "record": lambda: record_rows_html(rows_of(view.record), story_starts),
        "stories": stories,
    }
    return {f"{key}@html": made[key]() for key in open_drawers if key in made}
