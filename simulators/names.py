"""Words that a caller may get wrong, and the two errors that say so."""

from collections.abc import Iterable
from difflib import get_close_matches


class UnknownName(ValueError):
    """A word that nothing here answers to. `word` is the culprit, `known` what would have worked."""

    def __init__(self, kind: str, word: str, known: Iterable[str]) -> None:
        self.word = word
        self.known = sorted(known)
        nearest = get_close_matches(word, self.known, n=1)
        hint = f"; did you mean {nearest[0]}?" if nearest else ""
        super().__init__(f"no {kind} is called {word}{hint} Known: {', '.join(self.known)}")


class NotPossible(ValueError):
    """A fault that this unit cannot have, because it lacks the part."""
