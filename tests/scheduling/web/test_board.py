"""The board's pages: to scale, said in words, and changed in place."""

import re
from datetime import time, timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from scheduling.web.board_picture import (
    Column,
    Scale,
    Teacher,
    draw_board,
    draw_teachers,
    hours_shown,
)
from school.models import (
    ArenaClosure,
    InstructorHours,
    Lesson,
    Ride,
    School,
    WelfareOverride,
)
from tests.clock import SATURDAY, ZONE, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import (
    AccountFactory,
    GroundspersonFactory,
)
from tests.factories.plans import ChangeoverFactory, DayPlanFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db
DAY = f"/day/{SATURDAY.isoformat()}/"
PART = {"HX-Request": "true"}
WEEK = f"/week/{SATURDAY.isoformat()}/"


@pytest.fixture
def manager(client: Browser) -> Browser:
    SchoolFactory()
    client.force_login(AccountFactory(manager=True, person=None))
    return client


def address(lesson: Lesson, what: str = "") -> str:
    return f"/board/lessons/{lesson.pk}/{what}"


def fields(lesson: Lesson, **other: object) -> dict[str, object]:
    local = timezone.localtime(lesson.starts_at, ZONE)
    minutes = int((lesson.ends_at - lesson.starts_at).total_seconds() // 60)
    as_it_is = {
        "date": local.date().isoformat(),
        "start": f"{local:%H:%M}",
        "minutes": minutes,
        "arena": lesson.arena_id,
        "instructor": lesson.instructor_id,
        "version": lesson.version,
    }
    horses = {f"horse_{one.pk}": one.horse_id or "" for one in lesson.rides.all()}
    return as_it_is | horses | other


def boxes(page: str, kind: str) -> list[tuple[float, float]]:
    """Top and height of the rectangles of a kind."""
    return [
        (float(one[0]), float(one[1]))
        for one in re.findall(
            rf'<rect x="[^"]*" y="([^"]*)" width="[^"]*" height="([^"]*)"[^>]*'
            rf'class="{kind}"',
            page,
        )
    ]


def test_a_minute_is_as_long_everywhere() -> None:
    arena = ArenaFactory()
    lessons = [
        LessonFactory(arena=arena, starts_at=at(start), ends_at=at(end))
        for start, end in [("09:00", "09:45"), ("10:00", "11:30"), ("17:15", "18:00")]
    ]
    column = Column(SATURDAY, arena, lessons)

    drawn = draw_board([column], ZONE, Scale(8, 20), title="Day", manager=True)

    tops = [top for top, _ in boxes(drawn, "ride-box")]
    heights = [height + 2 for _, height in boxes(drawn, "ride-box")]
    assert heights == [45 * 1.5, 90 * 1.5, 45 * 1.5]
    assert [top - tops[0] for top in tops] == [0, 60 * 1.5, 495 * 1.5]


def test_the_hours_shown_hold_everything_and_at_least_one() -> None:
    arena = ArenaFactory(opens_at=time(9), closes_at=time(17, 30))
    early = ChangeoverFactory(starts_at=at("07:40"), ends_at=at("07:50"))

    assert hours_shown([Column(SATURDAY, arena, (), [early])], ZONE) == (7, 18)
    assert hours_shown([], ZONE) == (8, 20)


def test_closures_asked_lessons_and_those_past_midnight_stay_inside() -> None:
    arena = ArenaFactory()
    asked = LessonFactory(arena=arena, state="asked", title="Wish " + "x" * 40)
    closure = ArenaClosure(
        arena=arena,
        closed_from=at("18:00", SATURDAY - timedelta(days=1)),
        closed_to=at("09:00", SATURDAY + timedelta(days=1)),
        reason="frost and a reason longer than its column",
    )
    column = Column(SATURDAY, arena, [asked], (), [closure])
    scale = Scale(8, 20, column=78, fine=False)

    drawn = draw_board([column], ZONE, scale, title="Week", manager=False)
    wide = draw_board([column], ZONE, Scale(8, 20), title="Day", manager=False)

    assert 'stroke-dasharray="6 4"' in drawn
    assert ">frost an…<" in drawn
    assert "closed: frost" in wide
    assert "…" in drawn
    assert "asked for" in drawn
    assert "data-start" not in drawn


def teacher(*spans: tuple[str, str], hours: tuple[str, str] | None = None) -> Teacher:
    lessons = [LessonFactory(starts_at=at(a), ends_at=at(b)) for a, b in spans]
    known = []
    if hours:
        first, last = map(time.fromisoformat, hours)
        known = [InstructorHours(weekday=5, from_at=first, to_at=last)]
    return Teacher("Maud", known, lessons)


@pytest.mark.parametrize(
    ("spans", "hours", "gaps"),
    [
        ([("09:00", "10:00"), ("10:45", "11:30")], None, [(600, 645)]),
        ([("09:00", "10:00")], ("08:30", "11:00"), [(510, 540), (600, 660)]),
        ([("08:00", "12:00")], ("08:30", "11:00"), []),
        ([], ("08:00", "09:00"), [(480, 540)]),
        ([], None, []),
    ],
)
def test_gaps_are_what_is_free_within_the_hours(spans, hours, gaps) -> None:
    assert teacher(*spans, hours=hours).gaps(SATURDAY, ZONE) == gaps


def test_gaps_are_drawn_with_their_length() -> None:
    one = teacher(
        ("09:00", "10:00"), ("10:45", "11:00"), ("12:00", "13:00"), ("14:30", "15:00"),
        ("15:05", "15:30"),
    )  # fmt: skip

    drawn = draw_teachers([one], SATURDAY, ZONE, Scale(8, 20))

    for words in (">45 min<", ">1 h<", ">1 h 30<", ">Maud<"):
        assert words in drawn
    assert ">5 min<" not in drawn


def test_the_day_shows_lessons_teachers_and_how_to_change_them(
    manager: Browser,
) -> None:
    ride = RideFactory(lesson__instructor__person__first_name="Maud")
    InstructorHours.objects.create(
        instructor=ride.lesson.instructor, weekday=5, from_at=time(8), to_at=time(12)
    )

    page = manager.get(DAY).content.decode()

    for words in (">Maud<", ">2 h<", 'data-start="540"', address(ride.lesson)):
        assert words in page


def test_others_of_the_yard_see_the_board_and_change_nothing(client: Browser) -> None:
    SchoolFactory()
    lesson = LessonFactory()
    client.force_login(AccountFactory(person=GroundspersonFactory().person))

    page = client.get(DAY).content.decode()

    assert f"/lessons/{lesson.pk}/" in page
    assert "/board/" not in page
    assert "board.js" not in page


@pytest.mark.parametrize("n", [1, 3])
def test_the_week_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    plan = DayPlanFactory(state="published")
    for k in range(n):
        start = at("10:00") + timedelta(hours=2 * k)
        ride = RideFactory(lesson__starts_at=start)
        ChangeoverFactory(
            plan=plan,
            lesson=ride.lesson,
            starts_at=start - timedelta(minutes=12),
            ends_at=start,
        )

    with django_assert_num_queries(12):
        page = manager.get(WEEK).content.decode()

    lessons = "1 lesson," if n == 1 else "3 lessons,"
    assert f"{lessons} {-(-690 * n // 60)} min of changing fences" in page
    assert "Mon 1 Mar" in page
    assert "Sun 7 Mar" in page


@pytest.mark.parametrize("n", [1, 3])
def test_a_lessons_form_takes_a_constant_number_of_queries(
    manager: Browser, django_assert_num_queries, n: int
) -> None:
    lesson = LessonFactory()
    for _ in range(n):
        RideFactory(lesson=lesson)

    with django_assert_num_queries(13):
        manager.get(address(lesson))


def test_a_lesson_that_is_over_has_no_form(manager: Browser) -> None:
    lesson = LessonFactory(state="done")

    page = manager.get(address(lesson)).content.decode()

    assert "stays as it is" in page
    assert "board-form" not in page


def test_a_lesson_that_is_not_there_is_not_found(manager: Browser) -> None:
    assert manager.get("/board/lessons/99/").status_code == 404


def test_on_the_board_the_form_comes_alone(manager: Browser) -> None:
    lesson = LessonFactory()

    part = manager.get(address(lesson), headers={"HX-Request": "true"})

    assert "<html" not in part.content.decode()


def test_trying_says_what_comes_of_it_and_writes_nothing(manager: Browser) -> None:
    ride = RideFactory()
    asked = fields(ride.lesson, start="12:00", key="k")

    part = manager.post(
        address(ride.lesson, "try/"), asked, headers={"HX-Request": "true"}
    ).content.decode()

    assert 'data-key="k" data-verdict="free"' in part
    assert "Adds no changing of fences" in part
    assert "1 mail:" in part
    assert Lesson.objects.get().starts_at == at("09:00")


def test_trying_without_script_shows_the_whole_page(manager: Browser) -> None:
    busy = RideFactory(lesson__starts_at=at("12:00"), horse__name="Onyx")
    ride = RideFactory(horse=busy.horse)

    page = manager.post(
        address(ride.lesson, "try/"), fields(ride.lesson, start="12:00")
    ).content.decode()

    assert "Not possible." in page
    assert "Onyx goes in" in page
    assert 'value="12:00"' in page


def test_trying_nonsense_names_the_fields(manager: Browser) -> None:
    lesson = LessonFactory()

    page = manager.post(
        address(lesson, "try/"), fields(lesson, minutes=500)
    ).content.decode()

    assert "Look at these fields again. Minutes: Ensure this value is less" in page


@pytest.mark.parametrize("day", ["0001-01-01", "2127-03-06", "9999-12-31"])
@pytest.mark.parametrize("what", ["try/", "change/"])
def test_a_year_that_can_only_be_mistyped_is_refused(
    manager: Browser, day: str, what: str
) -> None:
    lesson = LessonFactory()

    page = manager.post(address(lesson, what), fields(lesson, date=day))

    assert "more than two years away; look at the year" in page.content.decode()
    assert Lesson.objects.get().starts_at == at("09:00")


def test_who_would_be_told_of_a_cancelling_is_said_before_the_reason(
    manager: Browser,
) -> None:
    ride = RideFactory()

    part = manager.post(
        address(ride.lesson, "try/"),
        {"do": "cancel", "version": 1},
        headers={"HX-Request": "true"},
    ).content.decode()

    assert 'data-verdict="free"' in part
    assert Lesson.objects.get().state == "booked"


def test_a_change_is_done_and_leads_back_to_the_lesson(manager: Browser) -> None:
    ride, horse = RideFactory(), HorseFactory()
    asked = fields(ride.lesson, start="12:00", minutes=45) | {
        f"horse_{ride.pk}": horse.pk
    }

    done = manager.post(address(ride.lesson, "change/"), asked)

    lesson = Lesson.objects.get()
    assert done["Location"] == f"{DAY}#lesson-{lesson.pk}"
    assert (lesson.starts_at, lesson.ends_at) == (at("12:00"), at("12:45"))
    assert Ride.objects.get().horse == horse


def test_a_refused_change_keeps_what_was_typed(manager: Browser) -> None:
    lesson = LessonFactory()

    response = manager.post(address(lesson, "change/"), fields(lesson, start="23:30"))

    assert response.status_code == 409
    assert "is open from 08:00 to 20:00" in response.content.decode()
    assert 'value="23:30"' in response.content.decode()


def test_the_second_manager_sees_what_is_there_now(manager: Browser) -> None:
    lesson = LessonFactory()
    seen = fields(lesson, start="15:00")
    manager.post(address(lesson, "change/"), fields(lesson, start="12:00"))

    response = manager.post(address(lesson, "change/"), seen)

    page = response.content.decode()
    assert response.status_code == 409
    assert "was changed while you looked" in page
    assert 'value="12:00"' in page
    assert Lesson.objects.get().starts_at == at("12:00")


def test_a_lesson_is_cancelled_with_a_reason_only(manager: Browser) -> None:
    lesson = LessonFactory()
    without = {"do": "cancel", "version": 1, "reason": " "}

    refused = manager.post(address(lesson, "change/"), without)
    done = manager.post(address(lesson, "change/"), without | {"reason": "Frost"})

    assert refused.status_code == 409
    assert done["Location"] == DAY
    assert Lesson.objects.get().state_reason == "Frost"


def test_a_rule_of_horses_work_is_overruled_on_the_board_with_a_reason(
    manager: Browser,
) -> None:
    horse = HorseFactory(max_lessons=1)
    RideFactory(horse=horse)
    ride = RideFactory(lesson__starts_at=at("15:00"))
    asked = fields(ride.lesson) | {f"horse_{ride.pk}": horse.pk}

    tried = manager.post(address(ride.lesson, "try/"), asked, headers=PART)
    refused = manager.post(address(ride.lesson, "change/"), asked)
    page = refused.content.decode()

    assert 'name="overrule"' in tried.content.decode()
    assert "Over the limit of a horse's work." in tried.content.decode()
    assert tried.content.decode().count("at most 1 ") == 1
    assert refused.status_code == 409
    assert "Do it all the same?" in page
    why = asked | {"overrule": "A quiet hour in walk"}
    tried = manager.post(address(ride.lesson, "try/"), why, headers=PART)
    assert "Not possible" not in tried.content.decode()
    assert 'value="A quiet hour in walk"' in tried.content.decode()
    assert not WelfareOverride.objects.exists()
    done = manager.post(address(ride.lesson, "change/"), why)
    assert done.status_code == 302
    kept = WelfareOverride.objects.get()
    assert (kept.horse, kept.reason) == (horse, "A quiet hour in walk")


def test_no_reason_goes_against_what_is_no_rule_of_horses_work(
    manager: Browser,
) -> None:
    lesson = LessonFactory()
    asked = fields(lesson, start="23:30", overrule="All the same")

    assert manager.post(address(lesson, "change/"), asked).status_code == 409
    tried = manager.post(address(lesson, "try/"), asked, headers=PART)
    assert "Not possible" in tried.content.decode()


def test_a_lesson_across_the_sunset_hides_no_word_of_the_dark(
    manager: Browser,
) -> None:
    School.objects.update(latitude=52.4, longitude=4.9)
    LessonFactory(arena__lit=False, starts_at=at("17:30"))

    page = manager.get(DAY).content.decode()

    (words,) = re.findall(r'<text[^>]* y="([^"]*)"[^>]*>dark from 18:\d\d<', page)
    ((top, height),) = boxes(page, "ride-box")
    assert not top - 15 < float(words) < top + height + 15


def test_the_week_tells_a_harrow_from_a_frozen_arena(manager: Browser) -> None:
    arena = ArenaFactory()
    for reason, first, last in (
        ("Harrowing", "09:00", "09:30"),
        ("Frozen", "12:00", "18:00"),
    ):
        ArenaClosure.objects.create(
            arena=arena, closed_from=at(first), closed_to=at(last), reason=reason
        )

    page = manager.get(WEEK).content.decode()

    assert re.findall(r">(Harrowing|Frozen|closed)</text>", page) == [
        "Harrowing",
        "Frozen",
    ]


def test_the_board_says_which_horses_work_is_over_a_limit_or_near_it(
    manager: Browser,
) -> None:
    over = HorseFactory(name="Onyx", max_minutes=100)
    RideFactory(horse=over, lesson__starts_at=at("09:00"))
    RideFactory(horse=over, lesson__starts_at=at("14:00"))
    RideFactory(horse__name="Biscuit", lesson__work="flat")

    page = manager.get(DAY).content.decode()
    (onyx,) = re.findall(r"<li><span>Onyx</span>.*?</li>", page)
    (biscuit,) = re.findall(r"<li><span>Biscuit</span>.*?</li>", page)

    assert "120 of 100 min" in onyx
    assert "<strong>Over the limit:</strong> Onyx" in onyx
    assert "Over the limit" not in biscuit


def test_why_a_lesson_is_moved_is_kept_for_its_clients(manager: Browser) -> None:
    lesson, hall = LessonFactory(), ArenaFactory(name="Hall")

    manager.post(
        address(lesson, "change/"), fields(lesson, arena=hall.pk, why=" Rain ")
    )

    lesson.refresh_from_db()
    assert (lesson.arena, lesson.moved_reason) == (hall, "Rain")
