"""What follows from the readings: assessments, flags, actions and plans."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint
from django.db.models.functions import Coalesce

from inspections.models.field import Photo
from inspections.vocabulary import ActionKind, FlagState, PlanReason, Verdict
from portfolio.models import Building, Organisation, Paper, Record, Scoped, Section
from portfolio.models.base import only, ordered, positive
from portfolio.models.works import or_none

#: A flag in one of these states still needs somebody.
LIVE_FLAG_STATES = (FlagState.OPENED, FlagState.ACKNOWLEDGED, FlagState.CONFIRMED)


class Assessment(Scoped):
    """What the readings up to a date say of a section, made by a stated version of the model."""

    SCOPE: ClassVar[str] = "section__building__organisation"

    section = models.ForeignKey(Section, on_delete=models.CASCADE, related_name="assessments")
    as_of = models.DateField()
    made_at = models.DateTimeField(auto_now=True)
    model_version = models.CharField(max_length=40)
    verdict = models.CharField(max_length=20, choices=Verdict)
    trapped_probability = models.FloatField(help_text="Repeated from the result, for ranking.")
    since = models.DateField(null=True, blank=True)
    next_inspection = models.DateField(null=True, blank=True)
    current = models.BooleanField(default=True, help_text="The section's latest.")
    result = models.JSONField(help_text="The whole result, in the contract's shape.")

    class Meta(Scoped.Meta):
        ordering = ("section__building__code", "section__code", "-as_of")
        constraints = (
            UniqueConstraint(fields=("section", "as_of"), name="assessment_key"),
            UniqueConstraint(fields=("section",), condition=Q(current=True), name="assessment_one_current"),
            only("verdict", Verdict.values, "assessment"),
            CheckConstraint(
                condition=Q(trapped_probability__gte=0) & Q(trapped_probability__lte=1),
                name="assessment_trapped_probability_share",
            ),
        )

    def __str__(self) -> str:
        return f"{self.section} on {self.as_of}: {self.verdict}"


class Replay(Scoped):
    """A section's verdict as it would have been given at each past visit, from what was known then."""

    SCOPE: ClassVar[str] = "section__building__organisation"

    section = models.OneToOneField(Section, on_delete=models.CASCADE, related_name="replay")
    made_at = models.DateTimeField()
    model_version = models.CharField(max_length=40)
    looks = models.JSONField(help_text="In time: as_of, verdict and probability of each look.")
    alone = models.JSONField(
        default=list,
        help_text="By the model alone, in the same order: probability, and days read under the coat.",
    )
    digests = models.JSONField(help_text="Of all that each look saw, in the same order.")
    readings = models.PositiveIntegerField(help_text="The section's readings.")
    entered_later = models.PositiveIntegerField(help_text="Those entered over a week after they were taken.")

    class Meta(Scoped.Meta):
        ordering = ("section__building__code", "section__code")

    def __str__(self) -> str:
        return f"{self.section}: {len(self.looks)} looks"


