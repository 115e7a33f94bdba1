"""What is known of the walls that coats were put on: how damp each was beforehand, beside its house."""

from __future__ import annotations

import numpy as np
from django.db.models import CharField
from django.db.models.functions import Cast

from inspections.analysis.dampness import Damp, dampness_before
from inspections.analysis.lifetimes import IntArray
from inspections.analysis.records import FloatArray
from inspections.models import Reading
from inspections.queries.lives import CoatBook, fetch, visits_until
from inspections.vocabulary import Qualifier, Quantity
from portfolio.models import Organisation

_MOISTURE = (Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE)
#: Heights within this of each other, mm, are taken for one.
_STEP = 250.0


def dampness(organisation: Organisation, book: CoatBook) -> FloatArray:
    """How damp each coat's wall was before it, as a normal score within its house (n,); NaN: not known."""
    new = ~book.coats.found
    if not new.any():
        return np.full(len(book.coats), np.nan)
    readings = Reading.objects.of(organisation).standing()
    damp = readings.filter(
        quantity__in=_MOISTURE,
        section__isnull=False,
        section__voided_at=None,
        replicate=1,
        visit__day__lte=book.as_of,
    )
    keyed = damp.order_by().annotate(
        section_key=Cast("section_id", CharField()),
        house_key=Cast("building_id", CharField()),
        visit_key=Cast("visit_id", CharField()),
        meter=Cast("instrument_id", CharField()),
    )
    rows = fetch(
        keyed.values_list(
            "section_key",
            "house_key",
            "visit_key",
            "quantity",
            "meter",
            "unit",
            "height_mm",
            "value",
            "qualifier",
        )
    )
    if not rows:
        return np.full(len(book.coats), np.nan)
    days, _ = visits_until(organisation, book.as_of)
    section, house, visit, quantity, meter, unit, height, value, qualifier = zip(*rows, strict=True)
    # Sections with a coat keep the coats' numbers; the others are only there to be compared with.
    numbers = dict(zip(book.section, book.coats.section.tolist(), strict=True))
    spare = max(numbers.values(), default=-1) + 1
    for key in section:
        if key not in numbers:
            numbers[key] = spare
            spare += 1
    band = np.round(np.array([-1e3 if one is None else one for one in height], dtype=float) / _STEP)
    # Without an instrument the unit says which scale it was.
    scale = [who or one for who, one in zip(meter, unit, strict=True)]
    place = _numbered(list(zip(quantity, scale, band.tolist(), strict=True)))
    found = Damp(
        section=np.array([numbers[key] for key in section], dtype=np.int64),
        house=_numbered(house),
        day=np.array([days.get(key, np.nan) for key in visit], dtype=float),
        place=place,
        value=np.array(value, dtype=float),
        beyond=np.array([_BEYOND.get(one, 0.0) for one in qualifier], dtype=float),
    )
    return dampness_before(found, book.coats)


_BEYOND = {str(Qualifier.ABOVE): 1.0, str(Qualifier.BELOW): -1.0}


def _numbered(words: list[object] | tuple[object, ...]) -> IntArray:
    """A number for each different word."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(word, len(numbers)) for word in words], dtype=np.int64)
