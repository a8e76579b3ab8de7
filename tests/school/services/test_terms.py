"""Terms, their breaks, and what goes on from one into the next.

That a term rolls over with its riders unless somebody gives notice, and that no
lesson is held on public holidays: terms of one school (read, not asked for), and what
a yard manager curses in a tool that has a term booked week by week.
"""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from school.enums import HOLDING_STATES
from school.models import (
    AuditEntry,
    HorseState,
    InstructorPaper,
    Invitation,
    Lesson,
    LessonSeries,
    OutboxMessage,
    School,
    SeriesException,
    Term,
)
from school.queries.schools import one_school, the_school
from school.services.booking import book_lesson
from school.services.carry_over import carry_over, try_carrying
from school.services.refusals import UnableToBook
from school.services.series import end_series, leave_series
from school.services.series_changes import change_series_from
from school.services.terms import add_break, drop_break, set_term
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import LAST_TUESDAY, TUESDAY, plan, weekly
from tests.factories.terms import TermBreakFactory, TermFactory

pytestmark = pytest.mark.django_db

KINGS_DAY = date(2027, 4, 27)
"""A public holiday of the Netherlands, a Tuesday in 2027 (law of 1964, from memory)."""

SUMMER = {
    "name": "Summer",
    "first_date": date(2027, 5, 17),
    "last_date": date(2027, 7, 11),
}
LATER = at("12:00", date(2027, 5, 5))


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(country="NL")


@pytest.fixture
def spring() -> Term:
    return TermFactory()


@pytest.fixture
def summer(spring: Term) -> Term:
    return TermFactory(**SUMMER)


def made(**changes) -> Term:
    return set_term(**(SUMMER | {"by": None, "now": NOW} | changes))


def held(series: LessonSeries) -> list[date]:
    lessons = series.lessons.filter(state__in=HOLDING_STATES)
    return sorted(lessons.values_list("series_date", flat=True))


def test_a_term_made_twice_is_one_with_one_entry() -> None:
    assert made() == made()

    assert AuditEntry.objects.filter(action="make term").count() == 1


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": " "}, "name"),
        ({"last_date": date(2027, 5, 16)}, "dates"),
        ({"last_date": date(2028, 5, 17)}, "dates"),
        ({"first_date": date(2027, 5, 16)}, "terms-overlap"),
        ({"name": "Spring"}, "name"),
    ],
    ids=["no-name", "ends-first", "too-long", "overlaps", "name-taken"],
)
def test_a_term_that_makes_no_sense_is_refused(spring, changes, code) -> None:
    with pytest.raises(UnableToBook) as caught:
        made(**changes)

    assert caught.value.code == code


def test_a_term_is_not_renamed_to_another(spring, summer) -> None:
    with pytest.raises(UnableToBook) as caught:
        made(term=summer, name="Spring")

    assert caught.value.code == "name"


def test_a_term_is_not_shortened_over_its_lessons_or_breaks(spring) -> None:
    TermBreakFactory(term=spring)
    with pytest.raises(UnableToBook) as caught:
        made(term=spring, first_date=TUESDAY, last_date=date(2027, 4, 13))
    assert caught.value.code == "break-outside"

    weekly(term=spring)
    with pytest.raises(UnableToBook) as caught:
        made(term=spring, first_date=TUESDAY, last_date=date(2027, 4, 20))
    assert "Tuesday group is booked for this term" in caught.value.says


def test_a_break_holds_no_lesson_and_tells_the_clients_once(spring) -> None:
    rider = RiderFactory()
    series = weekly(term=spring, rides=[(rider, None)])
    OutboxMessage.objects.update(state="sent", attempts=1, sent_at=NOW, mail=b"x")
    before = OutboxMessage.objects.count()

    for _ in range(2):
        add_break(
            term=spring, name="Half-term", first_date=date(2027, 4, 12),
            last_date=date(2027, 4, 25), by=None, now=NOW,
        )  # fmt: skip

    assert not {date(2027, 4, 13), date(2027, 4, 20)} & set(held(series))
    assert len(held(series)) == 8
    assert OutboxMessage.objects.count() > before
    assert AuditEntry.objects.filter(action="add break").count() == 1


