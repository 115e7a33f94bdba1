"""Entering, correcting and voiding over HTTP: shape and conditions here, everything else in the domain."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inspections.api.shapes import ID, REASON, row_schema
from inspections.records.entering import correct_row, enter_row, fields_of_rows, void_record
from inspections.records.tables import Table
from portfolio.api.base import Records
from portfolio.api.filters import EVERYWHERE, refuse_unknown
from portfolio.api.payloads import ReasonShape, object_of, uuid_of
from portfolio.api.refusals import AtOdds


class Corrected(Records):
    """Records that are corrected and voided here, by the columns of their table."""

    table: ClassVar[Table]

    def update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Correct the record as a whole: what is left out becomes empty. The old values are kept."""
        return self._correct(request, whole=True)

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Correct the fields that are sent. The old values are kept."""
        return self._correct(request, whole=False)

    @extend_schema(request=ReasonShape)
    @action(detail=True, methods=["post"])
    def void(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take the record out of use, and say why. It and its history stay, but count no more."""
        record = self.to_change()
        reason = ReasonShape.of(request.data)["reason"]
        voided = void_record(
            table=self.table,
            record=record,
            organisation=self.organisation,
            user=self.user,
            reason=reason,
        )
        return self.answer_anew(voided)

    def _correct(self, request: Request, *, whole: bool) -> Response:
        record = self.to_change()
        row = object_of(request.data, [ID, *fields_of_rows(self.table), REASON])
        if row.pop(ID, None) not in (None, str(record.pk)):
            raise AtOdds("A record keeps its id; leave it out, or enter another record.")
        reason = ReasonShape.of({"reason": row.pop(REASON)})["reason"] if row.get(REASON) else ""
        row.pop(REASON, None)
        corrected = correct_row(
            table=self.table,
            record=record,
            organisation=self.organisation,
            user=self.user,
            row=row,
            reason=reason,
            whole=whole,
        )
        return self.answer_anew(corrected)

    @classmethod
    def payload_schema(cls, action: str) -> Mapping[str, Any] | None:
        """What is sent for one of the usual actions, for the description."""
        if action not in ("create", "update", "partial_update"):
            return None
        return row_schema(cls.table, action)


class Entered(Corrected):
    """Records that are entered here too, each under the client's own UUID."""

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Enter a record (201). The same id with the same values again gives the first one (200)."""
        refuse_unknown(request, EVERYWHERE)
        row = object_of(request.data, [ID, *fields_of_rows(self.table)])
        record_id: uuid.UUID | None = uuid_of(row.pop(ID, None))
        record, is_new = enter_row(
            table=self.table,
            organisation=self.organisation,
            user=self.user,
            row=row,
            record_id=record_id,
        )
        return self.answer_anew(record, HTTPStatus.CREATED if is_new else HTTPStatus.OK)
