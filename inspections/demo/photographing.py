"""Pictures of some walls of the trials, before their coats and at their last visit."""

from __future__ import annotations

import datetime as dt
import io

from django.db.models import Sum

from inspections.demo.pictures import draw_wall
from inspections.domain.photos import store_photo
from inspections.models import Allocation, Reading
from inspections.vocabulary import Quantity
from portfolio.models import Organisation, Section, Treatment, User

#: How a coat of a binder looks; others are as lime.
COLOURS = {"portland_cement": "#a9a7a1", "cement_lime": "#bdb9ad"}
LIME = "#e6dfcf"
CAPTION = "Drawn from the record (invented)"


def photograph(organisation: Organisation, user: User) -> int:
    """Keep two pictures of the first wall of each arm of each trial; how many there are."""
    done = set()
    kept = 0
    allotted = Allocation.objects.of(organisation).standing().select_related("trial", "section__building")
    for one in allotted.order_by("trial__code", "sequence"):
        if (one.trial_id, one.arm) not in done and one.trial.started_on is not None:
            done.add((one.trial_id, one.arm))
            kept += _of_section(one.section, one.trial.started_on, user)
    return kept


def _of_section(section: Section, started: dt.date, user: User) -> int:
    coats = Treatment.objects.standing().filter(section=section, applied_on__gte=started)
    coat = coats.order_by("applied_on", "layer").first()
    seed = int(section.code[1:])
    readings = Reading.objects.standing().filter(section=section)
    before = readings.filter(taken_at__date__lt=coat.applied_on if coat else started).order_by("-taken_at")
    pictures = [(before.first(), draw_wall(seed))]
    if coat:
        since = readings.filter(taken_at__date__gte=coat.applied_on, quantity=Quantity.SPALL_AREA)
        last = since.filter(taken_at__date__lt=coat.removed_on) if coat.removed_on else since
        reading = last.order_by("-taken_at").first()
        colour = COLOURS.get(coat.binder, LIME)
        pictures.append((reading, draw_wall(seed, colour, _fallen(section, reading))))
    for reading, content in pictures:
        if reading is not None:
            store_photo(
                building=section.building,
                section=section,
                visit=reading.visit,
                file=io.BytesIO(content),
                taken_at=reading.taken_at,
                caption=CAPTION,
                user=user,
            )
    return sum(reading is not None for reading, _ in pictures)


def _fallen(section: Section, reading: Reading | None) -> float:
    """The share of the wall that had fallen at the visit of a reading."""
    if reading is None or not section.length_m or not section.height_m:
        return 0.0
    own = Reading.objects.standing().filter(
        section=section, visit=reading.visit_id, quantity=Quantity.SPALL_AREA
    )
    return float(own.aggregate(area=Sum("value"))["area"] or 0.0) / (section.length_m * section.height_m)