def test_a_break_taken_out_books_nothing_again(spring) -> None:
    series = weekly(term=spring)
    fields = {"first_date": date(2027, 4, 12), "last_date": date(2027, 4, 18)}
    one = add_break(term=spring, name="Half-term", by=None, now=NOW, **fields)

    for _ in range(2):
        drop_break(term_break=one, by=None, now=NOW)

    assert len(held(series)) == 9
    assert AuditEntry.objects.filter(action="drop break").count() == 1


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": ""}, "name"),
        ({"last_date": date(2027, 4, 11)}, "dates"),
        ({"last_date": date(2027, 6, 1)}, "break-outside"),
        ({"name": "A show"}, "break-twice"),
    ],
)
def test_a_break_that_makes_no_sense_is_refused(spring, changes, code) -> None:
    TermBreakFactory(term=spring)
    fields = {
        "name": "Half-term",
        "first_date": date(2027, 4, 19 if code == "break-outside" else 12),
        "last_date": date(2027, 4, 18),
    }

    with pytest.raises(UnableToBook) as caught:
        add_break(term=spring, by=None, now=NOW, **(fields | changes))

    assert caught.value.code == code


def carried(spring: Term, summer: Term, *series: LessonSeries) -> list[LessonSeries]:
    return carry_over(
        old=spring, new=summer, chosen=[one.pk for one in series], by=None, now=LATER
    )


def test_riders_and_horses_go_on_and_the_break_is_left_out(spring, summer) -> None:
    TermBreakFactory(
        term=summer, name="Show", first_date=date(2027, 6, 7),
        last_date=date(2027, 6, 13),
    )  # fmt: skip
    rider, horse = RiderFactory(), HorseFactory()
    old = weekly(term=spring, rides=[(rider, horse)])

    (new,) = carried(spring, summer, old)

    assert held(new)[0] == date(2027, 5, 18)
    assert held(new)[-1] == date(2027, 7, 6)
    assert date(2027, 6, 8) not in held(new)
    assert len(held(new)) == 7
    assert {
        (one.rides.get().rider, one.rides.get().horse)
        for one in new.lessons.filter(state__in=HOLDING_STATES)
    } == {(rider, horse)}
    assert (new.term, new.carried_from) == (summer, old)
    assert Invitation.objects.filter(series=new, client=rider.client).count() == 1


def test_carrying_twice_books_once(spring, summer) -> None:
    old = weekly(term=spring)

    carried(spring, summer, old)

    assert carried(spring, summer, old) == []
    assert LessonSeries.objects.filter(term=summer).count() == 1


def test_who_left_within_the_term_does_not_go_on(spring, summer) -> None:
    stays, leaves = RiderFactory(), RiderFactory()
    old = weekly(term=spring, rides=[(stays, None), (leaves, None)])
    leave_series(
        series=old, rider=leaves, first_date=date(2027, 5, 4), reason="moved",
        by=None, now=NOW,
    )  # fmt: skip

    (new,) = carried(spring, summer, old)

    riders = new.lessons.first().rides.values_list("rider", flat=True)
    assert list(riders) == [stays.pk]


def test_what_was_ended_within_the_term_does_not_go_on(spring, summer) -> None:
    old = weekly(term=spring)
    end_series(
        series=old, last_date=date(2027, 4, 6), reason="too few", by=None, now=NOW
    )

    assert try_carrying(old=spring, new=summer, by=None, now=LATER) == []
    assert carried(spring, summer, old) == []


def test_what_was_changed_within_the_term_goes_on_as_it_became(spring, summer) -> None:
    old = weekly(term=spring)
    changed = change_series_from(
        series=old, plan=plan(name="Tuesday late", arena=old.arena),
        first_date=date(2027, 4, 20), by=None, now=NOW,
    )  # fmt: skip

    tried = try_carrying(old=spring, new=summer, by=None, now=LATER)

    assert [one.series for one in tried] == [changed]


def test_trying_writes_nothing(spring, summer) -> None:
    weekly(term=spring, rides=[(RiderFactory(), HorseFactory())])
    models = (Lesson, LessonSeries, SeriesException, AuditEntry, OutboxMessage)
    before = [one.objects.count() for one in models]

    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)

    assert one.refusal == ""
    assert len(one.days) == 8
    assert [model.objects.count() for model in models] == before


def test_an_arena_taken_on_one_day_is_named(spring, summer) -> None:
    old = weekly(term=spring)
    book_lesson(
        title="Clinic", kind="private", work="flat", minutes=60, arena=old.arena,
        starts_at=at("17:30", date(2027, 6, 1)), instructor=InstructorFactory(),
        by=None, now=NOW,
    )  # fmt: skip

    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)
    with pytest.raises(UnableToBook) as caught:
        carried(spring, summer, old)

    assert "Tue 1 Jun: Hall is taken by Clinic" in one.refusal
    assert caught.value.code == "not-carried"
    assert not LessonSeries.objects.filter(term=summer).exists()


