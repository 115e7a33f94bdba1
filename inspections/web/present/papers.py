"""A house's papers in sentences."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from inspections.web.present import dates, words
from portfolio.models import Paper


def lines(papers: Iterable[Paper]) -> list[tuple[UUID, str]]:
    """Each paper's id and what is said of it."""
    return [
        (paper.pk, f"{words.capital(paper.get_kind_display())}: {paper.title}. {line(paper)}")
        for paper in papers
    ]


def line(own: Paper) -> str:
    """Such as "Open, by 3 March 2026, issued by the city."."""
    parts = [words.capital(own.get_state_display())]
    if own.closed_on:
        parts[0] += f" {dates.day(own.closed_on)}"
    elif own.due_on:
        parts.append(f"by {dates.day(own.due_on)}")
    if own.issued_by:
        parts.append(f"issued by {own.issued_by}")
    return ", ".join(parts) + "."


def document_line(own: Paper) -> str:
    """Such as "PDF, 120 KiB"; empty without a document."""
    if not own.sha256 or own.bytes is None:
        return ""
    kind = "PDF" if own.content_type == "application/pdf" else "picture"
    return f"{kind}, {max(own.bytes // 1024, 1):,} KiB"
