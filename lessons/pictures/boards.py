"""What is written around the picture of the plant: headline, cards, record.

Pure functions of the state. The headline answers what somebody asks who comes in: who leads, what
is lost, does control work. Its three levels follow IEC 60073 for the process: normal (green),
abnormal (yellow), emergency (red), each with a shape and a word of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from labkit.plant.worth import Worth
from labkit.rig.headline import next_words, rate_words
from labkit.rig.rig import RigView
from labkit.switchover.roles import Entry, Outputs
from labkit.wording import capital, grouped
from lessons.pictures.look import markup, style_sheet
from lessons.pictures.svg import lamp

STYLE = style_sheet(__file__)
SHAPES = {
    "normal": ("bar", "green"), "abnormal": ("triangle", "yellow"), "lost": ("square", "red"),
}

@dataclass(frozen=True)
class Headline:
    """Hold what the headline says.

    Parameters
    ----------
    level : {'normal', 'abnormal', 'lost'}
        How bad it is for the plant.
    sentence : str
        Who leads.
    more : tuple of str
        What else matters, most important first.

    >>> Headline("normal", "KF1 leads; KF2 stands by, ready.", ()).level
    'normal'
    """

    level: str
    sentence: str
    more: tuple[str, ...]


def clock_words(time_ms: int) -> str:
    """Return a time since the start in words.

    Parameters
    ----------
    time_ms : int
        Time, >= 0, in ms.

    >>> clock_words(12345), clock_words(754000)
    ('12.345 s', '12 min 34.000 s')
    """
    if time_ms < 120_000:
        return f"{time_ms / 1000:.3f} s"
    minutes, rest = divmod(time_ms, 60_000)
    return f"{minutes} min {rest / 1000:06.3f} s"


def verdict_of(view: RigView) -> Headline:
    """Judge the state as somebody would who comes in.

    Parameters
    ----------
    view : RigView
        State of the rig.

    >>> from labkit import Rig
    >>> verdict_of(Rig().view()).sentence
    'KF1 leads; KF2 stands by, ready.'
    """
    said = dict(view.lines)
    control = said["Control now"]
    said["Control now"] = f"Control{':' if view.snapshot.writes_fight else ''} " \
                          f"{control[0].lower()}{control[1:]}"
    # the lines of pair and process stand there with the worst first
    words = [said[heading] for heading, _ in view.lines if heading in ("Roles", "Control now")]
    words += [f"{capital(name)}: lost." for name, works in view.state.works.items() if not works]
    if view.process_alarms:
        process = f"{capital('; '.join(view.process_alarms))}."
        words.insert(1 if view.level == "lost" else 0, process)
    # that of the racks stands in the line of control already
    told = {*view.process_alarms,
            *(f"outputs of rack {rack} in fail state" for rack in view.snapshot.outputs)}
    others = [each for each in view.snapshot.alarms if each not in told]
    if others:
        words.append(f"Alarms: {'; '.join(others)}.")
    return Headline(view.level, words[0], tuple(words[1:]))


def gap_words(record: Sequence[Entry], now_ms: int) -> str:
    """Say how long the outputs of a rack were without writes, the last time or right now.

    Parameters
    ----------
    record : sequence of Entry
        Every change, oldest first.
    now_ms : int
        Time now, in ms.

    Returns
    -------
    str
        Empty where there was no gap. The gap is that at the terminals of a rack.

    >>> record = [Entry(5000, "KF10", "outputs", "written", "held", ""),
    ...           Entry(5235, "KF10", "outputs", "held", "written", "")]
    >>> gap_words(record, 9000)
    'last gap at the outputs 235 ms'
    """
    began: dict[str, int] = {}
    last = None
    for entry in record:
        if entry.what != "outputs":
            continue
        if entry.new == Outputs.WRITTEN.value:
            last = entry.time_ms - began.pop(entry.who, entry.time_ms)
        else:
            began.setdefault(entry.who, entry.time_ms)
    if began:
        return f"outputs unwritten for {_length_words(now_ms - min(began.values()))}"
    return f"last gap at the outputs {_length_words(last)}" if last else ""


def _length_words(length_ms: int) -> str:
    return f"{length_ms} ms" if length_ms < 10_000 else clock_words(length_ms)


@dataclass(frozen=True)
class Card:
    """Hold what is said of a function or of the process.

    Parameters
    ----------
    level : {'normal', 'abnormal', 'lost'}
        How it stands.
    heading : str
        What it is, and how it stands, in a word.
    lines : tuple of str
        What is to be known of it.

    >>> Card("lost", "see and act: LOST", ()).level
    'lost'
    """

    level: str
    heading: str
    lines: tuple[str, ...]


def cards_of(view: RigView) -> tuple[Card, ...]:
    """Return a card for each function, and one for the process.

    Parameters
    ----------
    view : RigView
        State of the rig.

    Returns
    -------
    tuple of Card
        A function: works or lost, how often it is lost from here, what would stop it next. What
        outages cost a year from here. The process: how it stands, and what the event has cost.

    >>> from labkit import Rig
    >>> [card.heading for card in cards_of(Rig().view())][2:]
    ['loss: EUR 8 652 A YEAR', 'process: NOTHING LOST']
    """
    cards = [Card("normal" if works else "lost", f"{name}: {'WORKS' if works else 'LOST'}",
                  (capital(rate_words(view.state, name)), capital(next_words(view.state, name))))
             for name, works in view.state.works.items()]
    if view.worth is not None:
        cards.append(_worth_card(view.worth))
    said = dict(view.lines).get("Process")
    if said is not None:
        level = "lost" if view.event_cost else "abnormal" if view.happenings else "normal"
        worth = f"{view.plant.currency} {grouped(view.event_cost)} LOST" if view.event_cost \
            else "NOTHING LOST"
        cards.append(Card(level, f"process: {worth}", (said,)))
    return tuple(cards)


def _worth_card(worth: Worth) -> Card:
    """Say what outages cost from here, and what the present one will cost if it lasts."""
    healthy, here = (f"{worth.currency} {grouped(money)}"
                     for money in (worth.healthy_per_year, worth.here_per_year))
    if worth.due:
        lines = tuple(f"{each.step}: {each.money(worth.currency)} after {each.after_min:g} min"
                      for each in worth.due)
        return Card("lost", "loss: MONEY RUNS NOW", lines)
    if here == healthy:
        return Card("normal", f"loss: {here} A YEAR",
                    ("expected from outages, as on the healthy plant",))
    return Card("abnormal", f"loss: {here} A YEAR",
                (f"expected from outages from here, {healthy} when healthy",))


def cards_html(view: RigView) -> str:
    """Return the cards as HTML.

    Parameters
    ----------
    view : RigView
        State of the rig.

    >>> from labkit import Rig
    >>> cards_html(Rig().view()).count("WORKS")
    2
    """
    signs = {level: lamp(13, 9, *sign, reach=6.5) for level, sign in SHAPES.items()}
    return markup(__file__, cards=cards_of(view), signs=signs)
