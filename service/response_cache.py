"""Answers given a moment ago, by question and by what is in force.

The same question of the same limits has the same answer, to the byte; people and programs ask it
again and again, above all while somebody types.
"""

from collections import OrderedDict
from typing import Final

MOST: Final = 20_000_000
"""Bytes of answers that are remembered."""


class ResponseCache:
    """A memory of answers that forgets the ones not asked for longest."""

    def __init__(self, most: int = MOST) -> None:
        self._most, self._size = most, 0
        self._answers: OrderedDict[tuple[str, bytes], bytes] = OrderedDict()

    def get(self, key: str, question: bytes) -> bytes | None:
        """Return the answer to a question under a state of the limits, None where it is new."""
        found = self._answers.get((key, question))
        if found is not None:
            self._answers.move_to_end((key, question))
        return found

    def put(self, key: str, question: bytes, answer: bytes) -> None:
        """Remember an answer."""
        if (key, question) in self._answers:
            return
        self._answers[key, question] = answer
        self._size += len(answer) + len(question)
        while self._size > self._most:
            (_, asked), old = self._answers.popitem(last=False)
            self._size -= len(old) + len(asked)
