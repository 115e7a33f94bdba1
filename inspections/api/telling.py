"""Who is told of what: the log of deliveries, the programs that are told, and the rules."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, ClassVar
from zoneinfo import available_timezones

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from inspections.domain.telling import answering, calling, ruling
from inspections.domain.telling.outward import Refused, checked
from inspections.domain.telling.ruling import MOST_DAYS
from inspections.models import MailSettings, Reminder, TellingRules, Webhook, WebhookCall
from inspections.models.telling import REACHES
from inspections.vocabulary import Delivery, Stage, Subject
from portfolio.api.base import Base, Records
from portfolio.api.conditions import entity_tag, require_match
from portfolio.api.filters import (
    EVERYWHERE,
    Day,
    Filters,
    Identifier,
    Moment,
    OfBuilding,
    Text,
    Word,
    YesNo,
    refuse_unknown,
    span,
)
from portfolio.api.payloads import Shape
from portfolio.api.serializers import WholeSerializer, code_of, code_or_null, id_of, id_or_null
from portfolio.vocabulary import Role

DECIDING_ROLES = (Role.OWNER, Role.MANAGER)
#: What is told, of which place, at which stage, and what became of it.
TOLD = ("subject", "subject_id", "stage", "day", "building", "building_id", "section", "section_id")
BECAME = ("detail", "raised_at", "due_at", "state", "attempts", "sent_at")


class ToldFilters(OfBuilding):
    subject = Word(Subject.choices)
    subject_id = Identifier()
    stage = Word(Stage.choices)
    state = Word(Delivery.choices)
    day = Day()
    raised_after, raised_before = span(Moment, "raised_at")
    due_after, due_before = span(Moment, "due_at")


class ReminderFilters(ToldFilters):
    person = Text(field_name="person__username")
    urgent = YesNo()


class WebhookFilters(Filters):
    is_on = YesNo()


class WebhookCallFilters(ToldFilters):
    webhook_id = Identifier(field_name="webhook_id")


class WebhookShape(Shape):
    """A program that is to be told."""

    id = serializers.UUIDField(required=False, help_text="The client's own UUID.")
    url = serializers.CharField(max_length=500, help_text="Its address, with https.")
    of_plans = serializers.BooleanField(required=False, default=True)
    of_flags = serializers.BooleanField(required=False, default=True)
    of_dangers = serializers.BooleanField(required=False, default=True)

    def validate_url(self, url: str) -> str:
        try:
            checked(url)
        except Refused as refused:
            raise serializers.ValidationError(str(refused)) from refused
        return url


class TellingRulesShape(Shape):
    """What of the rules can be changed."""

    is_on = serializers.BooleanField(required=False)
    before_days = serializers.IntegerField(min_value=0, max_value=MOST_DAYS, required=False)
    before_reach = serializers.ChoiceField(REACHES, required=False)
    on_reach = serializers.ChoiceField(REACHES, required=False)
    after_days = serializers.IntegerField(min_value=1, max_value=MOST_DAYS, required=False)
    after_reach = serializers.ChoiceField(REACHES, required=False)
    later_days = serializers.IntegerField(min_value=1, max_value=MOST_DAYS, required=False)
    later_reach = serializers.ChoiceField(REACHES, required=False)
    flag_reach = serializers.ChoiceField(REACHES, required=False)
    unanswered_days = serializers.IntegerField(min_value=1, max_value=MOST_DAYS, required=False)
    unanswered_reach = serializers.ChoiceField(REACHES, required=False)
    danger_reach = serializers.ChoiceField(REACHES, required=False)


class MyMailsShape(Shape):
    """What of one's own settings can be changed."""

    email = serializers.EmailField(max_length=254, required=False, allow_blank=True)
    timezone = serializers.CharField(max_length=64, required=False, help_text="Such as Europe/Brussels.")
    wants_mail = serializers.BooleanField(required=False)
    hour = serializers.IntegerField(min_value=0, max_value=23, required=False)

    def validate_timezone(self, name: str) -> str:
        if name not in available_timezones():
            raise serializers.ValidationError("This is no time zone; write one such as Europe/Brussels.")
        return name


class ToldSerializer(WholeSerializer):
    building = code_of("building")
    building_id = id_of()
    section = code_or_null("section")
    section_id = id_or_null()
    detail = serializers.DictField(help_text="What was known when it was raised.")


class ReminderSerializer(ToldSerializer):
    person = serializers.CharField(source="person.username", read_only=True)
    mail_id = id_or_null()
    mail_state = serializers.CharField(source="mail.state", read_only=True, default=None, allow_null=True)
    error = serializers.CharField(source="mail.error", read_only=True, default=None, allow_null=True)

    class Meta:
        model = Reminder
        fields = (
            "id",
            "person",
            *TOLD,
            "urgent",
            *BECAME,
            "again",
            "mail_id",
            "mail_state",
            "error",
        )


class WebhookSerializer(WholeSerializer):
    class Meta:
        model = Webhook
        fields = ("id", "url", "is_on", "of_plans", "of_flags", "of_dangers", "entered_at", "revision")


class NewWebhookSerializer(WebhookSerializer):
    """With the secret, which is never given again."""

    class Meta:
        model = Webhook
        fields = (*WebhookSerializer.Meta.fields, "secret")


