"""Entity tags, and changes that are made only to the state that was read (RFC 9110, section 13.1.1)."""

from __future__ import annotations

import hashlib
import json
import re
from typing import Any

from rest_framework.request import Request

from portfolio.api.refusals import PreconditionFailed, PreconditionRequired
from portfolio.domain.history import as_json
from portfolio.domain.refusals import Stale

_TAGS = re.compile(r'(W/)?"([^"]*)"')


def entity_tag(record: Any) -> str:
    """The tag of a record's state: its revision, or of a kind that counts none a digest of its content."""
    if hasattr(record, "revision"):
        return f'"{record.revision}"'
    content = {
        field.attname: as_json(getattr(record, field.attname)) for field in record._meta.concrete_fields
    }
    digest = hashlib.sha256(json.dumps(content, sort_keys=True, default=str).encode())
    return f'"{digest.hexdigest()[:16]}"'


def require_match(request: Request, record: Any) -> None:
    """Refuse a change that does not say, or wrongly says, which state of the record it is made to."""
    asked = request.headers.get("If-Match")
    if asked is None:
        raise PreconditionRequired
    if asked.strip() == "*":
        return
    # Weak tags never match: they do not say that the content is the same.
    strong = {f'"{tag}"' for weak, tag in _TAGS.findall(asked) if not weak}
    if entity_tag(record) not in strong:
        raise PreconditionFailed(str(Stale()))
