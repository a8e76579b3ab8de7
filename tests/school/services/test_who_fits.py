"""Who fits a free place, and why not: level, weight, age, day, consent."""

from datetime import date, time, timedelta
from typing import Any

import pytest

from school.models import Horse, Lesson, Rider, WaitingOffer, WaitingWish
from school.services.offers import offer_places
from school.services.refusals import UnableToBook
from school.services.who_fits import Pairing, waiting_list, who_fits
from tests.clock import NOW, at
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.matching import RiderHorseFactory
from tests.factories.people import InstructorFactory, RiderFactory
from tests.factories.riders import RiderStopFactory, RidingConsentFactory
from tests.factories.schools import SchoolFactory
from tests.factories.waiting import WaitingOfferFactory, WaitingWishFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


@pytest.fixture
def place() -> Lesson:
    """A group that jumps on Saturday at ten, with a horse of 600 kg free."""
    HorseFactory(name="Juniper", weight_kg=600)
    return LessonFactory(
        kind="group", starts_at=at("10:00"), instructor__person__first_name="Ilka"
    )


def the_pair(place: Lesson) -> Pairing:
    (one,) = who_fits(place, NOW)
    return one


def test_who_fits_is_told_why(place: Lesson) -> None:
    WaitingWishFactory(
        rider__level_signed_by=InstructorFactory(),
        rider__level_signed_date=date(2027, 1, 5),
    )

    one = the_pair(place)

    assert one.fits
    assert one.good == [
        "jumping, day and hour as wished for",
        "level intermediate",
        "48 kg: Juniper is free and strong enough",
    ]
    assert one.look_at == []


def too_heavy(wish: WaitingWish, place: Lesson) -> None:
    Rider.objects.update(weight_kg=120)


def all_taken(wish: WaitingWish, place: Lesson) -> None:
    RideFactory(horse=Horse.objects.get(), lesson__starts_at=at("10:30"))


def young(wish: WaitingWish, place: Lesson) -> None:
    Rider.objects.update(born_date=date(2015, 5, 4))


def riding(wish: WaitingWish, place: Lesson) -> None:
    RideFactory(rider=wish.rider, horse=None, lesson__starts_at=at("10:30"))


def changed(**fields: Any) -> Any:
    return lambda wish, place: WaitingWish.objects.update(**fields)


def place_is(**fields: Any) -> Any:
    def change(wish: WaitingWish, place: Lesson) -> None:
        for name, value in fields.items():
            setattr(place, name, value)

    return change


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (changed(work="flat"), "wishes for flat"),
        (changed(weekday=6), "wishes for Sundays"),
        (
            changed(from_at=time(11), to_at=time(12)),
            "wishes for 11:00 to 12:00, this begins at 10:00",
        ),
        (place_is(level="advanced"), "is intermediate; the lesson asks for advanced"),
        (too_heavy, "120 kg: none of 1 free horses carries them"),
        (all_taken, "48 kg: no horse is free then"),
        (young, "has no guardian's consent for that day"),
        (riding, "rides or teaches elsewhere then"),
        (
            lambda wish, place: RiderStopFactory(rider=wish.rider),
            "is not to ride until a manager lifts it",
        ),
        (
            lambda wish, place: RiderHorseFactory(
                rider=wish.rider, horse=Horse.objects.get()
            ),
            "48 kg: none of 1 free horses carries them",
        ),
    ],
)
def test_who_does_not_fit_is_told_why_not(
    place: Lesson, change: Any, says: str
) -> None:
    wish = WaitingWishFactory()
    change(wish, place)

    one = the_pair(place)

    assert one.against == [says]


def test_an_instructor_of_a_lower_level_keeps_a_rider_out(place: Lesson) -> None:
    place.instructor = InstructorFactory(level="novice", person__first_name="Joris")
    WaitingWishFactory()

    assert the_pair(place).against == ["is intermediate; Joris teaches up to novice"]


def test_a_minor_with_a_consent_fits_and_an_adult_among_children_is_looked_at(
    place: Lesson,
) -> None:
    child = RidingConsentFactory().rider
    RideFactory(lesson=place, rider=RidingConsentFactory().rider, horse=None)
    WaitingWishFactory(rider=child)
    WaitingWishFactory(rider=RiderFactory(born_date=date(1993, 1, 1)))

    of_child, of_adult = who_fits(place, NOW)

    assert "11 years old; those who ride in it are 11" in of_child.good
    assert "34 years old; those who ride in it are 11" in of_adult.look_at


