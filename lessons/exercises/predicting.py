"""The prediction item: a choice and its reason, committed before a run, and never marked."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import SimpleNamespace

from lessons.exercises.choosing import Option, OptionItem
from lessons.exercises.item import NOT_SURE, Hints, fill, ticked_keys
from lessons.exercises.on_paper import Form
from lessons.exercises.replies import Judgement, Reply, Verdict


@dataclass(frozen=True)
class Statement:
    """One line of the list that is ticked while observing a run.

    Parameters
    ----------
    key, text : str
        Short name for scripts, and template of what may be seen.
    holds : callable
        From the numbers to whether the run shows it; computed by the model that runs.
    """

    DIGESTED = ("key", "text")

    key: str
    text: str
    holds: Callable[[SimpleNamespace], bool]


@dataclass(frozen=True)
class Prediction(OptionItem):
    """Commit a choice and one line of "because" before a run. It is noted, never marked.

    Parameters
    ----------
    id, title, objective, case, ask, options
        As in `OptionItem`; the option that the run shows is right.
    statements : tuple of Statement
        What to look for in the run.
    run : callable
        From the numbers to the text of what the run shows: the text twin of the panel.
    at_panel : str
        What to do at the panel on which the run is observed; it stands in the panel.
    hints : Hints
        The ladder, for those who ask before they commit.

    >>> from lessons.exercises.item import Case
    >>> item = Prediction("00-demo", "Demo", "", Case("demo"), "Up or down?",
    ...     (Option("up", "Up", right=True), Option("down", "Down")), (), lambda n: "It is up.")
    >>> item.judge("up because the pump runs", SimpleNamespace(), 0, {}).verdict
    <Verdict.NOTED: 'Noted'>
    """

    DIGESTED = (*OptionItem.DIGESTED, "statements")
    predicts = True
    points = 0

    statements: tuple[Statement, ...]
    run: Callable[[SimpleNamespace], str]
    at_panel: str = ""
    hints: Hints = field(default=Hints("", "", ""))

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return the lettered options, and how to answer."""
        return [*super().form(numbers, seed),
                "Answer: a letter, then 'because' and one line of reason."]

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the options, a line of reason, and what is ticked after the run."""
        return replace(super().on_paper(numbers, seed), reason=True,
                       seen=tuple(fill(each.text, numbers) for each in self.statements))

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return the letter that the run shows, and the numbers of what is seen in it."""
        seen = [str(place) for place, each in enumerate(self.statements, 1) if each.holds(numbers)]
        return (*super().marked_by(numbers, seed), f"seen: {', '.join(seen) or 'none'}")

    def control(self) -> type:
        """Return the class of its controls."""
        from lessons.exercises.item_controls import PredictionControl

        return PredictionControl

    def written(self, option: Option) -> str:
        """Return what to write to predict an option."""
        return f"{option.key} because of this"

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Note a prediction; a choice needs a reason, unless it is "not sure"."""
        choice, word, because = (
            re.split(r"(\b(?:because|weil)\b)", answer, maxsplit=1, flags=re.IGNORECASE) + ["", ""]
            if isinstance(answer, str)
            else ["", "", ""]
        )[:3]
        chosen = self.chosen(choice.strip(" ,.:;-"), numbers, seed)
        if chosen is None:
            return Judgement(
                Verdict.UNCLEAR, f"one of {self.letters} is expected before 'because'.")
        if chosen != NOT_SURE and not because.strip():
            return Judgement(Verdict.UNCLEAR, "a reason is missing. Add 'because' and one line.")
        key = NOT_SURE if chosen == NOT_SURE else chosen.key
        slip = None if key == NOT_SURE or chosen.is_right(numbers) else chosen.misconception
        shows = f"you expect: {self.told(key, because, numbers)}"
        return Judgement(Verdict.NOTED, shows, (key, because.strip()), slip,
                         next_step="Now observe.", released=self.run_task(numbers))

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where the run shows exactly one of the options."""
        return sum(option.is_right(numbers) for option in self.options) == 1

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return what the run shows, and which statements hold in it."""
        seen = [fill(one.text, numbers) for one in self.statements if one.holds(numbers)]
        return (fill(self.best(numbers).text, numbers), *(f"seen: {text}" for text in seen))

    def said(self, key: str, numbers: SimpleNamespace) -> str:
        """Return the text of an option."""
        texts = {option.key: fill(option.text, numbers) for option in self.options}
        return texts.get(key, key)

    def told(self, key: str, because: str, numbers: SimpleNamespace) -> str:
        """Return the option and, where there is one, its reason, as a reply says them back."""
        reason = f" Because: {because.strip()}." if because.strip() else ""
        return f"{self.said(key, numbers)}.{reason}"

    def free_texts(self, value: object, numbers: SimpleNamespace) -> tuple[tuple[str, str], ...]:
        """Return the option that was chosen and its reason, where one was given."""
        key, because = value
        return ((self.said(key, numbers), because),) if because else ()

    def run_task(self, numbers: SimpleNamespace) -> str:
        """Return the run as text, and the list that is ticked while observing it."""
        texts = [fill(s.text, numbers) for s in self.statements]
        lines = [self.run(numbers), "Tick what you saw:"]
        lines += [f"{place}. {text}" for place, text in enumerate(texts, 1)]
        lines.append(f"By text: observe({self.id!r}, '1 3'), or 'none'.")
        return "\n".join(lines)

    def observed(self, ticked: object, numbers: SimpleNamespace,
                 predicted: tuple[str, str] | None) -> Reply:
        """Set prediction, reason and observation side by side with what the run shows."""
        names = ticked_keys({s.key: fill(s.text, numbers) for s in self.statements}, ticked)
        if names is None:
            return Reply(Verdict.UNCLEAR, "one of the statements is expected, or 'none'.")
        if names == () and ticked != "none":
            return Reply(Verdict.BLANK, next_step="Tick what you saw, or 'none'.")
        holds = {s.key: s.holds(numbers) for s in self.statements}
        agree = sum(holds[s.key] == (s.key in names) for s in self.statements)
        said = "shown without predicting", ""
        if predicted is not None:
            said = self.said(predicted[0], numbers), predicted[1]
        seen = self.best(numbers)
        rows = [
            ("You predicted", said[0]),
            ("Because", said[1] or "no reason given"),
            ("The run showed", fill(seen.text, numbers)),
        ]
        for s in self.statements:
            yours = "you ticked it" if s.key in names else "you did not tick it"
            model = "it holds" if holds[s.key] else "it does not hold"
            mark = "" if holds[s.key] == (s.key in names) else "; look once more"
            rows.append((fill(s.text, numbers), f"{model}; {yours}{mark}"))
        return Reply(
            Verdict.NOTED,
            f"{agree} of {len(holds)} observations are as in the run.",
            fill(seen.reply, numbers),
            released="\n".join(f"{left.rstrip('.')}: {right}." for left, right in rows),
            value=names,
            score=agree / len(holds),
            rows=tuple(rows),
        )
