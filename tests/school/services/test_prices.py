"""What a place given back or missed costs, with an amount, told before and after.

How an amount is written is held against the Unicode CLDR as Babel has it; how many
decimals a currency has against ISO 4217 (JPY none, KWD three).
"""

from datetime import datetime, timedelta
from decimal import Decimal
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from django.utils.translation import override

from school.calendars.invites import make_mail
from school.models import (
    AuditEntry,
    LessonPrice,
    OutboxMessage,
    Outcome,
    PackUse,
    Ride,
    School,
)
from school.queries.links import page_url
from school.queries.prices import fee_of, fees_noted, money
from school.queries.schools import school_zone
from school.services.answers import give_back
from school.services.attendance import note_late, note_no_show
from school.services.invitations import lesson_changed
from school.services.messages import deliver_due
from school.services.packs import settle_lesson
from school.services.prices import Prices, set_prices
from school.services.units import UnableToSet
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory
from tests.factories.people import AccountFactory, RiderFactory
from tests.factories.prices import LessonPriceFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db

LATE = at("08:30")
"""Half an hour before the lesson: the free time is over."""


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory(currency="EUR")
    LessonPriceFactory(kind="private", minutes=60, amount=Decimal("30.00"))


def prices(**changes: Any) -> Prices:
    return {  # type: ignore[return-value]
        "currency": "EUR",
        "late_fee": None,
        "late_fee_percent": 100,
        "no_show_fee": None,
        "no_show_fee_percent": 100,
        "price_in_invites": False,
    } | changes


def missed(ride: Ride, now: datetime = LATE) -> None:
    """Give a place back once the free time is over."""
    give_back(client=ride.rider.client, lesson=ride.lesson, now=now, late_is_known=True)


def put(lessons: dict[tuple[str, int], Decimal | None], **changes: Any) -> None:
    set_prices(prices=prices(**changes), lessons=lessons, by=None, now=NOW)


def test_an_amount_is_written_as_the_language_does() -> None:
    assert money(Decimal(30), "EUR") == "€30.00"
    with override("de"):
        assert money(Decimal(30), "EUR") == "30,00\xa0€"
    assert money(Decimal(3000), "JPY").endswith("¥3,000")


@pytest.mark.parametrize(
    ("changes", "fee"),
    [
        ({}, "30.00"),
        ({"late_fee_percent": 50}, "15.00"),
        ({"late_fee": Decimal("12.50")}, "12.50"),
        ({"late_fee_percent": 33}, "9.90"),
    ],
)
def test_the_fee_is_the_amount_set_or_a_share_of_the_price(
    changes: dict[str, Any], fee: str
) -> None:
    school = SchoolFactory.build(currency="EUR", **changes)

    assert fee_of(school, Decimal(30)) == Decimal(fee)


def test_a_share_is_rounded_to_the_currency_s_coins() -> None:
    yen = SchoolFactory.build(currency="JPY", late_fee_percent=33)

    assert fee_of(yen, Decimal(1000)) == Decimal(330)


def test_without_a_currency_there_is_no_figure() -> None:
    assert fee_of(SchoolFactory.build(currency=""), Decimal(30)) is None


def test_who_does_not_come_may_cost_otherwise_than_who_gives_back_late() -> None:
    school = SchoolFactory.build(
        currency="EUR", late_fee_percent=50, no_show_fee=Decimal(40)
    )

    assert fee_of(school, Decimal(30), "no-show") == 40
    assert fee_of(school, Decimal(30)) == 15


def test_a_place_given_back_late_is_noted_with_its_fee() -> None:
    ride = RideFactory()

    missed(ride)

    outcome = Outcome.objects.get()
    assert (outcome.amount, outcome.currency) == (30, "EUR")


def test_what_was_noted_stays_when_the_price_changes() -> None:
    ride = RideFactory()
    missed(ride)

    put({("private", 60): Decimal(50)})

    assert Outcome.objects.get().amount == 30


def test_a_pack_pays_first_and_no_fee_is_noted() -> None:
    ride = RideFactory()
    LessonPackFactory(client=ride.rider.client)
    settle_lesson(lesson=ride.lesson, now=NOW)
    missed(ride)

    outcome = Outcome.objects.get()
    assert (outcome.paid_by, outcome.amount) == ("pack", None)


def test_prices_are_set_and_audited_once() -> None:
    for _ in range(2):
        put({("group", 60): Decimal("22.50"), ("private", 60): None})

    assert [str(one) for one in LessonPrice.objects.all()] == ["Group, 60 min"]
    assert AuditEntry.objects.filter(action="set prices").count() == 1


@pytest.mark.parametrize(
    ("changes", "lessons", "says"),
    [
        ({"currency": "EUX"}, {}, "three letters of a currency"),
        ({"currency": "", "late_fee": Decimal(5)}, {}, "in which currency"),
        ({"late_fee": Decimal("5.005")}, {}, "EUR has 2 decimal places"),
        ({"late_fee_percent": 101}, {}, "from 0 to 100"),
        ({}, {("group", 60): Decimal(-1)}, "from 0 to"),
        ({}, {("group", 5): Decimal(9)}, "from 10 to 240 minutes"),
    ],
)
def test_what_cannot_be_a_price_is_refused(
    changes: dict[str, Any], lessons: dict[tuple[str, int], Decimal], says: str
) -> None:
    with pytest.raises(UnableToSet, match=says):
        put(dict(lessons), **changes)

    assert School.objects.get().late_fee is None


