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
from lessons.pictures.slots import Values, group, slot
from lessons.pictures.svg import shape

ROWS, MOST_NEXT = 4, 6
SPEEDS = {"as in life": 1.0, "10 times": 10.0, "60 times": 60.0}
DRAWERS = {"cards": "Cards", "record": "Whole record", "stories": "Stories", "more": "More"}


def _button(words: str, do: str, **attributes: object) -> str:
    more = "".join(f' {key.replace("_", "-")}="{escape(str(value))}"'
                   for key, value in attributes.items())
    return f'<button type="button" data-do="{do}"{more}>{escape(words)}</button>'


def _choice(label: str, do: str, options: Iterable[str], chosen: str) -> str:
    listed = "".join(f'<option{" selected" if each == chosen else ""}>{escape(each)}</option>'
                     for each in options)
    return f'<label>{label} <select data-do="{do}" aria-label="{label}">{listed}</select></label>'


def _tick(words: str, do: str) -> str:
    return f'<label class="lk-tick"><input type="checkbox" data-do="{do}"> {words}</label>'


def _icon(name: str) -> str:
    """Draw the empty sign of a level: normal, abnormal or lost."""
    sign = slot("path", f"{name}.s", class_="s", d="", transform="translate(15 13)")
    return ('<svg class="lk-svg lk-icon" viewBox="0 0 30 26" aria-hidden="true">'
            + group(f"{name}.i", sign, class_="lamp") + "</svg>")


HEAD = (
    '<div class="lk-head" role="status">' + _icon("head")
    + '<div class="s">' + slot("div", "head.1", class_="s1")
    + '<div class="s2">' + slot("b", "head.level") + " " + slot("span", "head.2")
    + '</div></div><div class="k">' + slot("div", "head.time", class_="k1")
    + slot("div", "head.gap", class_="k2") + "</div></div>")


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
    bar = (
        '<div class="lk-bar">' + (
            _choice("Step", "step", steps, step) + _button("Go on", "go_on")
            + slot("button", "play", "Play", type="button", data_do="play") if steps else "")
        + _button("Switch over", "change_roles") + _button("All faults off", "all_off")
        + _button("Start again", "start_again")
        + '<label class="lk-find">Find a fault <input type="text" data-find '
          'placeholder="such as: KF1, cut, roof" autocomplete="off" spellcheck="false"></label>'
        + (_button("Full screen", "", data_full="") if projector else "") + "</div>")
    lines = "".join(
        group(f"f{i}", _icon(f"f{i}") + slot("b", f"f{i}.name")
        + '<svg class="lk-svg lk-bars" viewBox="0 0 120 16" preserveAspectRatio="none" '
          'aria-hidden="true">'
        + slot("rect", f"f{i}.here", class_="here", x=0, y=1, width=0, height=7)
        + slot("rect", f"f{i}.healthy", class_="healthy", x=0, y=9, width=0, height=6) + "</svg>"
        + slot("span", f"f{i}.rate", class_="rate")
        + slot("span", f"f{i}.next", class_="next"), tag="div", class_="lk-function")
        for i in range(len(functions)))
    rows = "".join(slot("div", f"r{i}", class_="row") for i in range(ROWS))
    ticked = "".join(f'<label class="lk-tick"><input type="checkbox" data-own="{i}"> '
                     f"{escape(each)}</label>" for i, each in enumerate(ticks))
    foot = (
        '<div class="lk-foot"><div class="lk-latest" role="log" aria-label="Latest of the record">' + rows + '</div><div class="lk-side">'
        + (f'<div class="lk-task"><b>Task:</b> {escape(task)}</div>' if task else "")
        + '<div class="lk-act"><b>Last act:</b> '
        + slot("span", "act", aria_live="polite", role="status")
        + '</div><div class="lk-at" data-at></div></div>'
        # A long list to tick would push what was done from the screen: it has the whole width.
        + (f'<div class="lk-ticks"><span>Tick what you saw.</span>{ticked}</div>' if ticked else "")
        + "</div>")
    slow = (
        f'<div class="lk-slow"><div class="lk-moments"{"" if steps else " hidden"}>'
        '<b>Slow motion</b>'
        '<div class="lk-track"><svg class="lk-svg" preserveAspectRatio="none" viewBox="0 0 1000 20" '
        'aria-hidden="true"><path data-moments d=""></path></svg>'
        '<input type="range" data-slow aria-disabled="true" min="0" max="1000" value="1000" '
        'aria-label="Slow motion, moment of the last act"></div>'
        '<button type="button" data-slow-do="back" aria-label="Moment before">&#9664;</button>'
        '<button type="button" data-slow-do="play" aria-pressed="false">Slow play</button>'
        '<button type="button" data-slow-do="next" aria-label="Next moment">&#9654;</button>'
        '<button type="button" data-slow-do="now">Now</button></div>'
        + "".join(f'<button type="button" class="lk-open" data-drawer="{key}" '
                  f'aria-expanded="false">{DRAWERS.get(key, "About this page")}</button>'
                  for key in cards) + "</div>")
    insides = {
        "cards": slot("div", "cards", data_html=""),
        "record": slot("div", "record", data_html="")
        + ('<div class="lk-bar">' + _button("Save record as CSV", "save_csv") + "</div>"
           if steps else ""),
        "stories": slot("div", "stories", data_html=""),
        "more": '<div class="lk-bar">' + _choice("Speed", "speed", SPEEDS, "10 times")
        + _tick("mark weak points", "mark_weak") + _tick('write "flashing"', "write_flashing")
        + "</div>",
        "about": f"<p>{escape(about)}</p>",
    }
    drawers = "".join(f'<div class="lk-drawer" data-in="{key}" hidden>{insides[key]}</div>'
                      for key in cards)
    said = slot("div", "said", class_="lk-said", role="status") + group(
        "wrong.box", slot("span", "wrong"), tag="div", class_="lk-none", role="alert")
    return (f'{HEAD}{bar}{said}<div class="lk-stage">'
            + slot("div", "story", class_="lk-story") + '<div class="lk-picture"></div></div>'
            + f'<div class="lk-functions">{lines}</div>{foot}{slow}{drawers}'
            '<div class="lk-pop" role="dialog" hidden></div>')


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
