"""All that is touched by somebody or something out: proposed, foretold, done once."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from scheduling.convert.days import day_document
from scheduling.queries.days import day_rows
from scheduling.services.touched import Foretold, Settled, foretell_out, settle
from school.models import (
    ArenaClosure,
    AuditEntry,
    HorseState,
    InstructorAbsence,
    InstructorHours,
    InstructorPaper,
    Lesson,
    OutboxMessage,
    Ride,
)
from school.services.lessons import Move, move_lesson, move_lessons
from school.services.out import Out
from school.services.refusals import UnableToBook
from tests.clock import NOW, SATURDAY, at
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

TOLD = "The instructor can't come."


@pytest.fixture
def sick():
    """Ilka, sick on the Saturday, and Arno, who could stand in."""
    SchoolFactory()
    return InstructorFactory(person__first_name="Ilka")


@pytest.fixture
def arno():
    return InstructorFactory(person__first_name="Arno")


def out(teacher, first="00:00", last="23:59", **more) -> Out:
    fields = {"reason": "sick"} | more
    return Out("instructor", teacher.pk, at(first), at(last), **fields)


def looked(what: Out, chosen=None, now=NOW) -> Foretold:
    return foretell_out(out=what, told=TOLD, chosen=chosen or {}, by=None, now=now)


def pressed(what: Out, seen: Foretold, *, uid="", chosen=None, now=NOW) -> Settled:
    return settle(
        out=what,
        told=TOLD,
        chosen=chosen or {},
        seen=seen.digest,
        versions={x.lesson.pk: x.lesson.version for x in seen.proposal.items},
        uid=uid or str(uuid4()),
        by=None,
        now=now,
    )


def lesson_of(teacher, start="09:00", **more) -> Lesson:
    ride = RideFactory(lesson__instructor=teacher, lesson__starts_at=at(start), **more)
    return ride.lesson


def says(found: Foretold) -> list[str]:
    return [one.says for one in found.proposal.items]


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


def test_a_frozen_arenas_lessons_go_to_another_arena_or_time(sick) -> None:
    hall, ring = ArenaFactory(name="Hall"), ArenaFactory(name="Ring")
    first = lesson_of(sick, "13:00", lesson__arena=hall)
    second = lesson_of(sick, "14:00", lesson__arena=hall)
    LessonFactory(arena=ring, starts_at=at("14:00"))
    what = Out("arena", hall.pk, at("12:00"), at("18:00"), "frozen")
    seen = looked(what)

    assert says(seen) == ["Ilka, Ring, 13:00", "Ilka, Ring, 15:00"]
    pressed(what, seen)

    closure = ArenaClosure.objects.get()
    assert (closure.closed_from, closure.closed_to) == (what.first, what.last)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.arena, first.starts_at) == (ring, at("13:00"))
    assert (second.arena, second.starts_at) == (ring, at("15:00"))


def lame(horse, first="00:00", last="23:59", day=SATURDAY) -> Out:
    return Out("horse", horse.pk, at(first), at(last, day), "lame", "vet")


def test_a_lame_horses_riders_are_given_others_that_are_fit_and_heavy_enough() -> None:
    SchoolFactory()
    ride = RideFactory(rider__weight_kg=70, horse__name="Onyx", horse__weight_kg=600)
    HorseFactory(name="Pepper", weight_kg=300)
    strong = HorseFactory(name="Juniper", weight_kg=650)
    what = lame(ride.horse)
    seen = looked(what)

    assert says(seen) == [f"{ride.rider.person.first_name} on Juniper"]
    done = pressed(what, seen)

    ride.refresh_from_db()
    assert ride.horse == strong
    state = HorseState.objects.get()
    assert (state.kind, state.reason, state.state_from) == ("vet", "lame", what.first)
    assert (done.changed, done.cancelled) == (1, 0)


def test_four_rides_on_two_days_are_settled_at_once() -> None:
    SchoolFactory()
    onyx = HorseFactory(name="Onyx")
    HorseFactory(name="Juniper")
    sunday = SATURDAY + timedelta(days=1)
    for day in (SATURDAY, sunday):
        for clock in ("10:00", "14:00"):
            RideFactory(horse=onyx, lesson__starts_at=at(clock, day))
    what = lame(onyx, day=sunday)

    done = pressed(what, looked(what))

    assert done.changed == 4
    assert set(Ride.objects.values_list("horse__name", flat=True)) == {"Juniper"}


def test_without_another_horse_the_rider_is_left_without_one_for_now() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    tired = HorseFactory(name="Juniper")
    HorseState.objects.create(
        horse=tired, kind="rest", state_from=at("00:00"), reason="back is sore"
    )
    what = lame(ride.horse)
    seen = looked(what)

    assert seen.proposal.items[0].waits
    assert seen.proposal.items[0].why == (
        "Juniper: not fit for work then, or over a rule of its work",
    )
    pressed(what, seen)

    ride.refresh_from_db()
    assert (ride.horse, ride.state) == (None, "booked")


def test_a_place_given_back_by_choice_leaves_the_others_in_the_lesson() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    other = RideFactory(lesson=ride.lesson)
    chosen, what = {f"ride-{ride.pk}": "cancel"}, lame(ride.horse)

    done = pressed(what, looked(what, chosen), chosen=chosen)

    ride.refresh_from_db()
    assert (ride.state, ride.cancelled_reason) == ("cancelled", TOLD)
    assert Lesson.objects.get().state == "booked"
    assert Ride.objects.get(pk=other.pk).state == "booked"
    assert (done.changed, done.cancelled) == (0, 1)


def test_a_lesson_nobody_is_left_in_falls_out_as_a_whole() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    chosen, what = {f"ride-{ride.pk}": "cancel"}, lame(ride.horse)

    pressed(what, looked(what, chosen), chosen=chosen)

    assert Lesson.objects.get().state == "cancelled"


def test_a_horse_by_choice_is_given_and_one_not_to_be_had_refused() -> None:
    SchoolFactory()
    ride = RideFactory(horse__name="Onyx")
    juniper, rowan = HorseFactory(name="Juniper"), HorseFactory(name="Rowan")
    what = lame(ride.horse)
    for horse in (juniper, rowan):
        chosen = {f"ride-{ride.pk}": str(horse.pk)}
        assert looked(what, chosen).proposal.items[0].horse == horse
    RiderHorseFactory(rider=ride.rider, horse=rowan)

    with pytest.raises(UnableToBook, match="never again"):
        looked(what, chosen)
    with pytest.raises(UnableToBook, match="not known"):
        looked(what, {f"ride-{ride.pk}": str(ride.horse_id)})
    with pytest.raises(UnableToBook, match="Choose again"):
        looked(what, {f"ride-{ride.pk}": "²"})


def test_a_horse_that_was_resting_already_stays_so_and_is_out_for_the_rest() -> None:
    SchoolFactory()
    horse = HorseFactory()
    HorseState.objects.create(
        horse=horse, kind="rest", state_from=at("00:00"), state_to=at("12:00"),
        reason="day of rest",
    )  # fmt: skip
    what = lame(horse)

    for _ in range(2):
        pressed(what, looked(what))

    kinds = HorseState.objects.order_by("state_from")
    assert [(x.kind, x.state_from, x.state_to) for x in kinds] == [
        ("rest", at("00:00"), at("12:00")),
        ("vet", at("12:00"), at("23:59")),
    ]


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
