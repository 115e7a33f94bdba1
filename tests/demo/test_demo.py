"""The demonstration as it is set up: who gets in, what it holds, and that doing it again changes nothing."""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from collections import Counter
from io import StringIO
from pathlib import Path
from unittest import mock

from django.contrib.auth.password_validation import validate_password
from django.core.management import call_command
from django.test import Client, TestCase, override_settings
from django.urls import reverse

from inspections.demo import NAME, PASSPHRASE, PEOPLE, SLUG, set_up
from inspections.domain.comparing import compare_trial
from inspections.domain.evidence import pictures
from inspections.domain.pooling import pool_trials
from inspections.models import Allocation, Assessment, Flag, Photo, Plan, Reading, Trial
from inspections.queries.trials import standing_allocations
from inspections.records import export_folder
from inspections.vocabulary import AllocatedBy, Verdict
from portfolio.domain.tokens import issue_token
from portfolio.models import Building, Change, Membership, Organisation, Section, User

#: A day soon after the record's end; verdicts change as time goes by without a visit.
NOW = dt.datetime(2026, 11, 25, 17, tzinfo=dt.UTC)
CLOCK = "django.utils.timezone.now"


def state() -> dict[str, object]:
    """Everything that setting up again might touch."""
    with tempfile.TemporaryDirectory() as folder:
        export_folder(folder, Organisation.objects.get(slug=SLUG))
        files = {path.name: path.read_bytes() for path in Path(folder).iterdir()}
    tables = (User, Membership, Building, Section, Reading, Photo, Assessment, Flag, Plan, Change)
    rows = {
        table.__name__: list(table.objects.order_by("pk").values())
        for table in tables
        if table is not Reading
    }
    return {**files, **rows, "readings": list(Reading.objects.order_by("pk").values_list("pk", "changed_at"))}


