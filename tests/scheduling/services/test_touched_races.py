"""Several who settle at the same moment, each by a connection of their own."""

from functools import partial
from uuid import uuid4

import pytest

from scheduling.services.touched import foretell_out, settle
from school.models import AuditEntry, InstructorAbsence, Lesson
from school.services.lessons import move_lesson
from school.services.out import Out
from tests.clock import NOW, at
from tests.factories.arenas import ArenaFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.school.services.test_races import in_words, race

pytestmark = pytest.mark.django_db(transaction=True)

TOLD = "The instructor can't come."


@pytest.fixture
def sick():
    """Two who teach in the same two arenas, and each could stand in for the other."""
    SchoolFactory()
    arenas = [ArenaFactory(name="Hall"), ArenaFactory(name="Ring")]
    teachers = [InstructorFactory(person__first_name=x) for x in ("Ilka", "Joris")]
    InstructorFactory(person__first_name="Arno")
    for n, teacher in enumerate(teachers):
        for clock in (f"{9 + n:02d}:00", f"{11 + n:02d}:00"):
            RideFactory(
                lesson__instructor=teacher,
                lesson__arena=arenas[n],
                lesson__starts_at=at(clock),
            )
    return teachers


def pressing(teacher, uid: str):
    out = Out("instructor", teacher.pk, at("00:00"), at("23:59"), "sick")
    seen = foretell_out(out=out, told=TOLD, chosen={}, by=None, now=NOW)
    versions = {x.lesson.pk: x.lesson.version for x in seen.proposal.items}
    return partial(
        settle, out=out, told=TOLD, chosen={}, seen=seen.digest, versions=versions,
        uid=uid, by=None, now=NOW,
    )  # fmt: skip


def test_one_form_pressed_by_four_at_once_is_done_once(sick) -> None:
    press = pressing(sick[0], str(uuid4()))

    won, told, broken = race([press] * 4)

    assert broken == []
    assert won + len(told) == 4
    assert AuditEntry.objects.filter(action="settle").count() == 1
    assert InstructorAbsence.objects.count() == 1
    assert in_words(told)


def test_of_four_managers_one_settles_it_and_the_others_are_told(sick) -> None:
    won, told, broken = race([pressing(sick[0], str(uuid4())) for _ in range(4)])

    assert (won, broken) == (1, [])
    assert len(told) == 3
    assert in_words(told)
    assert InstructorAbsence.objects.count() == 1


def test_two_who_are_sick_at_once_never_wait_for_each_other(sick) -> None:
    presses = [pressing(one, str(uuid4())) for one in sick]

    won, told, broken = race(presses)

    assert broken == []
    assert won >= 1
    assert in_words(told)
    # Whoever is out teaches nothing any more.
    for absence in InstructorAbsence.objects.all():
        assert not Lesson.objects.filter(
            instructor=absence.instructor, state="booked"
        ).exists()


def test_a_move_at_the_same_moment_is_done_or_told(sick) -> None:
    lesson = Lesson.objects.filter(instructor=sick[0]).earliest("starts_at")
    move = partial(
        move_lesson, lesson=lesson, starts_at=at("15:00"), version=1, by=None, now=NOW
    )

    won, told, broken = race([pressing(sick[0], str(uuid4())), move])

    assert (won, broken) == (1, [])
    assert in_words(told)