def test_those_who_fit_come_first_and_among_them_who_waits_longest(
    place: Lesson,
) -> None:
    out = WaitingWishFactory(work="flat", made_at=NOW - timedelta(days=90))
    late = WaitingWishFactory(made_at=NOW - timedelta(days=1))
    long = WaitingWishFactory(made_at=NOW - timedelta(days=60))

    assert [one.wish for one in who_fits(place, NOW)] == [long, late, out]


def test_each_wish_has_the_places_of_two_weeks_that_fit_and_those_that_nearly_do(
    place: Lesson,
) -> None:
    LessonFactory(kind="group", starts_at=at("10:00", date(2027, 3, 20)))
    nearly = LessonFactory(kind="group", starts_at=at("15:00"))
    wish = WaitingWishFactory()

    (one,) = waiting_list(NOW)

    assert one.wish == wish
    assert [fit.lesson for fit in one.fits] == [place]
    assert [(near.lesson, near.against) for near in one.nearly] == [
        (nearly, ["wishes for 09:00 to 12:00, this begins at 15:00"])
    ]


def test_a_place_is_offered_to_several_until_a_time_all_or_none(place: Lesson) -> None:
    wishes = [WaitingWishFactory(), WaitingWishFactory()]

    for _ in range(2):
        offer_places(wishes=wishes, lesson=place, by=None, now=NOW, hours=6)

    ends = set(WaitingOffer.objects.values_list("ends_at", flat=True))
    assert ends == {NOW + timedelta(hours=6)}
    assert WaitingOffer.objects.count() == 2
    stopped = WaitingWishFactory(rider=RiderStopFactory().rider)
    with pytest.raises(UnableToBook, match="stopped from riding"):
        offer_places(
            wishes=[WaitingWishFactory(), stopped], lesson=place, by=None, now=NOW
        )
    assert WaitingOffer.objects.count() == 2


@pytest.mark.parametrize(
    ("change", "hours", "says"),
    [
        ({}, 1, ("Mon 1 Mar 14:00", "")),
        ({}, 3, ("", "was offered it and gave no answer by Mon 1 Mar 14:00")),
        (
            {"state": "declined", "state_at": NOW + timedelta(hours=1)},
            3,
            ("", "declined it Mon 1 Mar 13:00"),
        ),
        (
            {"state": "gone", "state_at": NOW + timedelta(hours=1)},
            3,
            ("", "was told Mon 1 Mar 13:00 that it is gone"),
        ),
    ],
    ids=["open", "lapsed", "declined", "gone"],
)
def test_what_became_of_an_offer_is_said(
    place: Lesson, change: dict[str, Any], hours: int, says: tuple[str, str]
) -> None:
    wish = WaitingWishFactory()
    earlier, two = NOW - timedelta(days=1), NOW + timedelta(hours=2)
    WaitingOfferFactory(
        wish=wish, lesson=place, state="declined", made_at=earlier, state_at=earlier
    )
    WaitingOfferFactory(wish=wish, lesson=place, ends_at=two, **change)

    (one,) = who_fits(place, NOW + timedelta(hours=hours))

    assert (one.offered, one.before) == says


@pytest.mark.parametrize("hours", [0, 169])
def test_an_offer_stands_for_an_hour_to_a_week(place: Lesson, hours: int) -> None:
    with pytest.raises(UnableToBook, match="from 1 to 168 hours"):
        offer_places(
            wishes=[WaitingWishFactory()], lesson=place, by=None, now=NOW, hours=hours
        )


def test_nobody_ticked_is_said(place: Lesson) -> None:
    with pytest.raises(UnableToBook, match="Tick who"):
        offer_places(wishes=[], lesson=place, by=None, now=NOW)


@pytest.mark.parametrize("count", [1, 3])
def test_any_number_of_wishes_and_horses_takes_as_many_queries(
    place: Lesson, count: int, django_assert_num_queries
) -> None:
    for _ in range(count):
        WaitingWishFactory()
        HorseFactory()
        LessonFactory(kind="group", starts_at=at("15:00"))

    with django_assert_num_queries(11):
        waiting_list(NOW)