def test_the_list_sums_up_each_client() -> None:
    first = RideFactory()
    missed(first)
    second = RideFactory(rider=first.rider, lesson__starts_at=at("15:00"))
    missed(second, at("14:00"))

    (owed,) = fees_noted(SATURDAY, SATURDAY, school_zone())

    assert (owed.total, owed.currency, len(owed.outcomes)) == (60, "EUR", 2)
    assert not fees_noted(
        SATURDAY + timedelta(days=1), SATURDAY + timedelta(days=2), school_zone()
    )


def listed() -> tuple[str, list[str]]:
    """Return the page and the rows of the fees of Saturday."""
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    days = {"first": SATURDAY.isoformat(), "last": SATURDAY.isoformat()}
    table = browser.get("/fees.csv", days).content.decode("utf-8-sig")
    return browser.get("/fees/", days).content.decode(), table.splitlines()[1:]


def test_the_list_is_shown_and_written_as_csv() -> None:
    missed(RideFactory())

    page, rows = listed()

    assert "€30.00" in page
    assert rows[0].endswith(",Late cancellation,given back 30 minutes before,30,EUR")


def test_the_list_tells_a_no_show_from_who_came_too_late_and_who_gave_back() -> None:
    one = RideFactory()
    missed(one, at("04:00"))
    others = [
        RideFactory(rider__client=one.rider.client, lesson__starts_at=at(clock))
        for clock in ("11:00", "13:00")
    ]
    by = AccountFactory(manager=True)
    note_no_show(ride=others[0], by=by, now=at("14:00"))
    note_late(ride=others[1], minutes=45, by=by, now=at("14:00"))

    page, rows = listed()

    assert [row.split(",")[4:6] for row in rows] == [
        ["Late cancellation", "given back 5 hours before"],
        ["No-show", "did not come"],
        ["Too late to ride", "came 45 minutes late"],
    ]
    for words in (
        "Late cancellation: 1, in all €30.00",
        "No-show: 1, in all €30.00",
        "Too late to ride: 1, in all €30.00",
    ):
        assert words in page


def test_prices_are_set_on_their_page() -> None:
    browser = Browser()
    browser.force_login(AccountFactory(manager=True))
    sent = {
        "currency": "gbp", "late_fee_percent": "50", "no_show_fee_percent": "100",
        "price-private-60": "28", "new_kind": "lead-rein", "new_minutes": "30",
        "new_amount": "18.5",
    }  # fmt: skip

    assert browser.post("/settings/prices/", sent).status_code == 302

    assert {
        (one.kind, one.minutes): one.amount for one in LessonPrice.objects.all()
    } == {
        ("private", 60): 28,
        ("lead-rein", 30): Decimal("18.5"),
    }
    assert School.objects.get().currency == "GBP"


def client_page(ride: Ride) -> str:
    url = page_url(ride.rider.client, now=timezone.now())
    return Browser().get("/my/" + url.partition("/my/")[2]).content.decode()


def soon(hours: int) -> Ride:
    return RideFactory(lesson__starts_at=timezone.now() + timedelta(hours=hours))


def test_the_client_s_page_says_the_fee_before_the_cancelling() -> None:
    assert "after that it costs a fee of €30.00" in client_page(soon(72))


def test_the_client_s_page_says_that_a_pack_pays() -> None:
    ride = soon(72)
    pack = LessonPackFactory(client=ride.rider.client)
    PackUse.objects.create(pack=pack, ride=ride, used_at=NOW)

    assert "after that it costs one lesson of the pack" in client_page(ride)


def test_the_client_s_page_says_the_fee_after_it() -> None:
    ride = soon(5)

    missed(ride, timezone.now())

    assert "costs a fee of €30.00" in client_page(ride)


def text_of(message: OutboxMessage) -> str:
    """The plain words of a mail, as they would go out now."""
    made = make_mail(School.objects.get(), message, NOW)
    letter = message_from_bytes(made.raw, policy=default)
    return " ".join(letter.get_body(("plain",)).get_content().split())


def mail(ride: Ride) -> str:
    lesson_changed(lesson=ride.lesson, now=NOW)
    message = OutboxMessage.objects.order_by("pk").last()
    assert message is not None
    return text_of(message)


def test_the_mail_says_the_fee_before_the_cancelling() -> None:
    said = mail(soon(72))

    assert "After that a fee of €30.00 is noted" in said
    assert "Price:" not in said


def test_the_mail_says_the_price_where_the_school_wants_it() -> None:
    School.objects.update(price_in_invites=True)

    assert "Price: €30.00" in mail(soon(72))


def test_the_mail_of_weekly_lessons_says_the_fee_of_each() -> None:
    LessonPriceFactory(kind="group", minutes=60, amount=Decimal("18.50"))
    weekly(rides=[(RiderFactory(), None)])

    said = text_of(OutboxMessage.objects.get())

    assert "Cancel a lesson without charge until" in said
    assert "After that a fee of €18.50 is noted" in said


def test_the_mail_says_the_fee_after_the_cancelling() -> None:
    ride = soon(5)
    lesson_changed(lesson=ride.lesson, now=NOW)
    deliver_due(now=NOW)
    missed(ride, timezone.now())

    message = OutboxMessage.objects.filter(kind="cancelled").get()
    assert "Noted: a fee of €30.00" in text_of(message)
