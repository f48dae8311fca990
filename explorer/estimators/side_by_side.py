"""Searches that ask the same of a model, taken a step at a time all together."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from typing import TypeAlias, TypeVar

Asked = TypeVar("Asked")
Answer = TypeVar("Answer")
Result = TypeVar("Result")
Search: TypeAlias = Generator[Asked, Answer, Result]


def side_by_side(
    searches: Sequence[Search[Asked, Answer, Result]],
    answers: Callable[[Mapping[int, Asked]], Sequence[Answer]],
) -> list[Result]:
    """Answer what all searches ask at once, again and again: a few cars cost nearly as much as many.

    Parameters
    ----------
    searches:
        Each asks until it has its result.
    answers:
        Place of a search -> what it asks; answers in that order.
    """
    done: dict[int, Result] = {}
    told: dict[int, Answer | None] = dict.fromkeys(range(len(searches)))
    while told:
        asked = {}
        for place, answer in told.items():
            try:
                # What is sent first is None, as a generator wants it.
                asked[place] = searches[place].send(answer)  # type: ignore[arg-type]
            except StopIteration as end:
                done[place] = end.value
        told = dict(zip(asked, answers(asked), strict=True)) if asked else {}
    return [done[place] for place in range(len(searches))]
