"""The demo, as a stranger runs it: twice, and after it was killed half-way."""

import io
import json
from datetime import date, timedelta
from email import message_from_bytes
from email.policy import default
from itertools import pairwise
from pathlib import Path

import icalendar
import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser

from exercises.models import Exercise
from scheduling.convert.days import day_document
from scheduling.dayplan.check import check_plan
from scheduling.dayplan.document import read_day
from scheduling.demo import build
from scheduling.demo.build import UnableToDemo, demo_date
from scheduling.demo.report import as_text
from scheduling.demo.scenario import read_scenario
from scheduling.management.commands import demo
from scheduling.models import DayPlan
from scheduling.queries.changeovers import changeovers_of_day
from scheduling.queries.days import day_rows
from school.models import (
    Arena,
    Client,
    Groundsperson,
    Horse,
    Instructor,
    Lesson,
    LessonSeries,
    Person,
    RideLog,
    School,
    SidewaysRule,
    YardRule,
    YardWork,
)
from school.queries.lessons import lesson_with_all
from school.services.who_fits import waiting_list
from school.web.suggestions import suggestions_for
from tests.clock import NOW, at
from tests.factories.plans import DayPlanFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

KEYS = {
    "school",
    "date",
    "as_booked_reset_s",
    "reset_s",
    "status",
    "logins",
    "feeds",
    "mail_dir",
}
"""What other programs read of `demo --json`."""


@pytest.fixture
def mails(settings, tmp_path):
    settings.MAIL_DIR = tmp_path / "mail"
    settings.EMAIL_BACKEND = "school.mailfiles.EmlFileBackend"
    settings.BASE_URL = "http://127.0.0.1:8000"
    return settings.MAIL_DIR


def run(*options, errors=None):
    out = io.StringIO()
    call_command(
        "demo", "--no-serve", *options, stdout=out, stderr=errors or io.StringIO()
    )
    return out.getvalue()


def test_the_demo_shows_a_school_whose_day_was_ordered_better(mails, monkeypatch):
    shown = json.loads(run("--json", "--date", "2027-02-26"))

    assert set(shown) == KEYS
    assert (shown["school"], shown["date"]) == (School.objects.get().name, "2027-03-06")
    assert shown["status"] == "proved"
    assert shown["reset_s"] < 0.9 * shown["as_booked_reset_s"]
    assert [one["role"] for one in shown["logins"]] == [
        "manager",
        "instructor",
        "groundsperson",
        "client",
    ]
    again = json.loads(run("--json", "--date", "2027-02-26"))
    assert again == shown
    assert School.objects.count() == 1
    _check_size()
    _check_history()
    _check_week()
    _check_sign_ins(shown["logins"])
    _check_feeds(shown["feeds"])
    _check_mails(Path(shown["mail_dir"]))
    _check_plan(date(2027, 3, 6))
    # Two days on, the Saturday that is booked is still the one that is shown.
    monkeypatch.setattr(demo.timezone, "now", lambda: at("12:00", date(2027, 2, 28)))
    text = run()
    assert booked_lessons() == 15
    assert "Saturday 6 March 2027" in text
    assert "as booked" in text
    assert "Proved: no order of this day needs less." in text
    assert all(one["url"] in text for one in shown["feeds"])


def booked_lessons():
    """Count the lessons of the Saturday; two earlier ones are over, others weekly."""
    return Lesson.objects.exclude(state="done").filter(series=None).count()


def _check_history():
    """What was ridden before is logged, and says how far to go this time."""
    assert RideLog.objects.count() == 2
    assert Lesson.objects.filter(state="done", logs__isnull=False).count() == 2
    lesson = lesson_with_all(
        Lesson.objects.exclude(state="done").get(title="Adults' grid").pk
    )
    pairs = suggestions_for(
        lesson, lesson.grid.revision.exercise_id, 4, lesson.starts_at
    ).pairs
    assert {one.suggestion.step.value for one in pairs} <= {"same", "back", "on"}
    assert len({one.suggestion.step for one in pairs}) > 1


def _check_week():
    """Weekly lessons after the Saturday, and who waits: one wish fits a lesson."""
    weekly = Lesson.objects.exclude(series=None)
    assert LessonSeries.objects.count() == 3
    assert weekly.count() == 18
    assert weekly.earliest("starts_at").starts_at > at("19:00", date(2027, 3, 6))
    # The ground: work by the week, but none on the full day that is shown.
    assert YardRule.objects.count() == 2
    assert YardWork.objects.filter(kind="harrow").count() >= 4
    assert not YardWork.objects.filter(date=date(2027, 3, 6)).exists()
    assert SidewaysRule.objects.get().every_days == 14
    waiting = waiting_list(at("12:00", date(2027, 2, 26)))
    assert len(waiting) == 4
    assert any(one.fits for one in waiting)


def _check_size():
    """A typical yard's Saturday: own estimate, common practice without a source."""
    heights = sorted(Horse.objects.values_list("height_cm", flat=True))
    assert (heights[0], heights[-1], len(heights)) == (118, 168, 16)
    assert Arena.objects.count() == 2
    assert (Instructor.objects.count(), Groundsperson.objects.count()) == (4, 1)
    assert Client.objects.count() == 40
    assert booked_lessons() == 15
    assert Lesson.objects.filter(work="jumping", grid__isnull=False).count() >= 9
    traditions = set(Lesson.objects.values_list("grid__tradition", flat=True)) - {None}
    assert traditions == {"schooling", "continental", "twelve-foot"}


