"""By what the verdicts on a page were made: the model, and what the owner's own openings made of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from inspections.analysis.results import version_parts
from inspections.web.present import words


@dataclass(frozen=True, slots=True)
class Made:
    """``model``: its name, several only while a new one is being run; ``openings``: how many it rests on."""

    model: str
    openings: int

    def __str__(self) -> str:
        """As a line of print says it; empty where nothing was assessed."""
        if not self.openings:
            return self.model
        return f"{self.model}, recalibrated on {words.counted(self.openings, 'opening')}"

    @property
    def basis(self) -> str:
        """What the probabilities are calibrated on."""
        own = f" and on {words.counted(self.openings, 'opening')} of your own" if self.openings else ""
        return f"simulated walls{own}"


def made(versions: Iterable[str]) -> Made:
    """From the versions that results carry; of several the one of most openings."""
    parts = [version_parts(version) for version in versions]
    models = sorted({model for model, _ in parts})
    return Made(", ".join(models), max((openings for _, openings in parts), default=0))
