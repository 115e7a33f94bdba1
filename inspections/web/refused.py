"""What was refused, said by the form that asked for it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.forms import BaseForm

from portfolio.domain.refusals import Invalid, Refusal


@contextmanager
def told_by(form: BaseForm) -> Iterator[None]:
    """Whatever is refused within becomes the form's error, beside the field that it is about."""
    try:
        yield
    except Invalid as refused:
        for name, text in refused.errors:
            form.add_error(name or None, text)
    except Refusal as refused:
        form.add_error(None, str(refused))
