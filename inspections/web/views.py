"""Pages: find the organisation and the record, ask for what is shown, and render it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any, TypeVar, cast
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inspections.domain.openings import opening_ledger
from inspections.queries import pages
from inspections.queries.due import papers_of
from inspections.queries.photos import section_photos
from inspections.queries.series import building_record, day_number
from inspections.vocabulary import ActionKind
from inspections.web.forms import UnitsForm
from inspections.web.present import calibrated, cautions, hatches, house, ledger, method
from inspections.web.present import portfolio as portfolio_page
from inspections.web.present.papers import lines as paper_lines
from inspections.web.present.photos import row as photo_row
from portfolio import queries
from portfolio.models import Building, Organisation, Section, User
from portfolio.vocabulary import WRITING_ROLES, Role

Found = TypeVar("Found", Building, Section)
READINGS_A_PAGE = 100


def member(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Only for people who are signed in; their pages are never kept by a cache."""
    return require_safe(never_cache(login_required(view)))


@member
def portfolio(request: HttpRequest) -> HttpResponse:
    """What needs attention, every house, what is overdue, and the trials of one organisation."""
    organisations = pages.organisations_of(_user(request))
    organisation = _chosen(request, organisations)
    if organisation is None:
        return _page(request, "wythe/choose.html", None, organisations=organisations)
    houses = pages.houses(organisation)
    flagged, worth = portfolio_page.attention(houses)
    areas = pages.latest_areas(organisation, [stretch.section for stretch in flagged + worth])
    trials = pages.trials(organisation)
    shown = portfolio_page.present(houses, trials, areas, _today(request), _user(request).units)
    return _page(
        request,
        "wythe/portfolio.html",
        organisation,
        shown=shown,
        patterns=hatches.definitions(),
        several=len(organisations) > 1,
        model_version=_model_version(houses),
    )


@member
def building(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One house, its walls drawn to scale."""
    organisation, found = _found(request, pages.find_building, pk)
    today, system = _today(request, found), _user(request).units
    one = pages.houses(organisation, found)
    shown = house.present(
        one[0],
        pages.house_readings(organisation, found),
        pages.building_events(organisation, found),
        pages.latest_areas(organisation, [stretch.section for stretch in one[0].stretches if stretch.flags]),
        today,
        system,
    )
    return _page(
        request,
        "wythe/building.html",
        organisation,
        shown=shown,
        papers=paper_lines(papers_of(organisation, found)),
        model_version=_model_version(one),
        pk=pk,
    )


@member
def section(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One section: verdict, evidence, strips, trends, coats and readings."""
    # The only page that computes: no other waits for what it computes with.
    from inspections.analysis.strips import section_strips
    from inspections.domain.alike import drawn_rates
    from inspections.domain.following import follow_up_of
    from inspections.queries.alike import likeness_by
    from inspections.web.present import section as section_page

    organisation, found = _found(request, pages.find_section, pk)
    today, system = _today(request, found.building), _user(request).units
    one = pages.houses(organisation, found.building)
    stretch = next(stretch for stretch in one[0].stretches if stretch.section.pk == found.pk)
    as_of = stretch.assessment.as_of if stretch.assessment else today
    record = building_record(found.building)
    strips = section_strips(record, found.code, day_number(as_of), organisation.failure_threshold)
    past = pages.past_of(organisation, found)
    done = [action for action in past.actions if action.kind != ActionKind.WATCH]
    followed = {action.pk: follow_up_of(action, record).statement for action in done}
    like = likeness_by(stretch.treatments, found.adjoins, today)
    readings = Paginator(pages.section_readings(organisation, found), READINGS_A_PAGE)
    page = readings.get_page(request.GET.get("readings"))
    shown = section_page.present(
        stretch,
        one[0].stretches,
        portfolio_page.full_name(stretch, portfolio_page.walls_with_one_section(one)),
        pages.latest_areas(organisation, [found]).get(found.pk, {}),
        strips,
        past,
        today,
        system,
        pages.replay_of(organisation, found),
        followed,
        drawn_rates(organisation, {found.pk: like})[found.pk] if like else {},
    )
    return _page(
        request,
        "wythe/section.html",
        organisation,
        shown=shown,
        pk=pk,
        flags=stretch.flags,
        photos=photo_row(section_photos(organisation, found), stretch.treatments, found.building.zone),
        readings=page,
        reading_rows=ledger.reading_rows(page.object_list, found.building.zone, system),
        cautions=cautions,
        patterns=hatches.definitions(),
        model_version=_model_version(one),
    )


@member
def how_verdicts_are_made(request: HttpRequest) -> HttpResponse:
    """One screen for a landlord, the figures behind it, and what opened walls say of them."""
    organisation = _chosen(request, pages.organisations_of(_user(request)))
    opened = opening_ledger(organisation, _today(request)) if organisation else None
    return _page(
        request,
        "wythe/how.html",
        organisation,
        evidence=method.evidence(),
        opened=method.ledger(opened, _user(request).units) if opened else None,
        cautions=cautions,
    )


@require_POST
@login_required
def choose_units(request: HttpRequest) -> HttpResponse:
    """Keep the units a person reads in, and go back to where they were."""
    form = UnitsForm(request.POST, instance=_user(request))
    if form.is_valid():
        form.save()
    back = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(
        back, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return redirect(back if safe else "portfolio")


# What every page needs -------------------------------------------------------------------------------------


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)


def _chosen(request: HttpRequest, organisations: list[Organisation]) -> Organisation | None:
    """The organisation named in the address, or the only one; None where there is a choice to make."""
    slug = request.GET.get("organisation")
    if slug is None:
        return organisations[0] if len(organisations) == 1 else None
    chosen = next((one for one in organisations if one.slug == slug), None)
    if chosen is None:
        raise Http404("No such organisation.")
    return chosen


def _found(
    request: HttpRequest, find: Callable[[Organisation, UUID], Found | None], pk: UUID
) -> tuple[Organisation, Found]:
    """The record, in whichever of the person's organisations has it; another's does not exist."""
    for organisation in pages.organisations_of(_user(request)):
        record = find(organisation, pk)
        if record is not None:
            return organisation, record
    raise Http404("No such record.")


def _today(request: HttpRequest, where: Building | None = None) -> dt.date:
    """Today at the house, or where the person is."""
    if where is not None:
        return timezone.localdate(timezone=where.zone)
    return timezone.localdate(timezone=ZoneInfo(_user(request).timezone))


def _model_version(houses: list[pages.House]) -> calibrated.Made:
    """The version of the model that made the assessments shown; several only while a new one is being run."""
    return calibrated.made(
        stretch.assessment.model_version for one in houses for stretch in one.stretches if stretch.assessment
    )


def _page(
    request: HttpRequest, template: str, organisation: Organisation | None, **context: Any
) -> HttpResponse:
    membership = queries.membership(_user(request), organisation) if organisation else None
    role = membership.role if membership else ""
    common = {
        "organisation": organisation,
        "now": timezone.now(),
        "may_write": role in WRITING_ROLES,
        "is_owner": role == Role.OWNER,
    }
    return render(request, template, {**common, **context})
