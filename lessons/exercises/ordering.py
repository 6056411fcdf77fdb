"""The order item: cards to be brought into order; neighbours in the right order count."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

from lessons.exercises.item import (
    LETTERS,
    Hints,
    Item,
    KnownError,
    fill,
    is_not_sure,
    lettered,
    shuffled,
)
from lessons.exercises.on_paper import Form
from lessons.exercises.replies import Judgement, Verdict


@dataclass(frozen=True)
class Order(Item):
    """Bring cards into order; neighbours in the right order count.

    Parameters
    ----------
    id, title, objective, case, ask
        As in `Item`.
    cards : tuple of str
        Templates in the right order.
    reason : str
        Template: one sentence that says why this order is right.
    hints : Hints
        The ladder.
    swaps : mapping
        From a pair of positions (i, j), i before j, to (misconception, question) for an answer
        that puts card j before card i.

    >>> from lessons.exercises.item import Case
    >>> item = Order("00-demo", "Demo", "", Case("demo"), "Sort.", ("notice", "travel", "swap"),
    ...              "A stop is noticed first.", Hints("", "", ""))
    >>> item.judge(["notice", "travel", "swap"], SimpleNamespace(), 0, {}).score
    1.0
    """

    DIGESTED = (*Item.DIGESTED, "cards")

    cards: tuple[str, ...]
    reason: str
    hints: Hints
    swaps: Mapping[tuple[int, int], tuple[str, str]] = field(default_factory=dict)

    def arranged(self, seed: int) -> list[int]:
        """Return the positions of the cards in the order in which this seed shows them."""
        order = shuffled(range(len(self.cards)), f"{self.id}:{seed}")
        return order if order != sorted(order) else order[1:] + order[:1]

    def lettered_cards(self, numbers: SimpleNamespace, seed: int) -> dict[str, int]:
        """Return the cards in the order of the seed: from the text of each to its position."""
        order = self.arranged(seed)
        texts = lettered([fill(self.cards[i], numbers) for i in order])
        return dict(zip(texts, order, strict=True))

    def letters(self, placed: list[int], seed: int) -> list[str]:
        """Return the letters of cards that are given by their positions."""
        order = self.arranged(seed)
        return [LETTERS[order.index(card)] for card in placed]

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return the lettered cards, and how to answer."""
        return [*self.lettered_cards(numbers, seed), "Answer: the letters in order."]

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the cards in the order of the seed, and a place for each letter."""
        cards = tuple(fill(self.cards[place], numbers) for place in self.arranged(seed))
        return Form(cards, places=len(cards))

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return the letters in the right order."""
        return (" ".join(self.letters(list(range(len(self.cards))), seed)),)

    @property
    def points(self) -> int:
        """One for each card that has the right card after it."""
        return len(self.cards) - 1

    def control(self) -> type:
        """Return the class of its controls."""
        from lessons.exercises.item_controls import OrderControl

        return OrderControl

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge an order by its pairs of neighbours."""
        if is_not_sure(answer):
            return Judgement(Verdict.NOT_SURE)
        placed = self._placed(answer, numbers, seed)
        if placed is None:
            return Judgement(
                Verdict.UNCLEAR, f"each of the {len(self.cards)} letters is expected once."
            )
        pairs = len(placed) - 1
        kept = sum(b == a + 1 for a, b in zip(placed, placed[1:], strict=False))
        value = " ".join(self.cards[i] for i in placed)
        if kept == pairs:
            return Judgement(Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0)
        count = f"{kept} of {pairs} cards has the right card after it." if kept == 1 else \
            f"{kept} of {pairs} cards have the right card after them."
        for (first, second), (misconception, question) in self.swaps.items():
            if placed.index(second) < placed.index(first):
                question = f"{count} {fill(question, numbers)}"
                return Judgement(
                    Verdict.LOOK_AGAIN, question, value, misconception, score=kept / pairs
                )
        return Judgement(Verdict.LOOK_AGAIN, count, value, score=kept / pairs)

    def _placed(self, answer: object, numbers: SimpleNamespace, seed: int) -> list[int] | None:
        shown_order = self.arranged(seed)
        by_name = {LETTERS[place]: card for place, card in enumerate(shown_order)}
        by_name |= {fill(card, numbers).lower(): i for i, card in enumerate(self.cards)}
        if isinstance(answer, str):
            parts = [part.strip() for part in re.split(r"[,;>→\n]|\bthen\b", answer.lower())]
            answer = parts if set(parts) <= by_name.keys() else re.findall(
                "[a-z]", re.sub(r"\b(?:then|first|last|finally|before|and)\b", "", answer.lower()))
        try:
            placed = [by_name[str(name).strip().lower()] for name in answer]
        except (KeyError, TypeError):
            return None
        return placed if sorted(placed) == list(range(len(self.cards))) else None

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where no two cards read alike."""
        return len({fill(card, numbers) for card in self.cards}) == len(self.cards)

    def right_answer(self, numbers: SimpleNamespace) -> list[str]:
        """Return the texts of the cards in order."""
        return [fill(card, numbers) for card in self.cards]

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the cards in order, numbered."""
        cards = enumerate(self.right_answer(numbers), 1)
        return tuple(f"{place}. {card}" for place, card in cards)

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield for each swap the order in which the later card stands just before the other."""
        for (first, second), (misconception, _) in self.swaps.items():
            cards = self.right_answer(numbers)
            cards.insert(first, cards.pop(second))
            yield KnownError(cards, misconception)
