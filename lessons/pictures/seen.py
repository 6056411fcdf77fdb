"""What somebody who walks along the plant sees of the lamps: as text, and as a board of lamps."""

from collections.abc import Iterator
from dataclasses import dataclass

from labkit.rig.rig import Rig
from labkit.switchover.lamps import Lamp, lamps_of
from lessons.pictures.look import markup, style_sheet
from lessons.pictures.svg import is_hollow, shape
from lessons.pictures.two_states_picture import Picture


@dataclass(frozen=True)
class _Plate:
    """One front plate: its name, its lamps, and what stands beside each of them."""

    name: str
    lamps: tuple[Lamp, ...]
    beside: tuple[str, ...]

    @property
    def words(self) -> str:
        """The plate as one line of text."""
        lit = [said for lamp, said in zip(self.lamps, self.beside, strict=True) if lamp.lit]
        return f"{self.name}: {', '.join(lit) or 'dark'}"


def _plates(rig: Rig) -> Iterator[_Plate]:
    snapshot = rig.snapshot()
    lit = lamps_of(snapshot)
    names = {unit: unit for unit in snapshot.roles} | {
        panel: f"panel {panel}" for panel in snapshot.panels}
    for unit, name in names.items():
        lamps = tuple(lamp for lamp in lit if lamp.unit == unit)
        yield _Plate(name, lamps, tuple(map(_said, lamps)))
    for unit in snapshot.roles:
        # One interface may serve both controllers: its lamps stand there once for each of them.
        links, writer = ([lamp for (_, controller), lamp in zip(snapshot.link_units, (
            lamp for lamp in lit if lamp.name == name)) if controller == unit] for name in ("LINK", "WRITER"))
        passing = sum(lamp.shape == "dot" for lamp in links)
        writes = sum(lamp.lit for lamp in writer)
        # One lamp stands for those of all racks: the first that says something is the one shown.
        link = min(links, key=lambda lamp: lamp.shape != "cross")
        mark = max(writer, key=lambda lamp: lamp.lit)
        yield _Plate(f"links from {unit}", (link, mark), (
            f"LINK data at {passing} of {len(links)} racks", f"{_said(mark)} at {writes}"))


def _said(lamp: Lamp) -> str:
    telling = lamp.name == "PLANT" and lamp.lit or lamp.shape == "cross"
    words = f"{lamp.name} {lamp.text}" if telling else lamp.name
    return f"{words} (flashing)" if lamp.flashing else words


def seen_at(rig: Rig) -> str:
    """Return the lamps of a rig in words, unit by unit, and no word on causes.

    Parameters
    ----------
    rig : Rig
        The rig, at any moment.

    Returns
    -------
    str
        One line for each controller, for each panel, and for the links of each controller.

    Examples
    --------
    >>> print(seen_at(Rig()))
    KF1: SUPPLY, ACTIVE
    KF2: SUPPLY, READY
    panel PH1: DATA, KF1, PLANT normal
    links from KF1: LINK data at 3 of 3 racks, WRITER at 3
    links from KF2: LINK data at 3 of 3 racks
    """
    return "\n".join(plate.words for plate in _plates(rig))


_STYLE = style_sheet(__file__, ".lk-board")


def lamp_board_html(rig: Rig, *, panels_only: bool = False) -> str:
    """Return the lamps of a rig as front plates, with a word and a shape for each lamp.

    Parameters
    ----------
    rig : Rig
        The rig, at any moment.
    panels_only : bool
        Whether only the plates of panels are shown: what is seen without a walk.

    Returns
    -------
    str
        HTML text. A lamp that flashes says so in words and does not move.

    >>> lamp_board_html(Rig()).count("<section>")
    5
    """
    shown = [plate for plate in _plates(rig)
             if not panels_only or plate.name.startswith("panel ")]
    return markup(__file__, style=_STYLE, plates=shown, zip=zip, shape=shape, is_hollow=is_hollow)


def hall_picture(rig: Rig) -> Picture:
    """Return the board of lamps as a still picture with its words.

    Parameters
    ----------
    rig : Rig
        The rig, at any moment.

    Returns
    -------
    Picture
        The board, or its words where no picture can be shown.

    Examples
    --------
    >>> print(repr(hall_picture(Rig())).splitlines()[0])
    KF1: SUPPLY, ACTIVE
    """
    return Picture(lamp_board_html(rig), seen_at(rig))
