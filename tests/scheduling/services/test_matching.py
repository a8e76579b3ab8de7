"""Horses proposed from the records, and given together or not at all."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from scheduling.services.matching import give_horses, propose
from school.models import AuditEntry, HorseState, Ride, RiderHorse
from school.services.likings import note_liking, set_confidence
from school.services.refusals import UnableToBook
from school.services.rides import change_horse
from tests.clock import NOW, SATURDAY, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def two():
    """A heavy rider on a small horse, and a light one on a big horse."""
    SchoolFactory()
    lesson = LessonFactory()
    small, big = HorseFactory(weight_kg=420), HorseFactory(weight_kg=700)
    heavy = RideFactory(lesson=lesson, rider__weight_kg=62, horse=small)
    light = RideFactory(lesson=lesson, rider__weight_kg=35, horse=big)
    return heavy, light


def proposed(**changes) -> dict[int, int | None]:
    found = propose(day=SATURDAY, now=NOW, **changes)
    return {one.seat: one.mount for one in found.match.given}


def test_riders_change_horses_with_each_other(two) -> None:
    heavy, light = two
    wanted = proposed()
    assert wanted == {heavy.pk: light.horse_id, light.pk: heavy.horse_id}
    seen = {heavy.pk: heavy.horse_id, light.pk: light.horse_id}

    for _ in range(2):  # a second press changes nothing more
        give_horses(wanted=wanted, seen=seen, by=None, now=NOW)

    assert {one.pk: one.horse_id for one in Ride.objects.all()} == wanted
    assert AuditEntry.objects.filter(action="change horse").count() == 2


def test_what_changed_meanwhile_is_told_and_nothing_is_given(two) -> None:
    heavy, light = two
    wanted = proposed()
    seen = {heavy.pk: heavy.horse_id, light.pk: light.horse_id}
    other = HorseFactory(name="Third", weight_kg=800)
    change_horse(ride=heavy, horse=other, by=None, now=NOW)

    with pytest.raises(UnableToBook, match="was given Third while you looked"):
        give_horses(wanted=wanted, seen=seen, by=None, now=NOW)

    assert Ride.objects.get(pk=light.pk).horse_id == light.horse_id


def test_one_refused_horse_gives_none(two) -> None:
    heavy, light = two
    wanted = proposed()
    seen = {heavy.pk: heavy.horse_id, light.pk: light.horse_id}
    RiderHorseFactory(rider=light.rider, horse=heavy.horse)

    with pytest.raises(UnableToBook, match="never to ride"):
        give_horses(wanted=wanted, seen=seen, by=None, now=NOW)

    assert Ride.objects.get(pk=heavy.pk).horse_id == heavy.horse_id


def test_a_ride_that_is_gone_is_told(two) -> None:
    with pytest.raises(UnableToBook, match="not there any more"):
        give_horses(wanted={999: two[0].horse_id}, seen={}, by=None, now=NOW)


def test_a_lesson_that_runs_keeps_its_horses(two) -> None:
    heavy, light = two
    type(heavy.lesson).objects.update(state="running")
    wanted = {heavy.pk: light.horse_id}

    with pytest.raises(UnableToBook, match="it has begun"):
        give_horses(wanted=wanted, seen={heavy.pk: heavy.horse_id}, by=None, now=NOW)
    assert proposed() == {}


def test_never_again_is_kept_and_refused_by_hand(two) -> None:
    heavy, light = two
    RiderHorseFactory(rider=heavy.rider, horse=light.horse)

    assert proposed()[heavy.pk] == heavy.horse_id
    with pytest.raises(UnableToBook, match="never to ride"):
        change_horse(ride=heavy, horse=light.horse, by=None, now=NOW)


def test_a_lame_horse_is_not_proposed(two) -> None:
    _heavy, light = two
    lame, light.horse = light.horse, None
    light.save()
    HorseState.objects.create(horse=lame, kind="unfit", state_from=NOW, reason="lame")

    found = propose(day=SATURDAY, now=NOW)

    assert lame.pk not in {one.mount for one in found.match.given}


def test_what_is_fixed_stays_or_is_refused(two) -> None:
    heavy, _light = two
    fixed = {heavy.pk: heavy.horse_id}
    assert proposed(fixed=fixed)[heavy.pk] == heavy.horse_id
    RiderHorseFactory(rider=heavy.rider, horse=heavy.horse)

    with pytest.raises(UnableToBook, match="never again"):
        proposed(fixed=fixed)


def test_a_day_holds_its_lessons_together(two) -> None:
    heavy, light = two
    soon = LessonFactory(starts_at=at("10:10"))
    late = RideFactory(lesson=soon, rider__weight_kg=62, horse=None)

    found = proposed(lesson=soon.pk)
    assert found == {late.pk: None}  # both horses need their rest
    assert proposed(rides=[heavy.pk])[heavy.pk] == heavy.horse_id
    assert len(proposed(without=[light.horse_id])) == 3


def test_queries_do_not_grow_with_riders(two) -> None:
    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            propose(day=SATURDAY, now=NOW)
        return len(queries)

    few = count()
    RideFactory(lesson=two[0].lesson)
    RideFactory(lesson=two[0].lesson)
    assert count() == few


def test_notes_are_kept_once_changed_and_taken_away(two) -> None:
    rider, horse = two[0].rider, two[0].horse

    def note(liking: str, reason: str = "") -> None:
        note_liking(
            rider=rider, horse=horse, liking=liking, reason=reason, by=None, now=NOW
        )

    note("wish")
    note("wish")
    with pytest.raises(UnableToBook, match="Say why"):
        note("never", " ")
    note("never", "stops")
    assert RiderHorse.objects.get().liking == "never"
    note("")
    note("")
    assert not RiderHorse.objects.exists()
    assert AuditEntry.objects.filter(subject="riderhorse").count() == 3


def test_confidence_is_set_once(two) -> None:
    rider = two[0].rider
    for number in (2, 2, 4):
        set_confidence(rider=rider, confidence=number, by=None, now=NOW)
    with pytest.raises(UnableToBook, match="from 1"):
        set_confidence(rider=rider, confidence=0, by=None, now=NOW)

    assert AuditEntry.objects.filter(action="set confidence").count() == 2


def test_yesterdays_work_counts(two) -> None:
    before = LessonFactory(starts_at=at("09:00") - timedelta(days=1), state="done")
    RideFactory(lesson=before, rider=two[0].rider, horse=two[0].horse)

    found = propose(day=SATURDAY, now=NOW)
    says = [t.says for one in found.match.given for t in one.terms]
    assert "60 min of work yesterday, jumping, and jumps again" in says


def given_of(found) -> list[Ride]:
    wanted = {one.seat: one.mount for one in found.match.given if one.mount}
    seen = {one.pk: one.horse_id for one in found.rides}
    return give_horses(wanted=wanted, seen=seen, by=None, now=NOW)


def day_of(work: str, *clocks: str, **horse):
    """Propose for lessons of one rider each on a day, with one horse to be had."""
    SchoolFactory()
    HorseFactory(name="Juniper", **horse)
    for clock in clocks:
        lesson = LessonFactory(starts_at=at(clock), work=work)
        RideFactory(lesson=lesson, horse=None)
    return propose(day=SATURDAY, now=NOW)


@pytest.mark.parametrize(
    ("work", "clocks", "horse", "seated"),
    [
        # Two jumping lessons a day: the school's rule, which refuses a third.
        ("jumping", ("09:00", "11:00", "13:00"), {}, 2),
        # Three lessons and the ten minutes between them are more than three hours.
        ("flat", ("09:00", "10:10", "11:20"), {"rest_min": 0}, 2),
        ("flat", ("09:00", "10:30", "12:00"), {}, 3),
    ],
)
def test_what_is_proposed_for_a_day_can_be_given(work, clocks, horse, seated) -> None:
    found = day_of(work, *clocks, **horse)

    assert len(given_of(found)) == seated
    assert found.match.proved
    says = [x for why in found.match.unseated.values() for x in why.values()]
    assert set(says) <= {"limit: over a rule of its work with what it is given here"}


def test_a_horse_is_ruled_out_by_rule_figure_limit_and_source() -> None:
    SchoolFactory()
    HorseFactory(name="Pepper", weight_kg=300)
    ride = RideFactory(lesson__work="flat", rider__weight_kg=70, horse=None)

    why = propose(day=SATURDAY, now=NOW).match.unseated[ride.pk]

    assert list(why.values()) == [
        "would carry 26.7 % of its weight; at most 20 % (two trials and a survey; "
        "the tool's own estimate)"
    ]


def test_a_weight_the_school_allows_is_proposed() -> None:
    SchoolFactory(welfare={"weight": {"warn": 20, "refuse": 25}})
    horse = HorseFactory(weight_kg=400)
    RideFactory(lesson__work="flat", rider__weight_kg=80, horse=None)  # 22.5 %

    found = propose(day=SATURDAY, now=NOW)

    assert [one.mount for one in found.match.given] == [horse.pk]
    assert "carries 22.5 % of its weight, over 20.0 %" in [
        one.says for one in found.match.given[0].terms
    ]


def overruled(by) -> Ride:
    """Return the third jumping lesson of a horse's day, overruled with a reason."""
    SchoolFactory()
    horse = HorseFactory(name="Juniper", max_lessons=2)
    HorseFactory(name="Pepper", weight_kg=800)
    for clock in ("09:00", "11:00"):
        RideFactory(horse=horse, lesson__starts_at=at(clock))
    ride = RideFactory(horse=None, lesson__starts_at=at("13:00"))
    change_horse(
        ride=ride, horse=horse, by=by, now=NOW, overrule="The other lost a shoe"
    )
    return Ride.objects.get(pk=ride.pk)


