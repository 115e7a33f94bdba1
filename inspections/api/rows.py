"""What is answered to many rows at once: the counts, or the faults by row and column."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, ClassVar

from rest_framework import serializers

from inspections.records import Fault, RecordsRefused
from portfolio.api.refusals import BadRows


class CountsSerializer(serializers.Serializer[Any]):
    """What became of the rows."""

    always_whole: ClassVar[bool] = True

    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()


@contextmanager
def refused_rows() -> Iterator[None]:
    """Answer the import's own faults as a problem."""
    try:
        yield
    except RecordsRefused as refused:
        raise BadRows([_error(fault) for fault in refused.errors], refused.total) from refused


def _error(fault: Fault) -> dict[str, Any]:
    place = {"row": fault.line} if fault.line else {}
    return {**place, **({"column": fault.column} if fault.column else {}), "detail": fault.problem}
