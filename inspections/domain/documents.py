"""The document of a paper: a PDF as it was sent, or a picture of the sheet; private, under its SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import BinaryIO, Final

from django.utils.text import slugify

from inspections.domain import pictures
from inspections.domain.files import bounded, place_of, write_once
from portfolio.domain import records
from portfolio.domain.records import Kind
from portfolio.domain.refusals import Invalid
from portfolio.models import Organisation, Paper, User

FOLDER: Final = "documents"
PDF: Final = "application/pdf"
ENDINGS: Final[Mapping[str, str]] = {PDF: "pdf", pictures.CONTENT_TYPE: "jpg"}
MOST_BYTES: Final = pictures.MOST_BYTES
#: How a PDF begins, and what stands near its end (ISO 32000-1:2008, 7.5.2 and 7.5.5).
_BEGINS, _ENDS, _NEAR_THE_END = b"%PDF-", b"%%EOF", 2048


class DocumentMissing(Exception):
    """A document is known whose file is not on this machine, or a paper has none."""


def store_document(*, paper: Paper, file: BinaryIO, organisation: Organisation, user: User) -> Paper:
    """Keep a document with its paper, in the place of the one before, which stays in the history.

    A picture is turned upright and kept without its metadata. Raises a `Refusal`.
    """
    content, content_type = _checked(bounded(file, MOST_BYTES))
    digest = hashlib.sha256(content).hexdigest()
    write_once(place_of(FOLDER, digest, ENDINGS[content_type]), content)
    values = {"sha256": digest, "content_type": content_type, "bytes": len(content)}
    return records.correct(
        kind=Kind(Paper),
        record=paper,
        organisation=organisation,
        user=user,
        values=values,
        reason="the document",
    )


def open_document(paper: Paper) -> BinaryIO:
    """The paper's document; raises `DocumentMissing`."""
    if not paper.sha256:
        raise DocumentMissing
    try:
        return place_of(FOLDER, paper.sha256, ENDINGS[paper.content_type]).open("rb")
    except FileNotFoundError:
        raise DocumentMissing from None


def document_name(paper: Paper) -> str:
    """What the file is called when it is saved: house, kind and title, in plain letters."""
    parts = (slugify(part)[:60] for part in (paper.building.code, paper.kind, paper.title))
    return "-".join(filter(None, parts)) + f".{ENDINGS[paper.content_type]}"


def _checked(file: BinaryIO) -> tuple[bytes, str]:
    """The content as it is kept, and its type, told from the content alone."""
    beginning = file.read(len(_BEGINS))
    file.seek(0)
    if beginning != _BEGINS:
        try:
            return pictures.prepare(file).content, pictures.CONTENT_TYPE
        except Invalid as refused:
            raise Invalid([("file", f"Send a PDF or a picture of the sheet. {refused}")]) from None
    content = file.read()
    if _ENDS not in content[-_NEAR_THE_END:]:
        raise Invalid([("file", "The PDF ends too soon; save it anew and send it again.")])
    return content, PDF
