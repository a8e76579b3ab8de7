"""All that is touched by somebody or something out: proposed, foretold, done once."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from scheduling.convert.days import day_document
from scheduling.queries.days import day_rows
from scheduling.services.touched import Settled
from school.models import (
    AuditEntry,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    Lesson,
    OutboxMessage,
)
from school.services.lessons import Move, move_lesson, move_lessons
from school.services.out import Out
from school.services.refusals import UnableToBook
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import (
    ArenaFactory,
)
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.services.touched import (
    TOLD,
    lesson_of,
    looked,
    out,
    pressed,
    says,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def sick():
    """Ilka, sick on the Saturday, and Arno, who could stand in."""
    SchoolFactory()
    return InstructorFactory(person__first_name="Ilka")


@pytest.fixture
def arno():
    return InstructorFactory(person__first_name="Arno")


def test_who_is_free_and_may_teach_it_stands_in(sick, arno) -> None:
    lesson = lesson_of(sick, lesson__arena__name="Hall")

    found = looked(out(sick))

    assert says(found) == ["Arno, Hall, 09:00"]
    assert [one.about for one in found.mails] == [
        f"Invite to a lesson: {lesson.rides.get().rider.person.first_name}, "
        "Sat 6 Mar 09:00, Hall, with Arno"
    ]
    assert found.proposal.proved


def test_looking_writes_nothing(sick, arno) -> None:
    lesson_of(sick)
    audit = AuditEntry.objects.count()

    looked(out(sick))

    assert Lesson.objects.get().instructor == sick
    assert not InstructorAbsence.objects.exists()
    assert not OutboxMessage.objects.exists()
    assert AuditEntry.objects.count() == audit


def test_one_press_gives_the_lesson_and_writes_the_absence(sick, arno) -> None:
    lesson_of(sick)
    what = out(sick)

    done = pressed(what, looked(what))

    assert Lesson.objects.get().instructor == arno
    absence = InstructorAbsence.objects.get()
    assert (absence.absent_from, absence.absent_to) == (what.first, what.last)
    assert (done.changed, done.cancelled, done.mails) == (1, 0, 1)
    assert OutboxMessage.objects.count() == 1
    entry = AuditEntry.objects.get(action="settle")
    assert (entry.subject, entry.subject_id) == ("instructor", str(sick.pk))


def test_a_second_press_of_the_same_form_does_nothing_more(sick, arno) -> None:
    lesson_of(sick)
    what, uid = out(sick), str(uuid4())
    seen = looked(what)
    first = pressed(what, seen, uid=uid)
    audit = AuditEntry.objects.count()

    second = pressed(what, seen, uid=uid)

    assert second == Settled(first.changed, first.cancelled, first.mails, again=True)
    assert AuditEntry.objects.count() == audit
    assert InstructorAbsence.objects.count() == 1


def test_nobody_books_who_is_out(sick, arno) -> None:
    what = out(sick)
    pressed(what, looked(what))
    lesson = LessonFactory(instructor=arno)

    with pytest.raises(UnableToBook, match="Ilka is out from Sat 6 Mar 00:00"):
        move_lessons(
            moves=[Move(lesson, at("10:00"), instructor=sick)], by=None, now=NOW
        )


def test_papers_that_ended_level_and_group_keep_somebody_from_standing_in(
    sick, arno
) -> None:
    InstructorPaper.objects.create(
        instructor=arno, name="First aid", expires_date=date(2027, 3, 5)
    )
    InstructorFactory(person__first_name="Berta", level="novice")
    InstructorFactory(person__first_name="Cato", group_limit=1)
    LessonFactory(
        instructor=InstructorFactory(person__first_name="Dora"), title="Her own"
    )
    lesson_of(sick)

    item = looked(out(sick)).proposal.items[0]

    assert list(item.why) == [
        "Arno's First aid ended on 5 March 2027",
        "Berta teaches jumping up to novice",
        "Cato teaches up to 1 riders",
        "Dora is in Her own until 10:00",
        "Ilka is out until 23:59",
    ]


def test_a_lesson_moves_where_somebody_is_free_at_another_time_only(sick, arno) -> None:
    InstructorHours.objects.create(
        instructor=arno, weekday=5, from_at="10:00", to_at="12:00"
    )
    lesson_of(sick, lesson__arena__name="Hall")

    found = looked(out(sick))

    assert says(found) == ["Arno, Hall, 10:00"]
    assert "60 min later than booked" in [x.says for x in found.proposal.items[0].terms]


def test_who_comes_at_noon_teaches_in_the_afternoon_rather_than_not_at_all(
    sick,
) -> None:
    lesson_of(sick, lesson__arena__name="Hall")

    assert says(looked(out(sick, last="12:00"))) == ["Ilka, Hall, 12:00"]


def test_a_lesson_nobody_can_take_is_cancelled_with_neutral_words(sick) -> None:
    ride = lesson_of(sick).rides.get()
    what = out(sick)
    seen = looked(what)

    done = pressed(what, seen)

    lesson = Lesson.objects.get()
    assert (done.changed, done.cancelled) == (0, 1)
    assert (lesson.state, lesson.state_reason) == ("cancelled", TOLD)
    assert seen.mails == ()  # nobody was invited yet, so nobody is disinvited
    assert ride.rider.client.person.email


def test_eight_lessons_go_to_two_who_are_free_in_turns(sick, arno) -> None:
    """The whole day of the one who is sick, with two others teaching beside her."""
    second = InstructorFactory(person__first_name="Berta")
    hall, ring = ArenaFactory(name="Hall"), ArenaFactory(name="Ring")
    for n in range(8):
        lesson_of(sick, f"{9 + n:02d}:00", lesson__arena=hall)
        busy = second if n % 2 else arno
        LessonFactory(instructor=busy, arena=ring, starts_at=at(f"{9 + n:02d}:00"))
    what = out(sick)

    done = pressed(what, looked(what))

    assert (done.changed, done.cancelled, done.mails) == (8, 0, 8)
    times = Lesson.objects.filter(rides__isnull=False).order_by("starts_at")
    taught = list(times.values_list("instructor__person__first_name", flat=True))
    assert taught == ["Berta", "Arno"] * 4
    assert [one.starts_at for one in times] == [at(f"{9 + n:02d}:00") for n in range(8)]


def test_a_choice_by_hand_is_kept_and_the_others_make_room(sick, arno) -> None:
    lesson = lesson_of(sick)
    berta = InstructorFactory(person__first_name="Berta")
    value = f"{berta.pk}_{lesson.arena_id}_{int(lesson.starts_at.timestamp())}"
    chosen = {f"lesson-{lesson.pk}": value}
    what = out(sick)

    pressed(what, looked(what, chosen), chosen=chosen)

    assert Lesson.objects.get().instructor == berta


def test_a_lesson_is_cancelled_by_hand(sick, arno) -> None:
    lesson = lesson_of(sick)
    chosen = {f"lesson-{lesson.pk}": "cancel"}
    what = out(sick)

    pressed(what, looked(what, chosen), chosen=chosen)

    assert Lesson.objects.get().state == "cancelled"


@pytest.mark.parametrize("value", ["x", "1_2", "1_2_x", "99_99_99", "²_1_1"])
def test_a_choice_that_is_none_is_refused(sick, arno, value: str) -> None:
    lesson = lesson_of(sick)

    with pytest.raises(UnableToBook, match=r"[Cc]hoose"):
        looked(out(sick), {f"lesson-{lesson.pk}": value})


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ({"first": "12:00", "last": "11:00"}, "comes before the beginning"),
        ({"first": "12:00", "last": "12:00"}, "comes before the beginning"),
        ({"reason": " "}, "Say why"),
    ],
)
def test_a_time_that_makes_no_sense_is_refused(sick, what, words: str) -> None:
    with pytest.raises(UnableToBook, match=words):
        looked(out(sick, **what))


def test_a_time_that_is_over_and_one_too_long_are_refused(sick) -> None:
    with pytest.raises(UnableToBook, match="That time is over"):
        looked(out(sick), now=at("09:00", SATURDAY + timedelta(days=1)))
    far = Out("instructor", sick.pk, NOW, NOW + timedelta(days=61), "sick")
    with pytest.raises(UnableToBook, match="At most 60 days"):
        looked(far)


def test_a_lesson_that_has_begun_stays_and_she_is_out_from_its_end_on(
    sick, arno
) -> None:
    begun, next_one = lesson_of(sick), lesson_of(sick, "11:00")
    now, what = at("09:30"), out(sick)
    seen = looked(what, now=now)

    pressed(what, seen, now=now)

    assert [one.pk for one in seen.proposal.begun] == [begun.pk]
    begun.refresh_from_db()
    next_one.refresh_from_db()
    assert (begun.instructor, next_one.instructor) == (sick, arno)
    spans = InstructorAbsence.objects.order_by("absent_from")
    assert [(x.absent_from, x.absent_to) for x in spans] == [
        (at("00:00"), at("09:00")),
        (at("10:00"), at("23:59")),
    ]


def test_a_lesson_moved_meanwhile_is_told_with_who_did_it(sick, arno) -> None:
    lesson = lesson_of(sick)
    what = out(sick)
    seen = looked(what)
    move_lesson(lesson=lesson, starts_at=at("10:00"), version=1, by=None, now=NOW)

    with pytest.raises(UnableToBook, match="was changed while you looked"):
        pressed(what, seen)

    assert not InstructorAbsence.objects.exists()
    assert Lesson.objects.get().instructor == sick


def test_a_lesson_booked_meanwhile_is_named(sick, arno) -> None:
    lesson_of(sick)
    what = out(sick)
    seen = looked(what)
    lesson_of(sick, "14:00", lesson__title="Late one")

    with pytest.raises(UnableToBook, match="Touched as well since you looked: Late"):
        pressed(what, seen)

    assert not InstructorAbsence.objects.exists()


def test_who_was_to_stand_in_is_taken_meanwhile_and_nothing_is_done(sick, arno) -> None:
    lesson_of(sick)
    what = out(sick)
    seen = looked(what)
    LessonFactory(instructor=arno)

    with pytest.raises(UnableToBook, match="Nothing was done"):
        pressed(what, seen)

    assert not InstructorAbsence.objects.exists()
    assert not OutboxMessage.objects.exists()


def test_of_two_managers_the_second_is_told(sick, arno) -> None:
    lesson_of(sick)
    what = out(sick)
    first, second = looked(what), looked(what)
    pressed(what, first)

    with pytest.raises(UnableToBook, match="was changed while you looked"):
        pressed(what, second)

    assert InstructorAbsence.objects.count() == 1
    assert OutboxMessage.objects.count() == 1


def test_what_is_written_down_already_is_not_written_twice(sick) -> None:
    what = out(sick, last="12:00")
    pressed(what, looked(what))
    longer = out(sick)

    pressed(longer, looked(longer))
    pressed(longer, looked(longer))

    spans = InstructorAbsence.objects.order_by("absent_from")
    assert [(x.absent_from, x.absent_to) for x in spans] == [
        (at("00:00"), at("12:00")),
        (at("12:00"), at("23:59")),
    ]


def test_a_way_that_a_rule_of_horses_work_forbids_is_not_proposed(sick) -> None:
    """At 14:00, ten minutes after its other lesson, it would stay tacked up too long.

    The minutes between count as work, and it may work 120.
    """
    lesson = lesson_of(
        sick, lesson__arena__name="Hall", horse__max_minutes=120, horse__rest_min=0
    )
    other = LessonFactory(
        instructor=sick, arena=lesson.arena, starts_at=at("12:50"), title="Other"
    )
    RideFactory(lesson=other, horse=lesson.rides.get().horse)

    found = looked(out(sick, last="12:00"))

    assert found.broken == ""
    assert says(found) == ["Ilka, Hall, 14:30"]


def test_a_lesson_stays_in_the_window_that_was_agreed(sick) -> None:
    lesson_of(
        sick,
        "13:00",
        lesson__window_from=at("12:30"),
        lesson__window_to=at("13:30"),
    )

    item = looked(out(sick, first="12:00", last="16:00")).proposal.items[0]

    assert item.cancels
    assert "As agreed it begins from 12:30 to 13:30" in item.why


def test_a_planned_day_moves_no_lesson_into_an_absence(sick) -> None:
    lesson = lesson_of(
        sick, lesson__window_from=at("08:00"), lesson__window_to=at("14:00")
    )
    InstructorAbsence.objects.create(
        instructor=sick, absent_from=at("11:00"), absent_to=at("15:00"), reason="sick"
    )

    (found,) = [
        one
        for one in day_document(day_rows(SATURDAY))["lessons"]
        if one["id"] == f"lesson-{lesson.pk}"
    ]

    assert (found["not_before"], found["not_after"]) == ("08:00", "10:00")
