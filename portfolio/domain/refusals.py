"""Why something that was asked for is not done, each in words for the person who asked."""

from __future__ import annotations

from collections.abc import Sequence


class Refusal(Exception):
    """Something asked for is not done; nothing was changed."""


class Conflict(Refusal):
    """It is at odds with what stands in the records already."""


class Stale(Refusal):
    """Somebody changed the record after it was read."""

    def __init__(self) -> None:
        super().__init__("The record was changed since it was read; read it again, and decide anew.")


class Invalid(Refusal):
    """What was entered is wrong somewhere: for each place its field (empty: the whole) and what is wrong."""

    def __init__(self, errors: Sequence[tuple[str, str]]) -> None:
        self.errors = list(errors)
        super().__init__("; ".join(f"{field}: {text}" if field else text for field, text in self.errors))
