"""The fields of each form. What a value must satisfy the records check; here only that it is there."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, ClassVar

from django import forms
from django.core.validators import MaxLengthValidator

from inspections.vocabulary import ActionKind, AllocatedBy, Quantity, Unit
from inspections.web.entry import help as helps
from inspections.web.entry import measured
from inspections.web.present import words
from portfolio.models import Section
from portfolio.vocabulary import (
    Binder,
    DrainsTo,
    EventKind,
    Face,
    Purpose,
    RemovalReason,
    Role,
    TreatmentKind,
)

Choices = list[tuple[str, str]]
INITIALS_LENGTH = 100
#: The history's room for a reason.
REASON_LENGTH = 500


def _texts(choices: Iterable[tuple[Any, Any]]) -> Choices:
    return [(value, words.capital(str(label))) for value, label in choices]


def text(label: str, help_text: str = "", *, needed: str = "", **attributes: str) -> forms.CharField:
    """A line of text; ``needed`` is what is said where it may not be empty and is."""
    return forms.CharField(
        label=label,
        help_text=help_text,
        required=bool(needed),
        error_messages={"required": needed},
        widget=forms.TextInput(attrs=attributes),
    )


def number(label: str, help_text: str = "", *, needed: str = "", whole: bool = False) -> forms.CharField:
    """A number as text, so that it is kept as typed; with the number pad."""
    pad = "numeric" if whole else "decimal"
    return text(label, help_text, needed=needed, inputmode=pad, autocomplete="off")


def long_text(label: str, help_text: str = "", *, needed: str = "") -> forms.CharField:
    field = text(label, help_text, needed=needed)
    field.widget = forms.Textarea(attrs={"rows": 3})
    return field


def day(label: str, help_text: str = "", *, needed: str = "") -> forms.CharField:
    field = text(label, help_text, needed=needed)
    field.widget = forms.TextInput(attrs={"type": "date"})
    return field


def choice(
    label: str, choices: Iterable[tuple[Any, Any]], help_text: str = "", *, needed: str = "", empty: str = ""
) -> forms.ChoiceField:
    """One of some words; where none is right to begin with, ``empty`` says what no choice means."""
    listed = _texts(choices)
    return forms.ChoiceField(
        label=label,
        help_text=help_text,
        choices=[("", empty or "Choose"), *listed],
        required=bool(needed),
        error_messages={"required": needed, "invalid_choice": "Choose one of the list."},
    )


class RowForm(forms.Form):
    """Fields that become a row of a table, under an id that the form brings along.

    The id makes a form that is sent twice one record.
    """

    #: Fields whose number is kept in this unit and typed in the person's.
    kept_in: ClassVar[dict[str, Unit]] = {}
    #: Fields that are no cells of the row.
    not_in_row: ClassVar[tuple[str, ...]] = ()
    #: Fields folded away until they are wanted.
    more: ClassVar[tuple[str, ...]] = ()
    id = forms.UUIDField(
        widget=forms.HiddenInput, error_messages={"invalid": "Open this form anew: its id is broken."}
    )

    def __init__(self, *args: Any, system: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.system = system
        self.initial.setdefault("id", uuid.uuid4())
        for name, field in self.fields.items():
            # What reads a field aloud says its unit too.
            if name in self.kept_in:
                field.label = f"{field.label}, {measured.typed_label(self.kept_in[name], system)}"

    def row(self) -> dict[str, object]:
        """The row's cells, in the units that are kept."""
        row: dict[str, object] = {}
        for name in self.fields:
            if name == "id" or name in self.not_in_row:
                continue
            value = self.cleaned_data.get(name, "")
            if name in self.kept_in:
                value = measured.to_stored(value, self.kept_in[name], self.system)
            elif getattr(self.fields[name].widget, "attrs", {}).get("inputmode") == "decimal":
                value = measured.with_point(value)
            row[name] = value
        return row

    @property
    def first_fields(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in self.more]

    @property
    def more_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.more]

    @property
    def more_is_open(self) -> bool:
        """Whether something folded away is wrong, so that it must be seen."""
        return any(name in self.errors for name in self.more)


class Costed(RowForm):
    """Something that cost money."""

    cost = number("Cost", "The total of this work, without signs or commas for thousands.")
    currency = text(
        "Currency", "Three letters, such as EUR or USD.", autocapitalize="characters", maxlength="3"
    )


class TreatmentForm(Costed):
    """What was put on a wall."""

    kind = choice("What was put on", TreatmentKind.choices, needed="Choose what was put on.")
    applied_on = day("Put on", "The day it was finished.", needed="Say the day it was put on.")
    layer = number("Layer", helps.LAYER, needed="Write the layer’s number, such as 1.", whole=True)
    binder = choice("Binder", Binder.choices, helps.BINDER, empty="Unknown")
    mix = text("Mix", helps.MIX)
    thickness_mm = number("Thickness", helps.THICKNESS)
    applied_by = text("By whom", "The mason or firm.")
    found = forms.BooleanField(label="It was found there", help_text=helps.FOUND, required=False)
    applied_earliest = day("Put on at the earliest", helps.EARLIEST)
    area_m2 = number("Area", helps.AREA)
    face = choice("Side", Face.choices, empty="Not said")
    purpose = choice(
        "Meant as", Purpose.choices, "Sacrificial: meant to crumble in the wall’s stead.", empty="Not said"
    )
    drains_to = choice("Drains to", DrainsTo.choices, "For boards and channels.", empty="Not said")
    strength_mpa = number("Strength, MPa", "Of the mortar after four weeks, from the maker’s sheet.")
    mu = number("Vapour resistance factor µ", "From the maker’s sheet.")
    sd_m = number("Equivalent air layer sd, m", helps.SD)

    kept_in = {"thickness_mm": Unit.MM, "area_m2": Unit.M2}
    field_order = ["kind", "applied_on", "layer", "binder", "mix", "thickness_mm", "cost", "currency"]
    more = (
        "found", "applied_earliest", "applied_by", "area_m2", "face", "purpose", "drains_to",
        "strength_mpa", "mu", "sd_m",
    )  # fmt: skip