def test_one_that_cannot_go_on_stops_what_was_chosen_with_it(spring, summer) -> None:
    good = weekly(term=spring)
    bad = weekly(term=spring, plan=plan(arena=ArenaFactory(name="Ring")))
    InstructorPaper.objects.create(
        instructor=bad.instructor, name="licence", expires_date=date(2027, 5, 16)
    )

    with pytest.raises(UnableToBook):
        carried(spring, summer, good, bad)

    assert not LessonSeries.objects.filter(term=summer).exists()


def test_papers_that_end_within_the_term_are_noted_and_before_it_refused(
    spring, summer
) -> None:
    old = weekly(term=spring)
    paper = InstructorPaper.objects.create(
        instructor=old.instructor, name="first aid", expires_date=date(2027, 6, 20)
    )

    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)
    assert one.notes == ["Ines's first aid ends Sun 20 Jun 2027: have it renewed."]
    assert one.refusal == ""

    paper.expires_date = date(2027, 5, 12)
    paper.save()
    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)
    assert "before the term's first lesson" in one.refusal


def test_a_horse_that_is_gone_is_named_and_its_rider_goes_on(spring, summer) -> None:
    rider = RiderFactory(person__first_name="Mila")
    horse = HorseFactory(name="Brook")
    old = weekly(term=spring, rides=[(rider, horse)])
    HorseState.objects.create(
        horse=horse, kind="away", reason="sold",
        state_from=at("20:00", LAST_TUESDAY),
    )  # fmt: skip

    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)
    (new,) = carried(spring, summer, old)

    assert one.notes == [
        "Brook is not to be ridden (sold): Mila goes on without a horse."
    ]
    assert new.lessons.first().rides.get().horse is None


def test_public_holidays_are_left_out_by_name(spring) -> None:
    autumn = TermFactory(
        name="Before", first_date=date(2027, 1, 4), last_date=date(2027, 3, 7)
    )
    old = weekly(
        term=autumn, first_date=date(2027, 1, 5), last_date=date(2027, 3, 2),
        now=at("12:00", date(2027, 1, 1)),
    )  # fmt: skip

    (one,) = try_carrying(old=autumn, new=spring, by=None, now=NOW)

    assert one.series == old
    assert KINGS_DAY in one.left_out
    assert KINGS_DAY not in one.days


def test_a_term_that_leaves_no_day_is_said(spring, summer) -> None:
    weekly(term=spring)
    TermBreakFactory(
        term=summer, first_date=summer.first_date, last_date=summer.last_date
    )

    (one,) = try_carrying(old=spring, new=summer, by=None, now=LATER)

    assert "No day of the term is left" in one.refusal


def test_two_lessons_that_went_together_still_do(spring, summer) -> None:
    first = weekly(term=spring)
    second = weekly(
        term=spring, first_date=TUESDAY + timedelta(days=1),
        last_date=LAST_TUESDAY + timedelta(days=1),
        plan=plan(name="Wednesday", arena=first.arena, instructor=first.instructor),
    )  # fmt: skip

    tried = try_carrying(old=spring, new=summer, by=None, now=LATER)

    assert [(one.series, one.refusal) for one in tried] == [(first, ""), (second, "")]


def test_trying_reads_the_school_once_and_each_lesson_alike(spring, summer) -> None:
    for n in range(3):
        pairs = [(RiderFactory(), HorseFactory()) for _ in range(2)]
        arena = ArenaFactory(name=f"Ring {n}")
        weekly(term=spring, rides=pairs, plan=plan(arena=arena))

    with CaptureQueriesContext(connection) as asked:
        tried = try_carrying(old=spring, new=summer, by=None, now=LATER)

    school = [one["sql"] for one in asked if 'FROM "school_school"' in one["sql"]]
    lessons = sum(len(one.days) for one in tried)
    assert lessons == 24
    assert len(school) == 1
    # What was measured, and a little: 61 a lesson before the same was read once.
    assert len(asked) < 22 * lessons


def test_a_school_changed_while_it_is_held_counts_afterwards() -> None:
    with one_school() as school, one_school() as again:
        School.objects.update(notice_hours=school.notice_hours + 1)
        inside = the_school().notice_hours

    assert inside == school.notice_hours == again.notice_hours
    assert the_school().notice_hours == inside + 1
