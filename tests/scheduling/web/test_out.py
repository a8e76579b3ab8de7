"""The pages on which somebody or something is said to be out."""

import re
from datetime import timedelta
from itertools import pairwise

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from school.models import (
    ArenaClosure,
    AuditEntry,
    HorseState,
    InstructorAbsence,
    Lesson,
    OutboxMessage,
)
from tests.clock import at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.rows import grid_of

pytestmark = pytest.mark.django_db

DAY = timezone.localdate() + timedelta(days=3)


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True))
    return client


@pytest.fixture
def lesson() -> Lesson:
    """Ilka's lesson, which Arno could take."""
    InstructorFactory(person__first_name="Arno")
    ride = RideFactory(
        lesson__instructor__person__first_name="Ilka",
        lesson__starts_at=at("10:00", DAY),
        lesson__arena__name="Hall",
    )
    return ride.lesson


def page_of(lesson: Lesson, **more: str) -> str:
    asked = {
        "what": f"instructor-{lesson.instructor_id}",
        "day": DAY.isoformat(),
        "reason": "sick",
    } | more
    return "/out/touched/?" + "&".join(f"{key}={value}" for key, value in asked.items())


def fields(page: str, **chosen: str) -> dict[str, str]:
    """Return what the page's form would send."""
    hidden = re.findall(r'type="hidden" name="([\w-]+)" value="([^"]*)"', page)
    return {name: value for name, value in hidden if "csrf" not in name} | chosen


def test_all_of_it_is_done_by_one_press(manager: Browser, lesson: Lesson) -> None:
    page = manager.get(page_of(lesson)).content.decode()
    assert "Arno, Hall, 10:00" in page
    assert "Mails that would go: 1" in page

    answer = manager.post(page_of(lesson), fields(page, do="settle"), follow=True)

    lesson.refresh_from_db()
    assert lesson.instructor.person.first_name == "Arno"
    assert "Lessons: 1 changed, 0 cancelled; 1 mail to go." in answer.content.decode()
    assert "Is back" in answer.content.decode()


def test_a_choice_is_looked_at_before_it_is_done(
    manager: Browser, lesson: Lesson
) -> None:
    page = manager.get(page_of(lesson)).content.decode()
    chosen = {f"choose-lesson-{lesson.pk}": "cancel"}

    first = manager.post(page_of(lesson), fields(page, do="settle", **chosen))

    assert first.status_code == 409
    assert "You have chosen otherwise" in first.content.decode()
    assert Lesson.objects.get().state == "booked"
    sent = fields(first.content.decode(), do="settle", **chosen)
    manager.post(page_of(lesson), sent)
    assert Lesson.objects.get().state == "cancelled"


def test_what_changed_meanwhile_is_told_and_shown_anew(
    manager: Browser, lesson: Lesson
) -> None:
    page = manager.get(page_of(lesson)).content.decode()
    Lesson.objects.update(version=2)

    answer = manager.post(page_of(lesson), fields(page, do="settle"))

    assert answer.status_code == 409
    assert "was changed while you looked" in answer.content.decode()
    assert "Arno, Hall, 10:00" in answer.content.decode()
    assert not InstructorAbsence.objects.exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"what": ""}, "Look at these again"),
        ({"what": "instructor-0"}, "Look at these again"),
        ({"what": "saddle-1"}, "Look at these again"),
        ({"day": "soon"}, "Look at these again"),
        ({"reason": ""}, "Look at these again"),
        ({"since": "12:00", "until": "11:00"}, "The end comes before the beginning"),
        ({"until_day": "2001-01-01"}, "The end comes before the beginning"),
        ({"day": "2001-01-01"}, "That time is over"),
        ({"until_day": "2999-01-01"}, "At most 60 days"),
    ],
)
def test_what_makes_no_sense_is_said_beside_what_was_typed(
    manager: Browser, lesson: Lesson, more: dict[str, str], words: str
) -> None:
    answer = manager.get(page_of(lesson, **more))

    assert answer.status_code == 409
    assert words in answer.content.decode()


def test_a_choice_that_is_gone_is_told_and_the_rest_shown(
    manager: Browser, lesson: Lesson
) -> None:
    chosen = {f"choose-lesson-{lesson.pk}": "9_9_9", "do": "look"}

    answer = manager.post(page_of(lesson), chosen)

    assert answer.status_code == 409
    assert "held as you chose any more" in answer.content.decode()
    assert "Arno, Hall, 10:00" in answer.content.decode()


def test_nothing_touched_is_written_down_all_the_same(
    manager: Browser, lesson: Lesson
) -> None:
    Lesson.objects.update(state="cancelled", state_reason="storm")
    page = manager.get(page_of(lesson)).content.decode()
    assert "No lesson of it is touched" in page

    manager.post(page_of(lesson), fields(page, do="settle"))

    assert InstructorAbsence.objects.count() == 1


