"""A flag's page: what it says, and the answer to it. The source of the water comes before the coat."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, BinaryIO, cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from inspections.domain.answers import acknowledge_flag, confirm_flag, dismiss_flag
from inspections.domain.photos import store_photo
from inspections.models import LIVE_FLAG_STATES, Flag, Photo
from inspections.queries import entry
from inspections.queries.due import today_at
from inspections.records.further import ACTIONS
from inspections.records.tables import EVENTS
from inspections.vocabulary import ActionKind, FlagState
from inspections.web.entry import forms, saving
from inspections.web.entry import help as helps
from inspections.web.entry.access import Opened, form_page, opened, page
from inspections.web.entry.works import first_values, remember_currency
from inspections.web.present import cautions, dates, ledger, words
from portfolio.domain.refusals import Refusal
from portfolio.models import Event
from portfolio.vocabulary import EventKind

#: What the pressed button asks for.
DO = "do"
#: Each answer by its button: the state it leads to, and the domain's function.
ANSWERS: dict[str, tuple[FlagState, Callable[..., Flag]]] = {
    "acknowledge": (FlagState.ACKNOWLEDGED, acknowledge_flag),
    "confirm": (FlagState.CONFIRMED, confirm_flag),
    "dismiss": (FlagState.DISMISSED, dismiss_flag),
}


@form_page
def flag(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Answer a flag; a confirmed one leads to the source check and then to what was done."""
    found: Opened[Flag] = opened(request, entry.find_flag, pk)
    asked = request.POST.get(DO, "") if request.method == "POST" else ""
    filled = _forms(request, found, asked)
    if asked in ANSWERS and _answered(found, asked, filled):
        messages.success(request, f"The flag is {found.record.get_state_display()}.")
        return redirect("flag", pk)
    if asked == "check" and _checked(found, filled["check"]):
        messages.success(request, "The source check is written down.")
        return redirect("flag", pk)
    check = entry.source_check_since(found.organisation, found.record.section, found.record.opened_on)
    if asked == "act" and _acted(request, found, filled, check):
        return redirect("section", found.record.section_id)
    return _page(request, found, filled, check)


def _forms(request: HttpRequest, found: Opened[Flag], asked: str) -> dict[str, Any]:
    """The page's forms, the pressed one with what was sent."""
    today = today_at(found.record.section.building)
    system = found.user.units
    initial = first_values(request, today, "happened_on", "done_on")

    def sent(name: str) -> Any:
        return request.POST if asked == name else None

    return {
        "acknowledge": None,
        "confirm": forms.ReasonForm(sent("confirm"), prefix="confirm", help_text=helps.CONFIRM),
        "dismiss": forms.ReasonForm(sent("dismiss"), prefix="dismiss", help_text=helps.DISMISS),
        "check": forms.SourceCheckForm(
            sent("check"), prefix="check", initial={**initial, "id": uuid4()}, system=system
        ),
        "act": forms.ActionForm(
            sent("act"),
            request.FILES or None,
            prefix="act",
            initial={**initial, "id": uuid4()},
            system=system,
        ),
    }


def _answered(found: Opened[Flag], asked: str, filled: dict[str, Any]) -> bool:
    """Answer the flag; the same answer again changes nothing."""
    state, answer = ANSWERS[asked]
    form = filled[asked]
    if form is not None and not form.is_valid():
        return False
    if found.record.state == state:
        return True
    reason = {} if form is None else {"reason": form.cleaned_data["reason"]}
    try:
        answer(flag=found.record, organisation=found.organisation, user=found.user, **reason)
    except Refusal as refused:
        filled["refused"] = str(refused)
        return False
    return True


def _checked(found: Opened[Flag], form: forms.SourceCheckForm) -> bool:
    if not form.is_valid():
        return False
    fixed = {**saving.place_cells(found.record.section), "kind": EventKind.SOURCE_CHECK.value}
    return saving.enter(found, EVENTS, form, fixed) is not None


def _acted(request: HttpRequest, found: Opened[Flag], filled: dict[str, Any], check: Event | None) -> bool:
    """Enter what was done, once the flag is confirmed and its source was looked for."""
    form: forms.ActionForm = filled["act"]
    if check is None or found.record.state not in (FlagState.CONFIRMED, FlagState.CLOSED):
        filled["refused"] = "Confirm the flag and write the source check down first."
        return False
    if not form.is_valid():
        return False
    with transaction.atomic():
        photo = _photo(found, form)
        action = None if form.errors else saving.enter(found, ACTIONS, form, _fixed(found, photo))
        if action is None:
            # A photo of what was not entered is not kept either.
            transaction.set_rollback(True)
            return False
    remember_currency(request, form)
    end = "The flag stays open." if action.kind == ActionKind.WATCH else "The flag is closed."
    messages.success(request, f"Written down: {action.get_kind_display()}. {end}")
    return True


def _fixed(found: Opened[Flag], photo: Photo | None) -> dict[str, str]:
    named = {"photo_id": str(photo.pk)} if photo else {}
    return {**saving.place_cells(found.record.section), "flag_id": str(found.record.pk), **named}


def _photo(found: Opened[Flag], form: forms.ActionForm) -> Photo | None:
    """Keep the photo of what was done, if there is one; the form says why, where it is refused."""
    sent = form.cleaned_data["photo"]
    if not sent:
        return None
    section = found.record.section
    try:
        return store_photo(
            building=section.building,
            section=section,
            visit=None,
            file=cast(BinaryIO, sent.file),
            caption=form.cleaned_data["note"][:500],
            user=found.user,
        )[0]
    except Refusal as refused:
        form.add_error("photo", str(refused).removeprefix("file: "))
        return None


def _page(
    request: HttpRequest, found: Opened[Flag], filled: dict[str, Any], check: Event | None
) -> HttpResponse:
    one = found.record
    section = one.section
    return page(
        request,
        "flag",
        found,
        flag=one,
        line=ledger.flag_lines([one], today_at(section.building))[0],
        verdict=words.capital(words.verdict_name(one.verdict)),
        section=section,
        section_name=words.wall_name(section),
        building=section.building,
        is_live=one.state in LIVE_FLAG_STATES,
        may_answer=one.state in (FlagState.OPENED, FlagState.ACKNOWLEDGED),
        may_acknowledge=one.state == FlagState.OPENED,
        is_confirmed=one.state == FlagState.CONFIRMED,
        check=check and f"The sources were looked at on {dates.day(check.happened_on)}.",
        check_note=words.sentence(check.note) if check else "",
        helps={"acknowledge": helps.ACKNOWLEDGE},
        forms=filled,
        cautions=cautions,
    )