class Demonstration(TestCase):
    """Set up once, by the command; each test's own changes are undone after it."""

    output: str

    @classmethod
    def setUpClass(cls) -> None:
        cls.enterClassContext(mock.patch(CLOCK, return_value=NOW))
        media = cls.enterClassContext(tempfile.TemporaryDirectory())
        cls.enterClassContext(override_settings(MEDIA_ROOT=Path(media)))
        super().setUpClass()

    @classmethod
    def setUpTestData(cls) -> None:
        stdout = StringIO()
        call_command("demo", no_serve=True, stdout=stdout)
        cls.output = stdout.getvalue()

    def test_it_says_where_to_go_and_how_to_get_in(self) -> None:
        for told in ("http://127.0.0.1:8000/", PASSPHRASE, "issue_token", "/api/v1/", "invented"):
            assert told in self.output
        for person in PEOPLE:
            assert person.username in self.output

    def test_everybody_signs_in_and_sees_pages_that_say_they_are_invented(self) -> None:
        wet = Assessment.objects.filter(current=True, verdict=Verdict.TRAPPED_WATER).first()
        assert wet is not None
        addresses = [
            reverse("portfolio"),
            *(reverse("building", args=[house.pk]) for house in Building.objects.all()),
            reverse("section", args=[wet.section_id]),
            reverse("how-verdicts-are-made"),
        ]
        for person in PEOPLE:
            client = Client()
            form = {"username": person.username, "password": PASSPHRASE}
            assert client.post(reverse("sign-in"), form).status_code == 302
            for address in addresses:
                self.assertContains(client.get(address), "Invented demonstration data")

    def test_every_section_s_page_loads(self) -> None:
        client = Client()
        client.force_login(User.objects.get(username="owner"))
        for section in Section.objects.all():
            assert client.get(reverse("section", args=[section.pk])).status_code == 200

    def test_each_role_is_there_and_the_passphrase_would_be_accepted(self) -> None:
        roles = Counter(Membership.objects.values_list("role", flat=True))
        assert roles == dict.fromkeys(("owner", "manager", "inspector", "analyst"), 1)
        for user in User.objects.all():
            validate_password(PASSPHRASE, user)

    def test_the_organisation_says_that_it_is_invented(self) -> None:
        organisation = Organisation.objects.get()
        assert (organisation.slug, organisation.name, organisation.is_invented) == (SLUG, NAME, True)
        assert "invented" in NAME

    def test_every_verdict_is_there(self) -> None:
        counts = Counter(Assessment.objects.filter(current=True).values_list("verdict", flat=True))
        assert counts.total() == Section.objects.count() == 60
        assert counts.keys() == set(Verdict.values), counts
        assert counts["stable"] > counts["trapped_water"]

    def test_trials_were_allotted_by_lot_one_by_judgement_and_one_is_planned(self) -> None:
        lot, judgement = AllocatedBy.RANDOM, AllocatedBy.JUDGEMENT
        assert Trial.objects.count() == 5
        assert not Allocation.objects.filter(trial__code="T5").exists()
        for trial, allocated_by, least in (
            ("T1", lot, 12),
            ("T2", judgement, 8),
            ("T3", lot, 4),
            ("T4", lot, 2),
        ):
            own = Allocation.objects.filter(trial__code=trial)
            assert set(own.values_list("allocated_by", flat=True)) == {allocated_by}
            arms = Counter(own.values_list("arm", flat=True))
            assert len(arms) == 2
            assert len(set(arms.values())) == 1
            assert arms.total() >= least

    def test_the_trials_show_each_answer_that_there_is(self) -> None:
        """What is worth looking at on the pages of trials; what is found follows from the seed."""
        found = {
            trial.code: compare_trial(trial)
            for trial in Trial.objects.select_related("organisation").order_by("code")
        }
        conclusions = {code: one.conclusion for code, one in found.items()}
        assert conclusions == {"T1": "difference", **dict.fromkeys(("T2", "T3", "T4", "T5"), "cannot_tell")}
        assert [code for code, one in found.items() if not one.fair] == ["T2"]
        together = pool_trials(Trial.objects.get(code="T1"))
        assert [member.trial.code for member in together.counted] == ["T1", "T3", "T4"]
        assert len(together.without) == 3

    def test_walls_of_each_arm_are_pictured_before_and_since(self) -> None:
        for code in ("T1", "T2", "T3", "T4"):
            trial = Trial.objects.select_related("organisation").get(code=code)
            found = pictures(standing_allocations(trial), compare_trial(trial))
            assert len(found) == 2
            assert all(one.before and one.after and one.before.taken_at < one.after.taken_at for one in found)
        assert set(Photo.objects.values_list("caption", flat=True)) == {"Drawn from the record (invented)"}

    def test_the_favoured_arm_of_the_unfair_trial_had_the_drier_walls(self) -> None:
        before = Reading.objects.filter(quantity="surface_moisture", taken_at__lt="2018-05-07T00:00Z")
        means: dict[str, list[float]] = {}
        for allotted in Allocation.objects.filter(trial__code="T2"):
            values = before.filter(section=allotted.section_id).values_list("value", flat=True)
            means.setdefault(allotted.arm, []).append(sum(values) / len(values))
        average = {arm: sum(values) / len(values) for arm, values in means.items()}
        assert average["cement and paint"] < average["lime and limewash"]

    def test_a_program_asks_for_the_walls_that_hold_water_as_it_was_told(self) -> None:
        asked = re.search(r"http://127\.0\.0\.1:8000(/api/v1/\S+=\w+)", self.output)
        assert asked is not None
        user = User.objects.get(username="analyst")
        _, key = issue_token(user=user, organisation=Organisation.objects.get(), name="trying it out")
        answer = self.client.get(asked.group(1), headers={"authorization": f"Bearer {key}"})
        assert answer.status_code == 200
        assert answer.json()["results"]
        assert {row["verdict"] for row in answer.json()["results"]} == {"trapped_water"}

    def test_setting_it_up_again_changes_nothing(self) -> None:
        before = state()
        told: list[str] = []
        again = set_up(told.append)
        assert again.assessed == 0
        assert all(not counts.new and not counts.changed for counts in again.report.files.values())
        assert state() == before

    def test_on_another_day_it_is_assessed_again_and_nothing_else_changes(self) -> None:
        before = state()
        with mock.patch(CLOCK, return_value=NOW + dt.timedelta(days=1)):
            again = set_up(lambda text: None)
            assert again.assessed == again.houses == 12
            assert again.sections == Assessment.objects.filter(current=True, as_of="2026-11-26").count()
        after = state()
        same = [name for name in before if name not in ("Assessment", "Flag", "Plan")]
        assert [name for name in same if after[name] != before[name]] == []

    def test_a_new_model_is_a_reason_to_assess_again(self) -> None:
        Assessment.objects.filter(section__building__code="H003").update(model_version="an older one")
        assert set_up(lambda text: None).assessed == 1