class RemovalForm(RowForm):
    """That a coat came off."""

    removed_on = day("Taken off, or fallen off", needed="Say the day it came off.")
    removal_reason = choice("Why", RemovalReason.choices, helps.REMOVAL, needed="Choose why it came off.")


class EventForm(Costed):
    """What happened to a wall or a house."""

    kind = choice("What happened", EventKind.choices, needed="Choose what happened.")
    happened_on = day("When", needed="Say the day it happened.")
    note = long_text("What was seen or done", helps.EVENT_NOTE)
    layer = number("Layer that it concerns", helps.LAYER, whole=True)
    area_m2 = number("Area that it concerns")

    kept_in = {"area_m2": Unit.M2}
    field_order = ["kind", "happened_on", "note", "cost", "currency"]
    more = ("layer", "area_m2")


class SourceCheckForm(RowForm):
    """A look at where the water comes from."""

    happened_on = day("Looked at on", needed="Say the day you looked.")
    note = long_text(
        "What you looked at, and what you found", helps.SOURCE_CHECK, needed="Write what you found."
    )


class ActionForm(Costed):
    """What was done about a flag."""

    kind = choice("What was done", ActionKind.choices, helps.ACTIONS, needed="Choose what was done.")
    done_on = day("When", needed="Say the day it was done.")
    note = long_text("What exactly", "Which patch, with what, by whom.")
    follow_up_on = day("Look again on", helps.FOLLOW_UP)
    photo = forms.FileField(
        label="Photo",
        help_text="Of the wall after the work. Its position is not kept.",
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"empty": "The file is empty; choose it again."},
    )
    field_order = ["kind", "done_on", "note", "photo", "follow_up_on", "cost", "currency"]
    # A file is kept first, and named by its id.
    not_in_row = ("photo",)


class ReasonForm(forms.Form):
    """Why a flag is answered so, or why a reading is none."""

    reason = long_text("What you saw", needed="Write why; it stays in the history.")

    def __init__(self, *args: Any, help_text: str, label: str = "What you saw", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].label = label
        self.fields["reason"].validators.append(
            MaxLengthValidator(REASON_LENGTH, f"There is room for {REASON_LENGTH} characters; shorten it.")
        )
        self.fields["reason"].help_text = help_text
        self.fields["reason"].widget.attrs["maxlength"] = str(REASON_LENGTH)


class TrialForm(RowForm):
    """A question asked of several sections."""

    question = long_text(
        "Question",
        "In one sentence, such as: does lime last longer than cement below the ground line?",
        needed="Write the question.",
    )
    code = text("Code", "Short, such as T3; it names the trial in files.", needed="Write a short code.")
    outcome = choice(
        "Decided by",
        [("affected_area_rate", "affected share of the coat, a year"), *Quantity.choices],
        helps.OUTCOME,
        needed="Choose what decides it.",
    )
    started_on = day("Begun on", "The day the first coat of the trial was put on.")
    planned_end_on = day("To end on")


class AllocationForm(RowForm):
    """One section's arm."""

    section_id = forms.ChoiceField(
        label="Section",
        error_messages={"required": "Choose the section.", "invalid_choice": "Choose one of the list."},
    )
    arm = text("Arm", helps.ARM, needed="Write which treatment it gets.")
    allocated_by = choice(
        "How it came by this arm", AllocatedBy.choices, helps.ALLOCATED, needed="Choose how it was decided."
    )
    note = long_text("Note", "Why this section, where somebody chose.")
    block = text("Block", "Sections that are alike and were allotted together, such as one house.")
    sequence = number("Number in turn", whole=True)
    more = ("block", "sequence")

    def __init__(self, *args: Any, sections: Iterable[Section], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(str(one.pk), f"{words.house_name(one.building)}, {_name(one)}") for one in sections]
        field = self.fields["section_id"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Choose"), *choices]


def _name(section: Section) -> str:
    return words.section_name(section, alone_on_wall=False)


class MemberForm(forms.Form):
    """Somebody who is to be let in."""

    username = text(
        "Name to sign in with",
        needed="Write the name they sign in with.",
        autocapitalize="none",
        autocomplete="off",
        spellcheck="false",
        maxlength="150",
    )
    role = choice("Role", Role.choices, needed="Choose a role.")
    password = forms.CharField(
        label="First password",
        help_text=helps.PASSWORD,
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    membership_id = forms.UUIDField(widget=forms.HiddenInput)


class VisitForm(forms.Form):
    """When a visit is, and whose."""

    day = day("Day", needed="Say the day of the visit.")
    time = text(
        "Time at which you begin",
        "All readings of the visit get it; the hour matters little.",
        needed="Write the time, such as 14:30.",
    )
    inspector = text(
        "Your initials",
        "As in earlier rounds. They are remembered until you sign out.",
        needed="Write your initials, so that it is known who read.",
        autocapitalize="characters",
        autocomplete="off",
        maxlength=str(INITIALS_LENGTH),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["time"].widget.input_type = "time"
