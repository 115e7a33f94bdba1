"""An evidence sheet as a PDF, for programs.

How a sheet looks is the pages' concern: its writer is named by string, as the writer of mails is.
"""

from __future__ import annotations

from typing import Final

from django.utils.module_loading import import_string

from inspections.domain.coat_evidence import CoatQuestion
from inspections.models import Trial
from portfolio.models import Organisation

_WRITERS: Final = "inspections.web.sheet_files"


def trial_sheet(trial: Trial, system: str) -> bytes:
    """A trial's sheet for a reader of ``system``; raises a `Refusal` where the trial can't be answered."""
    content: bytes = import_string(f"{_WRITERS}.trial_content")(trial, system)
    return content


def coat_sheet(organisation: Organisation, question: CoatQuestion, system: str) -> bytes:
    """The sheet of a kind of coat; raises a `Refusal` where there is no such coat."""
    content: bytes = import_string(f"{_WRITERS}.coats_content")(organisation, question, system)
    return content