def absences(count: int) -> None:
    for n in range(count):
        times = (
            at("10:00", DAY + timedelta(days=n)),
            at("11:00", DAY + timedelta(days=n)),
        )
        for _ in range(count):
            InstructorAbsence.objects.create(
                instructor=InstructorFactory(), absent_from=times[0],
                absent_to=times[1], reason="sick",
            )  # fmt: skip
            ArenaClosure.objects.create(
                arena=ArenaFactory(), closed_from=times[0], closed_to=times[1],
                reason="frost",
            )  # fmt: skip
            HorseState.objects.create(
                horse=HorseFactory(), kind="vet", state_from=times[0], reason="cough"
            )


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_of_who_is_out_needs_as_many_queries_for_any_number(
    manager: Browser, django_assert_num_queries, count: int
) -> None:
    absences(count)

    with django_assert_num_queries(16):
        page = manager.get("/out/").content.decode()

    assert page.count("Is back<") == 3 * count * count


def test_back_before_the_end_ends_it_now_and_before_its_beginning_takes_it_back(
    manager: Browser,
) -> None:
    now = timezone.now()
    teacher = InstructorFactory(person__first_name="Ilka")
    begun = InstructorAbsence.objects.create(
        instructor=teacher, absent_from=now - timedelta(hours=1),
        absent_to=now + timedelta(hours=5), reason="sick",
    )  # fmt: skip
    later = InstructorAbsence.objects.create(
        instructor=teacher, absent_from=now + timedelta(days=1),
        absent_to=now + timedelta(days=2), reason="sick",
    )  # fmt: skip

    for one in (begun, later, later):
        manager.post(f"/out/instructor/{one.pk}/back/", follow=True)

    begun.refresh_from_db()
    assert begun.absent_to <= timezone.now()
    assert list(InstructorAbsence.objects.all()) == [begun]
    assert LessonFactory(instructor=teacher, starts_at=now + timedelta(days=1)).pk


def test_back_of_an_unknown_kind_is_not_found(manager: Browser) -> None:
    assert manager.post("/out/saddle/1/back/").status_code == 404


def asked_for(manager: Browser, lesson: Lesson) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert manager.get(page_of(lesson)).status_code == 200
    return len(queries)


def touched_too(lesson: Lesson, clock: str) -> None:
    RideFactory(
        lesson__instructor=lesson.instructor,
        lesson__arena=lesson.arena,
        lesson__starts_at=at(clock, DAY),
    )


def test_each_lesson_touched_adds_the_same_queries_and_no_other_adds_any(
    manager: Browser, lesson: Lesson
) -> None:
    """What would come of it is done and taken back, so each lesson has its own."""
    manager.get(page_of(lesson))  # What is read once and kept is not counted.
    counts = [asked_for(manager, lesson)]
    for clock in ("12:00", "14:00", "16:00"):
        touched_too(lesson, clock)
        counts.append(asked_for(manager, lesson))
    for clock in ("11:00", "13:00", "15:00"):
        RideFactory(lesson__starts_at=at(clock, DAY))

    each = {after - before for before, after in pairwise(counts)}
    assert len(each) == 1
    assert each.pop() <= 80
    assert asked_for(manager, lesson) <= counts[-1]


def test_each_rider_of_a_lesson_touched_adds_the_same_queries(
    manager: Browser, lesson: Lesson
) -> None:
    manager.get(page_of(lesson))
    counts = [asked_for(manager, lesson)]
    for _ in range(3):
        RideFactory(lesson=lesson)
        counts.append(asked_for(manager, lesson))

    each = {after - before for before, after in pairwise(counts)}
    assert len(each) == 1
    assert each.pop() <= 20


def test_what_is_to_be_looked_at_stands_on_the_page(
    manager: Browser, lesson: Lesson
) -> None:
    grid = grid_of(lesson)
    grid.fitted = {"gaps": [{"horses": [{"horse": "Onyx"}]}]}
    grid.save()

    page = manager.get(page_of(lesson)).content.decode()

    assert "To be looked at" in page
    assert "The grid was fitted to Onyx" in page


def test_a_page_gone_back_to_and_pressed_again_does_nothing_and_says_so(
    manager: Browser, lesson: Lesson
) -> None:
    page = manager.get(page_of(lesson)).content.decode()
    manager.post(page_of(lesson), fields(page, do="settle"), follow=True)
    audit = AuditEntry.objects.count()

    answer = manager.post(page_of(lesson), fields(page, do="settle"), follow=True)

    assert "That was done already" in answer.content.decode()
    assert InstructorAbsence.objects.count() == 1
    assert OutboxMessage.objects.count() == 1
    assert AuditEntry.objects.count() == audit


def test_a_page_gone_back_to_with_another_choice_says_that_it_was_done(
    manager: Browser, lesson: Lesson
) -> None:
    page = manager.get(page_of(lesson)).content.decode()
    manager.post(page_of(lesson), fields(page, do="settle"))
    chosen = {f"choose-lesson-{lesson.pk}": "cancel"}

    answer = manager.post(
        page_of(lesson), fields(page, do="settle", **chosen), follow=True
    )

    assert "That was done already" in answer.content.decode()
    assert "open the lesson" in answer.content.decode()
    assert Lesson.objects.get().state == "booked"
    assert InstructorAbsence.objects.count() == 1