class WebhookCallSerializer(ToldSerializer):
    webhook_id = id_of()

    class Meta:
        model = WebhookCall
        fields = ("id", "webhook_id", *TOLD, *BECAME, "status", "error")


class TellingRulesSerializer(WholeSerializer):
    class Meta:
        model = TellingRules
        fields = (*ruling.FIELDS, "revision")


class MyMailsSerializer(WholeSerializer):
    email = serializers.CharField(source="user.email", read_only=True)
    timezone = serializers.CharField(source="user.timezone", read_only=True)
    has_calendar = serializers.SerializerMethodField()

    class Meta:
        model = MailSettings
        fields = ("email", "timezone", "wants_mail", "hour", "has_calendar", "revision")

    def get_has_calendar(self, wishes: MailSettings) -> bool:
        return wishes.calendar_digest is not None


class ReminderViewSet(Records):
    """The log of deliveries: each person, what they are or were told of, and what became of it."""

    is_tagged = False
    queryset = Reminder.objects.select_related("person", "mail", "building", "section")
    serializer_class = ReminderSerializer
    filterset_class = ReminderFilters
    orderings = {"raised_at": ("-raised_at",), "due_at": ("due_at",), "day": ("day",)}


class WebhookViewSet(Records):
    """Programs that are told; owners and managers add and remove them."""

    writing_roles = DECIDING_ROLES
    queryset = Webhook.objects.all()
    serializer_class = WebhookSerializer
    filterset_class = WebhookFilters
    orderings = {"entered_at": ("entered_at",)}

    @extend_schema(request=WebhookShape, responses={200: WebhookSerializer, 201: NewWebhookSerializer})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Let a program be told (201). The answer holds its secret, which is never shown again.

        The same id with the same values again gives the first one (200), without its secret.
        """
        refuse_unknown(request, EVERYWHERE)
        values = WebhookShape.of(request.data)
        hook, is_new = calling.add_webhook_once(
            organisation=self.organisation,
            user=self.user,
            webhook_id=values.pop("id", None),
            values=values,
        )
        if not is_new:
            return self.answer_anew(hook)
        headers = {
            "ETag": entity_tag(hook),
            "Location": reverse(f"{self.basename}-detail", [hook.pk], request=request),
        }
        return Response(NewWebhookSerializer(hook).data, status=HTTPStatus.CREATED, headers=headers)

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Tell the program no more; what it was told is forgotten with it."""
        calling.remove_webhook(webhook=self.to_change(), organisation=self.organisation, user=self.user)
        return Response(status=HTTPStatus.NO_CONTENT)


class WebhookCallViewSet(Records):
    """What programs are or were told of, and what they answered."""

    is_tagged = False
    queryset = WebhookCall.objects.select_related("building", "section")
    serializer_class = WebhookCallSerializer
    filterset_class = WebhookCallFilters
    orderings = {"raised_at": ("-raised_at",), "due_at": ("due_at",)}


class OneOfAKind(Base):
    """Something of which each has exactly one, so that it needs no id."""

    renderer_classes = [JSONRenderer]
    # Changed like a record of a list, and described so.
    detail = is_tagged = True
    serializer_class: ClassVar[type[WholeSerializer]]

    def answer(self, record: Any) -> Response:
        return Response(self.serializer_class(record).data, headers={"ETag": entity_tag(record)})


class TellingRulesView(OneOfAKind):
    """How early, how late, and how far up the organisation's people are told."""

    writing_roles = DECIDING_ROLES
    serializer_class = TellingRulesSerializer

    @extend_schema(operation_id="telling_rules_retrieve", responses=TellingRulesSerializer)
    def get(self, request: Request) -> Response:
        """The organisation's rules."""
        refuse_unknown(request, EVERYWHERE)
        return self.answer(ruling.kept_rules(self.organisation))

    @extend_schema(request=TellingRulesShape, responses=TellingRulesSerializer)
    def patch(self, request: Request) -> Response:
        """For owners and managers: change the rules that are sent."""
        refuse_unknown(request, EVERYWHERE)
        rules = ruling.kept_rules(self.organisation)
        require_match(request, rules)
        values: Mapping[str, Any] = TellingRulesShape.of(request.data, partial=True)
        changed = ruling.change_rules(
            rules=rules, organisation=self.organisation, user=self.user, values=values
        )
        return self.answer(changed)


class MyMailsView(OneOfAKind):
    """When and whether you are written to."""

    across_organisations = True
    writing_roles = tuple(Role)
    serializer_class = MyMailsSerializer

    @extend_schema(operation_id="my_mails_retrieve", responses=MyMailsSerializer)
    def get(self, request: Request) -> Response:
        """Your own settings."""
        refuse_unknown(request, EVERYWHERE)
        return self.answer(answering.wishes_kept(self.user))

    @extend_schema(request=MyMailsShape, responses=MyMailsSerializer)
    def patch(self, request: Request) -> Response:
        """Change the settings that are sent."""
        refuse_unknown(request, EVERYWHERE)
        wishes = answering.wishes_kept(self.user)
        require_match(request, wishes)
        values = MyMailsShape.of(request.data, partial=True)
        changed = answering.change_wishes(person=self.user, values=values, now=timezone.now())
        return self.answer(changed)
