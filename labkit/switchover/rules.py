"""The rules of the pair as a table: the program runs from it, a lesson prints it.

The rows stand in rules.toml beside this module, in the order in which they are tried.
"""

from dataclasses import dataclass

from labkit.reading import read_table


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
    (1, 'one writer')
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


RULES: tuple[Rule, ...] = tuple(
    Rule(row["number"], row["key"], row["if"], row["then"], row["says"])
    for row in read_table(__file__)["rule"])
