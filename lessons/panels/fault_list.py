"""A switch for each fault, grouped by place, with a search by typing."""

from collections.abc import Callable, Iterable, Mapping
from html import escape

import ipywidgets as widgets

from labkit.switchover.fault_kinds import Fault
from lessons.pictures.look import script


def show(widget: widgets.DOMWidget, shown: bool) -> None:
    """Show a widget, or hide it from eye and keyboard.

    >>> box = widgets.HTML()
    >>> show(box, False)
    >>> box._dom_classes
    ('lk-hidden',)
    """
    if shown:
        widget.remove_class("lk-hidden")
    else:
        widget.add_class("lk-hidden")


class FaultList:
    """Hold the switches of all faults.

    Parameters
    ----------
    faults : mapping of str to Fault
        By id.
    switch : callable
        Is told the id of a fault and whether it is to be on.
    guarded : callable
        Makes a callback of a handler, as `Panel.guarded` does.

    Attributes
    ----------
    groups : list of (Box, list of Checkbox)
        Each place with its switches.
    find : Text
        The search.
    box : Widget
        All of it.

    >>> from labkit.switchover.fault_kinds import faults_of
    >>> from labkit.plant.plant import load_plant
    >>> found = FaultList(faults_of(load_plant()), lambda *_: None, lambda handler: handler)
    >>> found.switches["WF9: cut"].description
    'WF9 sync cable: cut'
    """

    def __init__(self, faults: Mapping[str, Fault], switch: Callable[[str, bool], None],
                 guarded: Callable[[Callable], Callable]):
        self.faults = faults
        self.switches = self._make_switches(switch, guarded)
        self.find = widgets.Text(description="Find a fault", placeholder="such as: KF1, cut, roof",
                                 continuous_update=True, layout=widgets.Layout(width="auto"),
                                 style={"description_width": "auto"})
        self.find.add_class("lk-find")
        self.find.observe(guarded(lambda change: self.show_only(change["new"])), "value")
        self._none_found = widgets.HTML()
        self._none_found.add_class("lk-none")
        show(self._none_found, False)
        groups: dict[str, list[widgets.Checkbox]] = {}
        for name, switch_ in self.switches.items():
            groups.setdefault(faults[name].place or "anywhere", []).append(switch_)
        self.groups = [(self._group(place, inside), inside) for place, inside in groups.items()]
        one_stop = widgets.HTML(script(__file__, ".lk-switches"))
        # It takes no place among the groups.
        one_stop.add_class("lk-style")
        listed = widgets.VBox([one_stop, self._none_found, *(box for box, _ in self.groups)])
        listed.add_class("lk-faults")
        self.box = widgets.VBox([self.find, listed])
        self.box.add_class("lk-switches")

    def _make_switches(self, switch, guarded) -> dict[str, widgets.Checkbox]:
        """Make a switch for each fault; they share one layout and one style."""
        layout = widgets.Layout(width="auto")
        style = None
        switches = {}
        for name, fault in self.faults.items():
            made = widgets.Checkbox(description=fault.label, indent=False, layout=layout)
            style = made.style = style or made.style
            made.add_class("lk-fault")
            made.observe(guarded(lambda change, name=name: switch(name, change["new"])), "value")
            switches[name] = made
        return switches

    @staticmethod
    def _group(place: str, switches: list[widgets.Checkbox]) -> widgets.Box:
        head = widgets.HTML('<div class="lk-place" role="heading" aria-level="4">'
                            f"{escape(place)}</div>")
        box = widgets.VBox([head, *switches])
        box.add_class("lk-group")
        return box

    def show_only(self, words: str) -> None:
        """Show only the switches whose label, place or id holds all of the words.

        Parameters
        ----------
        words : str
            Words or parts of words; capitals do not matter.
        """
        wanted = words.lower().split()
        hits = {
            name
            for name, fault in self.faults.items()
            if all(word in f"{fault.label} {fault.place} {fault.id}".lower() for word in wanted)
        }
        for name, switch in self.switches.items():
            show(switch, name in hits)
        shown = {self.switches[name] for name in hits}
        for box, switches in self.groups:
            show(box, any(switch in shown for switch in switches))
        show(self._none_found, not hits)
        self._none_found.value = "" if hits else (
            f"No fault is called &quot;{escape(words)}&quot;. Try a designation, a place, "
            "or what is wrong.")

    def bring_in_line(self, on: Iterable[str]) -> None:
        """Set the switches as the faults are.

        Parameters
        ----------
        on : iterable of str
            Ids of the faults that are on.
        """
        on = frozenset(on)
        for name, switch in self.switches.items():
            switch.value = name in on