@pytest.mark.parametrize("whole_day", [True, False])
def test_a_fixed_pair_that_stands_and_was_overruled_stays(whole_day) -> None:
    ride = overruled(AccountFactory(manager=True))
    every = {one.pk: one.horse_id for one in Ride.objects.all()}

    found = propose(
        day=SATURDAY,
        now=NOW,
        lesson=None if whole_day else ride.lesson_id,
        fixed=every if whole_day else {ride.pk: ride.horse_id},
    )

    (given,) = [one for one in found.match.given if one.seat == ride.pk]
    assert given.mount == ride.horse_id
    assert [one.pk for one in found.rides] == [one.seat for one in found.match.given]
    assert "stands as it was overruled, with a reason" in [
        one.says for one in given.terms
    ]
    assert not given_of(found)


def test_a_worse_figure_than_was_overruled_is_refused_of_a_fixed_pair() -> None:
    ride = overruled(AccountFactory(manager=True))
    RideFactory(horse=ride.horse, lesson__starts_at=at("15:00"))
    every = {one.pk: one.horse_id for one in Ride.objects.all()}

    with pytest.raises(UnableToBook, match="can't be kept together"):
        propose(day=SATURDAY, now=NOW, fixed=every)


def test_never_again_is_refused_of_a_fixed_pair_whatever_was_overruled() -> None:
    ride = overruled(AccountFactory(manager=True))
    RiderHorseFactory(rider=ride.rider, horse=ride.horse)

    with pytest.raises(UnableToBook, match="never again"):
        propose(day=SATURDAY, now=NOW, fixed={ride.pk: ride.horse_id})


def test_the_same_queries_are_asked_for_any_number_that_were_overruled() -> None:
    overruled(AccountFactory(manager=True))

    def count(fixed: dict[int, int]) -> int:
        with CaptureQueriesContext(connection) as queries:
            propose(day=SATURDAY, now=NOW, fixed=fixed)
        return len(queries)

    every = {one.pk: one.horse_id for one in Ride.objects.all()}
    few = count(dict(list(every.items())[:1]))
    assert count(every) == few
