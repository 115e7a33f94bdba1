"""Setting up the demonstration. Doing it again changes only what a new day or a new model calls for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.contrib.auth.hashers import make_password
from django.db import connection, transaction
from django.utils import timezone

from inspections.analysis.assessment import model_version
from inspections.demo.photographing import photograph
from inspections.domain.assess import reassess_all
from inspections.domain.recalibrating import Openings, openings_of
from inspections.models import Assessment
from inspections.queries.series import some_at_a_time
from inspections.records import LoadReport, load_folder
from portfolio.models import Building, Membership, Organisation, Section, User
from portfolio.vocabulary import Role, Units

SLUG = "demo"
NAME = "Ostle Landing Houses (invented)"
RECORDS = Path(__file__).parent / "records"
#: Known to everybody, so the demonstration is only ever served to its own machine.
PASSPHRASE = "the river stays in its bed"
ZONE = "America/New_York"


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody invented, who signs in with :data:`PASSPHRASE`."""

    username: str
    first_name: str
    last_name: str
    role: Role
    units: Units


PEOPLE = (
    Person("owner", "Wren", "Alder", Role.OWNER, Units.US),
    Person("manager", "Ida", "Marlpit", Role.MANAGER, Units.US),
    Person("inspector", "Jonas", "Quern", Role.INSPECTOR, Units.US),
    Person("analyst", "Petra", "Lathe", Role.ANALYST, Units.SI),
)


class DemoRefused(Exception):
    """Why the demonstration is not put into this database, and the mend."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """What there is, and how many houses were assessed to get there."""

    organisation: Organisation
    report: LoadReport
    houses: int
    sections: int
    assessed: int


def refuse_others() -> None:
    """Raise :class:`DemoRefused` if the database, migrated or not, holds anything but the demonstration."""
    if Organisation._meta.db_table not in connection.introspection.table_names():
        return
    others = Organisation.objects.exclude(slug=SLUG, is_invented=True).order_by("slug")
    slugs = list(others.values_list("slug", flat=True)[:3])
    if slugs:
        raise DemoRefused(
            f"This database holds another organisation ({', '.join(slugs)}), and invented houses don't "
            "belong beside real ones. Nothing was changed. Give the demonstration a database of its own:\n"
            "  DATABASE_URL=sqlite:///demo.sqlite3 python manage.py demo"
        )


def set_up(tell: Callable[[str], None], progress: Callable[[str, int], None] | None = None) -> SetUp:
    """Make the organisation and its people, load the records, and assess what has to be assessed.

    The database is migrated already. ``tell`` is told each step, ``progress`` the rows within the load.
    """
    refuse_others()
    organisation, owner = _make_organisation()
    tell("Loading the records …")
    report = load_folder(RECORDS, SLUG, user=owner, progress=progress)
    changed = any(counts.new or counts.changed for counts in report.files.values())
    houses = list(
        Building.objects.of(organisation).standing().select_related("organisation").order_by("code")
    )
    openings = openings_of(organisation)
    stale = [house for house in houses if changed or not _is_assessed(house, openings)]
    if stale:
        tell(f"Assessing the walls of {len(stale)} houses …")
    done = 0
    for some in some_at_a_time(stale):
        reassess_all(some, openings)
        done += len(some)
        if progress:
            progress("assessing houses", done)
    photograph(organisation, owner)
    sections = Section.objects.of(organisation).standing().count()
    return SetUp(organisation, report, len(houses), sections, len(stale))


@transaction.atomic
def _make_organisation() -> tuple[Organisation, User]:
    """The organisation and its owner, made with everybody else where they are missing."""
    organisation, _ = Organisation.objects.get_or_create(
        slug=SLUG, defaults={"name": NAME, "is_invented": True}
    )
    for person in PEOPLE:
        user = User.objects.filter(username=person.username).first() or _make(person)
        Membership.objects.get_or_create(user=user, organisation=organisation, defaults={"role": person.role})
    return organisation, User.objects.get(username=PEOPLE[0].username)


def _make(person: Person) -> User:
    return User.objects.create(
        username=person.username,
        first_name=person.first_name,
        last_name=f"{person.last_name} (invented)",
        password=make_password(PASSPHRASE),
        units=person.units,
        timezone=ZONE,
    )


def _is_assessed(house: Building, openings: Openings) -> bool:
    """Whether every section has an assessment of the house's own today by the present model and openings."""
    today = timezone.now().astimezone(house.zone).date()
    made = Assessment.objects.filter(
        section__building=house,
        section__voided_at__isnull=True,
        current=True,
        as_of=today,
        model_version=model_version(openings.taught(today)),
    )
    return made.count() == Section.objects.standing().filter(building=house).count()
