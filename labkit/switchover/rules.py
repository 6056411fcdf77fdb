"""The rules of the pair as a table: the program runs from it, a lesson prints it.

Common practice of redundant control in our own words. Each row has a number (that of the rule),
a key by which the program finds what to do, a condition, an action, and the sentence that goes
into the record, with the names filled in. Rows stand in the order in which they are tried; the
first that applies acts, and then all are tried again. A row that is left out does not act.
"""

from dataclasses import dataclass

__all__ = ["RULES", "Rule"]


@dataclass(frozen=True)
class Rule:
    """Hold one row of the table.

    Parameters
    ----------
    number : int
        Number of the rule, 1 to 11; several rows may belong to one rule.
    key : str
        Name of the row.
    condition, action : str
        When it applies, and what then happens.
    says : str
        Sentence for the record; ``{unit}`` is the controller or rack that acts, ``{partner}`` the
        other controller.

    >>> RULES[0].number, RULES[0].key
    (1, 'two lead')
    >>> Rule(9, "hold", "no write", "let go", "{unit} lets go.").text
    'Rule 9. If no write: let go.'
    """

    number: int
    key: str
    condition: str
    action: str
    says: str

    @property
    def text(self) -> str:
        """The row as one line."""
        return f"Rule {self.number}. If {self.condition}: {self.action}."

    def why(self, unit: str, partner: str | None = None, **names: str) -> str:
        """Return the sentence for the record.

        >>> Rule(9, "hold", "no write", "let go", "{unit} lets go.").why("KF10")
        'Rule 9: KF10 lets go.'
        """
        return f"Rule {self.number}: " + self.says.format(unit=unit, partner=partner, **names)


RULES: tuple[Rule, ...] = (
    Rule(1, "two lead",
         "an active unit hears another active one, on the sync cable or by its mark in a rack",
         "the one with fewer racks under its mark, then the one that reaches fewer, on a tie the "
         "higher number, gives up its role at its next cycle and starts again",
         "{unit} finds that {partner} leads too and has the better right; {unit} gives up and "
         "starts again."),
    Rule(2, "load again",
         "a loading unit loses the sync cable or the partner that it copies from",
         "it starts loading again",
         "{unit} has lost the data of {partner}; it starts loading again."),
    Rule(2, "load",
         "a loading unit hears an active partner whose program is the same",
         "it copies the whole state and is standby when that is done",
         "{unit} hears that {partner} leads, and copies its state."),
    Rule(2, "programs differ",
         "a standby finds that its program is not that of the active unit",
         "it is not ready any more; loading is refused until the programs are the same",
         "the program of {unit} is not that of {partner}; it is not ready any more."),
    Rule(2, "lead",
         "a loading unit hears that no partner leads, and reaches a rack",
         "it becomes active with its next cycle; of two the standby before the loading one, then "
         "the one that reaches more racks, on a tie the lower number",
         "{unit} hears no active partner; it becomes active."),
    Rule(3, "announced",
         "a standby that reaches a rack hears that its partner leads no more",
         "it takes over at its next cycle",
         "{partner} has announced that it does not lead any more; {unit} takes over."),
    Rule(3, "by hand",
         "somebody asks for a planned switchover and the standby is ready",
         "the roles change at its next cycle; while it is not ready the change is refused with the "
         "reason",
         "a planned switchover was asked for and {unit} is ready; it takes over."),
    Rule(4, "ask",
         "the partner has been silent for the set number of beats and the margin",
         "a standby or loading unit asks the racks, and the third voter if there is one",
         "{unit} has missed the beats of {partner}; it asks the racks."),
    Rule(4, "take over",
         "the racks answer that the writer's mark ages",
         "the unit takes over at its next cycle",
         "{partner} is silent and its marks in the racks age; {unit} takes over."),
    Rule(5, "hand over",
         "the active unit reaches fewer racks than the ready standby",
         "it hands over: the standby takes over at its next cycle, the other stays as standby",
         "{partner} reaches fewer racks than {unit}; it hands over."),
    Rule(5, "hand over by marks",
         "the sync cable is silent and a fresh mark says that its writer reaches fewer racks than "
         "the standby",
         "the standby takes over at its next cycle, with the data that it has",
         "the mark of {partner} in the racks says that it reaches fewer than {unit}; {unit} takes "
         "over."),
    Rule(6, "stays",
         "a unit returns after a fault",
         "it loads, becomes standby and stays so",
         "{unit} has returned and stays standby."),
    Rule(6, "returns",
         "the option to return is set and the first unit has been ready for the set wait",
         "it gets its role back",
         "the option to return is set and {unit} has been ready for the set wait; it gets its role "
         "back."),
    Rule(7, "no output",
         "a unit is standby",
         "it writes no output; it reads inputs and follows data",
         "{unit} is standby and writes no output."),
    Rule(8, "frozen",
         "a program stands still and its heartbeat goes on",
         "nobody misses it",
         "the program of {unit} stands still while its heartbeat goes on; nobody misses it."),
    Rule(8, "put out",
         "the heartbeat carries the cycle count and the count of a partner stands still",
         "the other unit counts it as silent, leads, and orders it out",
         "the cycle count of {unit} stands still; {partner} leads and orders it out."),
    Rule(9, "hold",
         "a rack had no accepted write for its hold time",
         "it puts its outputs into their fail state and has no writer",
         "no accepted write for {hold} ms; {unit} puts its outputs into their fail state."),
    Rule(10, "unasked",
         "the partner is silent and, by option, the racks are not asked",
         "the standby takes over at its next cycle, whether the partner lives or not",
         "{partner} is silent and the racks are not asked; {unit} takes over."),
    Rule(10, "two write",
         "two units lead and the racks' marks are not read",
         "both write, and the rack flaps between two writers",
         "two units lead and neither reads the marks; {unit} flaps between two writers."),
    Rule(11, "see and act",
         "the panel bus or its repeater fails",
         "the panel cannot see and act; control is not touched",
         "the way between {unit} and the controllers is broken; control is not touched."),
)