def _check_sign_ins(logins):
    for one in logins:
        assert Browser().login(username=one["username"], password=one["password"])


def _check_feeds(feeds):
    kinds = {one["kind"] for one in feeds}
    assert kinds == {"groundsperson", "instructor", "client", "horse", "arena"}
    for one in feeds:
        path = one["url"].removeprefix("http://127.0.0.1:8000")
        answer = Browser().get(path)
        assert answer.status_code == 200, one
        calendar = icalendar.Calendar.from_ical(answer.content)
        assert calendar.walk("VEVENT"), one


def _check_mails(folder):
    """Every mail carries an iTIP request (RFC 6047), newer than the one before it.

    A start that moves or is settled raises SEQUENCE (RFC 5546 section 2.1.4).
    """
    sequences, starts = {}, {}
    for path in sorted(folder.glob("*.eml")):
        mail = message_from_bytes(path.read_bytes(), policy=default)
        part = next(
            part for part in mail.walk() if part.get_content_type() == "text/calendar"
        )
        assert part.get_param("method") == "REQUEST"
        calendar = icalendar.Calendar.from_ical(part.get_payload(decode=True))
        (event,) = calendar.walk("VEVENT")
        assert calendar["METHOD"] == "REQUEST"
        uid = str(event["UID"])
        sequences.setdefault(uid, []).append(int(event["SEQUENCE"]))
        starts.setdefault(uid, set()).add(event["DTSTART"].dt)
    assert len(sequences) >= 30
    again = [pair for one in sequences.values() for pair in pairwise(one)]
    assert all(a < b for a, b in again)
    assert any(len(one) > 1 for one in starts.values())


def _check_plan(day):
    """The judge, which shares no code with the engines, finds nothing broken."""
    plan = DayPlan.objects.get(date=day)
    assert plan.state == "published"
    assert check_plan(read_day(plan.document), plan.plan) == []
    assert len(changeovers_of_day(day)) == len(plan.plan["resets"])
    rows = day_rows(day)
    starts = {one["id"]: one["start"] for one in plan.plan["lessons"]}
    for lesson in day_document(rows)["lessons"]:
        assert lesson["booked"]["start"] == starts[lesson["id"]]


def test_a_demo_killed_while_planning_is_taken_up(mails, monkeypatch):
    def killed(**kwargs):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(build, "make_plan", killed)
        with pytest.raises(KeyboardInterrupt):
            run("--date", "2027-02-26")
    monkeypatch.setattr(build, "PLAN_S", 20.0)

    shown = json.loads(run("--json", "--date", "2027-02-26"))

    assert shown["status"] == "proved"
    assert booked_lessons() == 15


def test_a_school_half_built_is_not_left_behind(mails, monkeypatch):
    scenario = read_scenario()
    scenario["clients"] = [{"first_name": "Nobody"}]

    with pytest.raises(KeyError):
        build.build_school(scenario, date(2027, 2, 26), NOW)

    assert not School.objects.exists()
    assert not Person.objects.exists()


def test_the_demo_leaves_another_school_alone(mails):
    SchoolFactory(name="Somebody's own school")

    with pytest.raises(CommandError, match="already lives in this database"):
        run()


def test_the_demo_is_refused_where_a_school_is_in_earnest(settings):
    settings.SERVED = True

    with pytest.raises(CommandError, match="embedded mode only"):
        run()


@pytest.mark.parametrize(
    ("today", "saturday"),
    [
        (date(2027, 2, 26), date(2027, 3, 6)),
        (date(2027, 2, 27), date(2027, 3, 6)),
        (date(2027, 2, 28), date(2027, 3, 13)),
    ],
    ids=["friday", "saturday", "sunday"],
)
def test_the_saturday_is_a_week_or_more_away(today, saturday):
    assert demo_date(today) == saturday
    assert demo_date(today) - today >= timedelta(days=7)


def test_passwords_and_feeds_are_this_machines_own(settings):
    first = build.demo_password("hedda"), build.demo_token("client", "Wieke")
    settings.SECRET_KEY = "another machine's" * 5

    assert build.demo_password("hedda") != first[0]
    assert build.demo_token("client", "Wieke") != first[1]
    assert len(first[1]) >= 43


def test_an_exercise_without_a_revision_is_said_in_words():
    Exercise.objects.create(slug="two-strides", name="Two strides")

    with pytest.raises(UnableToDemo, match="load the library"):
        build.revision_of("two-strides")


def test_a_day_that_could_not_be_kept_as_booked_is_said_without_a_saving():
    plan = DayPlanFactory(as_booked_reset_s=None, status="stopped", bound_s=500)

    text = as_text(SchoolFactory(), plan, [])

    assert "Changing the fences: as planned 10 min." in text
    assert "Time ran out" in text


def test_the_demo_serves_at_the_end(monkeypatch, mails):
    called = []
    monkeypatch.setattr(demo, "call_command", lambda name, **_: called.append(name))
    monkeypatch.setattr(
        demo.Command, "build", lambda *_: (SchoolFactory(), DayPlanFactory())
    )

    call_command("demo", stdout=io.StringIO())

    assert called == ["migrate", "serve"]