class Flag(Scoped):
    """An assessment that somebody must act on. It opens and closes at different levels."""

    SCOPE: ClassVar[str] = "section__building__organisation"

    section = models.ForeignKey(Section, on_delete=models.CASCADE, related_name="flags")
    verdict = models.CharField(max_length=20, choices=Verdict)
    state = models.CharField(max_length=12, choices=FlagState, default=FlagState.OPENED)
    opened_on = models.DateField()
    opened_by = models.ForeignKey(
        Assessment, null=True, on_delete=models.SET_NULL, related_name="opened_flags"
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    reason = models.TextField(blank=True, help_text="Why it was confirmed or dismissed, or why it closed.")
    closed_on = models.DateField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta(Scoped.Meta):
        ordering = ("-opened_on", "id")
        constraints = (
            UniqueConstraint(
                fields=("section", "verdict"),
                condition=Q(state__in=list(LIVE_FLAG_STATES)),
                name="flag_one_live",
            ),
            only("verdict", Verdict.values, "flag"),
            only("state", FlagState.values, "flag"),
            ordered("opened_on", "closed_on", "flag"),
            CheckConstraint(
                condition=~Q(state=FlagState.CLOSED) | Q(closed_on__isnull=False), name="flag_closed_dated"
            ),
            CheckConstraint(
                condition=~Q(state__in=[FlagState.CONFIRMED, FlagState.DISMISSED]) | ~Q(reason=""),
                name="flag_answer_reasoned",
            ),
        )

    def __str__(self) -> str:
        return f"{self.section}: {self.verdict}, {self.state}"


class Action(Record):
    """What was done about a wall, and when to look whether it worked."""

    SCOPE: ClassVar[str] = "section__building__organisation"

    section = models.ForeignKey(Section, on_delete=models.CASCADE, related_name="actions")
    flag = models.ForeignKey(Flag, null=True, blank=True, on_delete=models.SET_NULL, related_name="actions")
    kind = models.CharField(max_length=15, choices=ActionKind)
    done_on = models.DateField()
    cost = models.DecimalField(max_digits=14, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    photo = models.ForeignKey(Photo, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    follow_up_on = models.DateField(null=True, blank=True)
    outcome = models.TextField(blank=True, help_text="What the follow-up showed.")
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ("-done_on", "id")
        constraints = (
            only("kind", ActionKind.values, "action"),
            positive("cost", "action", or_zero=True),
            ordered("done_on", "follow_up_on", "action"),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.done_on}"


class Plan(Scoped):
    """What is next due at a house: the look at one section, at the house as a whole, or one paper.

    A paper's row has a paper and perhaps a section; a house's has neither.
    """

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="plans")
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="plans"
    )
    paper = models.ForeignKey(Paper, null=True, blank=True, on_delete=models.CASCADE, related_name="plans")
    due_on = models.DateField(db_index=True, help_text="As planned, with the round it belongs to.")
    falls_on = models.GeneratedField(
        expression=Coalesce("postponed_to", "due_on"),
        output_field=models.DateField(),
        db_persist=True,
        db_index=True,
        help_text="The day it counts as due: as postponed, else as planned.",
    )
    alone_on = models.DateField(
        null=True, blank=True, help_text="When it would be due if no round took it along sooner."
    )
    last_on = models.DateField(null=True, blank=True, help_text="The visit that settled the one before.")
    reason = models.CharField(max_length=12, choices=PlanReason)
    detail = models.CharField(max_length=500, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True, blank=True, help_text="What the look will take.")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="plans",
        help_text="Who is to go: who went last, unless it was handed over.",
    )
    computed_at = models.DateTimeField(auto_now=True)
    postponed_to = models.DateField(null=True, blank=True)
    postponed_reason = models.CharField(max_length=500, blank=True)

    class Meta(Scoped.Meta):
        ordering = ("falls_on", "id")
        constraints = (
            UniqueConstraint("building", or_none("section"), or_none("paper"), name="plan_key"),
            only("reason", PlanReason.values, "plan"),
            CheckConstraint(
                condition=Q(postponed_to__isnull=True) | ~Q(postponed_reason=""),
                name="plan_postponed_reasoned",
            ),
        )

    def __str__(self) -> str:
        return f"due {self.falls_on}"


#: The policy's intervals in months: by verdict, of a house and of a trial's sections.
_INTERVALS = (*Verdict.values, "house", "trial")


def _months(default: int, help_text: str) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(default=default, help_text=help_text)


class Policy(Scoped):
    """How often an organisation looks at its walls: the longest times that it lets pass."""

    organisation = models.OneToOneField(Organisation, on_delete=models.CASCADE, related_name="policy")
    trapped_water_months = _months(3, "Between looks at a wall that holds water.")
    water_entry_months = _months(3, "Between looks at a wall that lets water in.")
    condensation_months = _months(6, "Between looks at a wall that sweats.")
    surface_wear_months = _months(6, "Between looks at a face that wears.")
    drying_out_months = _months(3, "Between looks at a wall that dries out.")
    insufficient_data_months = _months(3, "Between looks at a wall with too few readings.")
    stable_months = _months(12, "The longest time between looks at a stable wall.")
    house_months = _months(12, "Between looks at a house as a whole: gutter, downpipe, paving, pipes.")
    trial_months = _months(3, "Between looks at the sections of a trial that runs, from its start on.")
    new_coat_months = models.CharField(
        max_length=100,
        default="1, 3, 6, 12",
        blank=True,
        help_text="Months after a new coat at which it is looked at.",
    )
    late_winter = models.CharField(
        max_length=5, default="03-01", blank=True, help_text="MM-DD: the end of winter, for stable walls."
    )
    late_summer = models.CharField(
        max_length=5, default="09-01", blank=True, help_text="MM-DD: the end of summer, for stable walls."
    )
    flag_days = models.PositiveSmallIntegerField(default=28, help_text="From a flag's opening to the look.")
    event_days = models.PositiveSmallIntegerField(
        default=14, help_text="From a flood, a heavy rain or a sump failure to the look."
    )
    round_days = models.PositiveSmallIntegerField(
        default=30, help_text="How much sooner a section may be looked at to go with its house's round."
    )
    revision = models.PositiveIntegerField(default=1)

    class Meta(Scoped.Meta):
        ordering = ("organisation__slug",)
        verbose_name_plural = "policies"
        constraints = tuple(positive(f"{name}_months", "policy") for name in _INTERVALS)

    def __str__(self) -> str:
        return f"policy of {self.organisation}"
