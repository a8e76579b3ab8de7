"""Feeds by secret address."""

import gzip
from collections import Counter
from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client as Browser
from django.utils import timezone
from redis.exceptions import ConnectionError as RedisConnectionError

from school.calendars.snapshots import Snapshot
from school.models import FeedToken, Invitation, Lesson, Ride
from school.services.feeds import find_feed, make_feed, withdraw_feed
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.web.throttles import ByAddress
from tests.clock import NOW
from tests.factories.arenas import ArenaFactory
from tests.factories.horses import HorseFactory
from tests.factories.lessons import LessonFactory, RideFactory
from tests.factories.people import ClientFactory, InstructorFactory, RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.readers.expand import agreed
from tests.school.calendars.readers import events

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _school() -> None:
    SchoolFactory()


def soon(hours: int = 24):
    return timezone.now().replace(microsecond=0) + timedelta(hours=hours)


def address(kind: str, holder) -> str:
    _, url = make_feed(kind=kind, holder=holder, now=NOW)
    return "/agenda/" + url.partition("/agenda/")[2]


def client_with_lessons(n: int = 1):
    client = ClientFactory()
    for k in range(n):
        ride = RideFactory(
            rider=RiderFactory(client=client, person__first_name="Mira"),
            lesson__starts_at=soon(24 + 2 * k),
        )
        RideFactory(lesson=ride.lesson, rider__person__first_name="Otherchild")
        lesson_changed(lesson=ride.lesson, now=NOW)
    return client


def test_a_clients_feed_has_the_invites_own_uid(client: Browser) -> None:
    holder = client_with_lessons()

    response = client.get(address("client", holder.person))

    (one,) = events(response.content)
    invitation = Invitation.objects.get(client=holder)
    assert one.uid.value == str(invitation.uid)
    assert one.summary.value == "Lesson Mira: jumping"
    assert "Otherchild" not in response.content.decode()
    assert response["Content-Type"] == "text/calendar; charset=utf-8"


def test_a_client_whose_lesson_was_never_invited_to_sees_it_too(
    client: Browser,
) -> None:
    ride = RideFactory(lesson__starts_at=soon())

    response = client.get(address("client", ride.rider.client.person))

    assert len(events(response.content)) == 1


@pytest.mark.parametrize("kind", ["instructor", "horse", "arena"])
def test_feeds_of_the_yard_name_no_rider(client: Browser, kind: str) -> None:
    ride = RideFactory(
        rider__person__first_name="Mira",
        rider__person__last_name="Secretname",
        lesson__starts_at=soon(),
    )
    holder = {
        "instructor": ride.lesson.instructor.person,
        "horse": ride.horse,
        "arena": ride.lesson.arena,
    }[kind]

    response = client.get(address(kind, holder))

    (one,) = events(response.content)
    assert one.summary.value == "Private jumping, 1 rider"
    assert "Mira" not in response.content.decode()
    assert "Secretname" not in response.content.decode()


def in_a_window(*, hours: int = 72, settled: bool = False) -> Ride:
    """Book a ride that may start up to two hours later than it is put down for."""
    starts_at = soon(hours)
    return RideFactory(
        lesson__starts_at=starts_at,
        lesson__window_from=starts_at,
        lesson__window_to=starts_at + timedelta(hours=2),
        lesson__time_set_at=NOW if settled else None,
    )


@pytest.mark.parametrize(
    ("hours", "settled", "status", "words"),
    [
        (72, False, "TENTATIVE", "you are told the exact time by"),
        (1, False, "TENTATIVE", "holds unless the school writes"),
        (72, True, "CONFIRMED", None),
        (-1, False, "CONFIRMED", None),
    ],
    ids=["open", "late", "settled", "begun"],
)
def test_a_start_that_may_still_move_is_tentative_and_says_so_first(
    client: Browser, hours: int, settled: bool, status: str, words: str | None
) -> None:
    ride = in_a_window(hours=hours, settled=settled)

    (one,) = events(client.get(address("client", ride.rider.client.person)).content)

    # RFC 5545, STATUS of a VEVENT: TENTATIVE for what is not certain yet (from memory).
    assert one.status.value == status
    first = one.description.value.splitlines()[0]
    assert first.startswith("Not fixed yet: may start from") == (words is not None)
    assert (words or "") in first


@pytest.mark.parametrize("kind", ["instructor", "horse", "arena"])
def test_the_yard_sees_too_what_may_still_move(client: Browser, kind: str) -> None:
    ride = in_a_window()
    holder = {
        "instructor": ride.lesson.instructor.person,
        "horse": ride.horse,
        "arena": ride.lesson.arena,
    }[kind]

    (one,) = events(client.get(address(kind, holder)).content)

    assert one.status.value == "TENTATIVE"


def called_off(holder) -> Invitation:
    """Cancel the one lesson of a client, now."""
    invitation = Invitation.objects.get(client=holder)
    cancel_lesson(
        lesson=invitation.lesson, reason="Storm.", by=None, now=timezone.now()
    )
    return Invitation.objects.get(client=holder)


def test_a_lesson_called_off_stays_until_it_is_over_and_says_so(
    client: Browser,
) -> None:
    """Not by STATUS: some programs hide what has it, others show it as before."""
    holder = client_with_lessons()
    url = address("client", holder.person)
    (before,) = events(client.get(url).content)

    invitation = called_off(holder)

    (one,) = events(client.get(url).content)
    assert one.uid.value == before.uid.value
    assert int(one.sequence.value) == invitation.sequence > int(before.sequence.value)
    assert one.summary.value == "Cancelled: Lesson Mira: jumping"
    assert one.description.value.startswith("Not held: Storm.\nPlease do not come.")
    assert one.transp.value == "TRANSPARENT"
    assert "status" not in one.contents or one.status.value == "CONFIRMED"
    when = timezone.now() - timedelta(days=3)
    Lesson.objects.update(
        starts_at=when, ends_at=when + timedelta(hours=1), state_at=when
    )
    assert events(client.get(url).content) == []


def test_what_is_called_off_long_before_its_day_only_goes(client: Browser) -> None:
    holder = client_with_lessons()
    Lesson.objects.update(starts_at=soon(24 * 8), ends_at=soon(24 * 8 + 1))

    called_off(holder)

    assert events(client.get(address("client", holder.person)).content) == []


def test_feeds_of_the_yard_leave_a_cancelled_lesson_out(client: Browser) -> None:
    holder = client_with_lessons()

    lesson = called_off(holder).lesson

    for kind, of in (("instructor", lesson.instructor.person), ("arena", lesson.arena)):
        assert events(client.get(address(kind, of)).content) == []


def test_a_feed_asked_twice_is_the_same_and_then_304(client: Browser) -> None:
    url = address("client", client_with_lessons().person)
    first = client.get(url)
    second = client.get(url)
    third = client.get(url, headers={"If-None-Match": first["ETag"]})

    assert first.content == second.content
    assert first["Last-Modified"] == second["Last-Modified"]
    assert (third.status_code, third.content) == (304, b"")
    assert third["ETag"] == first["ETag"]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"If-None-Match": '"other"'}, 200),
        ({"If-None-Match": "*"}, 304),
        ({"If-Modified-Since": "Mon, 01 Jan 2001 00:00:00 GMT"}, 200),
        ({"If-Modified-Since": "Mon, 01 Jan 2101 00:00:00 GMT"}, 304),
        ({"If-Modified-Since": "yesterday"}, 200),
        (
            {
                "If-None-Match": '"other"',
                "If-Modified-Since": "Mon, 01 Jan 2101 00:00:00 GMT",
            },
            200,
        ),
    ],
    ids=["other-tag", "any-tag", "old", "new", "broken-date", "tag-before-date"],
)
def test_what_a_reader_has_decides(
    client: Browser, headers: dict[str, str], status: int
) -> None:
    url = address("client", client_with_lessons().person)
    client.get(url)

    assert client.get(url, headers=headers).status_code == status


def test_last_modified_never_goes_back(client: Browser) -> None:
    holder = client_with_lessons(2)
    url = address("client", holder.person)
    client.get(url)
    FeedToken.objects.update(body_changed_at=NOW - timedelta(days=400))
    lesson = Invitation.objects.filter(client=holder).first().lesson
    lesson.state, lesson.state_reason = "cancelled", "storm"
    lesson.save()
    client.get(url)

    assert FeedToken.objects.get().body_changed_at > NOW - timedelta(days=399)


def test_a_feed_is_private_unlisted_and_lets_no_referrer_out(client: Browser) -> None:
    response = client.get(address("client", client_with_lessons().person))

    assert response["Cache-Control"] == "private, max-age=300"
    assert response["X-Robots-Tag"] == "noindex"
    assert response["Referrer-Policy"] == "no-referrer"
    assert "Set-Cookie" not in response.headers


def test_unknown_withdrawn_and_long_tokens_get_the_same_bare_404(
    client: Browser,
) -> None:
    holder = client_with_lessons().person
    url = address("client", holder)
    withdraw_feed(feed=FeedToken.objects.get(), by=None, now=NOW)

    answers = {
        (response.status_code, response.content)
        for response in map(
            client.get,
            [url, "/agenda/client/unknown.ics", f"/agenda/client/{'x' * 500}.ics"],
        )
    }

    assert answers == {(404, b"")}


def test_a_token_opens_its_own_kind_only(client: Browser) -> None:
    url = address("client", client_with_lessons().person)

    assert client.get(url.replace("client", "instructor")).status_code == 404


def test_a_feed_is_read_not_written(client: Browser) -> None:
    url = address("client", client_with_lessons().person)

    assert client.post(url).status_code == 405
    assert client.head(url).status_code == 200


def test_only_the_digest_of_a_token_is_kept() -> None:
    feed, url = make_feed(kind="arena", holder=ArenaFactory(), now=NOW)
    token = url.rpartition("/")[2].removesuffix(".ics")

    assert len(token) >= 43
    assert token not in str(FeedToken.objects.values().get(pk=feed.pk))
    assert find_feed(kind="arena", token=token) == feed


def test_a_given_token_makes_the_same_feed_again() -> None:
    horse = HorseFactory()
    first, url = make_feed(kind="horse", holder=horse, now=NOW, token="t" * 43)
    second, again = make_feed(kind="horse", holder=horse, now=NOW, token="t" * 43)

    assert (first, url) == (second, again)


@pytest.mark.parametrize("n", [1, 3])
def test_a_clients_feed_takes_a_constant_number_of_queries(
    client: Browser, django_assert_num_queries, n: int
) -> None:
    url = address("client", client_with_lessons(n).person)
    client.get(url)

    with django_assert_num_queries(6):
        client.get(url)


@pytest.mark.parametrize("n", [1, 3])
def test_an_instructors_feed_takes_a_constant_number_of_queries(
    client: Browser, django_assert_num_queries, n: int
) -> None:
    instructor = InstructorFactory()
    for k in range(n):
        LessonFactory(instructor=instructor, starts_at=soon(24 + 2 * k))
    url = address("instructor", instructor.person)
    client.get(url)

    with django_assert_num_queries(4):
        client.get(url)


def test_a_reader_who_has_it_costs_no_writing(
    client: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = address("client", client_with_lessons().person)
    tag = client.get(url)["ETag"]
    monkeypatch.setattr(Snapshot, "body", lambda self: pytest.fail("written"))

    assert client.get(url, headers={"If-None-Match": tag}).status_code == 304


def test_a_feed_is_sent_small_to_who_can_unpack_it(client: Browser) -> None:
    url = address("client", client_with_lessons(3).person)
    plain = client.get(url)

    small = client.get(url, headers={"Accept-Encoding": "gzip"})

    assert small["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in small["Vary"]
    assert len(small.content) < len(plain.content)
    assert gzip.decompress(small.content) == plain.content
    # RFC 9110 section 8.8.1: other bytes, so a weak tag; it is known again.
    again = client.get(url, headers={"If-None-Match": small["ETag"]})
    assert small["ETag"] == f"W/{plain['ETag']}"
    assert again.status_code == 304


def test_each_day_of_a_weekly_invite_has_a_uid_of_its_own(client: Browser) -> None:
    """One UID for several entries would show only the last (reported by users)."""
    rider = RiderFactory()
    first = timezone.localdate() + timedelta(days=3)
    weekly(
        rides=[(rider, None)], first_date=first, last_date=first + timedelta(days=14)
    )
    holder = rider.client

    body = client.get(address("client", holder.person)).content

    uids = [one.uid.value for one in events(body)]
    invited = Invitation.objects.get(client=holder)
    assert len(set(uids)) == 3
    assert str(invited.uid) not in uids
    assert client.get(address("client", holder.person)).content == body


def test_a_feed_asked_a_thousand_times_a_minute_hurts_nobody_else(
    client: Browser, django_assert_num_queries
) -> None:
    holder, other = client_with_lessons().person, client_with_lessons(2).person
    url, others = address("client", holder), address("client", other)

    statuses = Counter(
        client.get(url, REMOTE_ADDR="192.0.2.1").status_code for _ in range(1000)
    )
    with django_assert_num_queries(0):
        refused = client.get(url, REMOTE_ADDR="192.0.2.1")

    assert statuses == {200: 20, 429: 980}
    assert 1 <= int(refused["Retry-After"]) <= 61
    assert b"come again later" in refused.content
    assert client.get(others, REMOTE_ADDR="192.0.2.2").status_code == 200
    # The token itself is worn out too, from wherever it is asked.
    assert client.get(url, REMOTE_ADDR="192.0.2.3").status_code == 429


def test_who_guesses_at_tokens_is_stopped_by_address(client: Browser) -> None:
    url = address("client", client_with_lessons().person)

    statuses = Counter(
        client.get(f"/agenda/client/guess{n}.ics", REMOTE_ADDR="192.0.2.1").status_code
        for n in range(200)
    )

    assert statuses == {404: 120, 429: 80}
    assert client.get(url, REMOTE_ADDR="192.0.2.2").status_code == 200


def test_feeds_go_on_when_the_count_is_down(
    client: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def down(*args: object) -> None:
        raise RedisConnectionError("no answer")

    monkeypatch.setattr(ByAddress, "allow_request", down)

    assert (
        client.get(address("client", client_with_lessons().person)).status_code == 200
    )


@pytest.mark.parametrize("kind", ["client", "instructor", "horse", "arena"])
@pytest.mark.parametrize("zone", ["Europe/Amsterdam", "America/New_York"])
def test_a_feed_of_each_kind_is_read_alike_over_both_clock_changes(
    client: Browser, kind: str, zone: str
) -> None:
    """Four readers, of which two share no code with the writer."""
    SchoolFactory._meta.model.objects.update(zone=zone)
    start = timezone.now().replace(hour=15, minute=0, second=0, microsecond=0)
    here = start.astimezone(ZoneInfo(zone))
    first = RideFactory(lesson__starts_at=here + timedelta(days=1))
    moments = [here + timedelta(days=1 + 7 * week) for week in range(52)]
    for moment in moments[1:]:
        RideFactory(
            rider=first.rider,
            horse=first.horse,
            lesson__arena=first.lesson.arena,
            lesson__instructor=first.lesson.instructor,
            lesson__starts_at=moment,
            lesson__ends_at=moment.astimezone(UTC) + timedelta(hours=1),
        )
    holder = {
        "client": first.rider.client.person,
        "instructor": first.lesson.instructor.person,
        "horse": first.horse,
        "arena": first.lesson.arena,
    }[kind]

    body = client.get(address(kind, holder)).content

    seen = agreed(body, start, start + timedelta(days=366))
    assert [one.starts_at for one in seen] == [one.astimezone(UTC) for one in moments]


@pytest.mark.parametrize("kind", ["client", "instructor", "horse", "arena"])
def test_an_empty_feed_is_a_calendar_all_the_same(client: Browser, kind: str) -> None:
    holder = {
        "client": lambda: ClientFactory().person,
        "instructor": lambda: InstructorFactory().person,
        "horse": HorseFactory,
        "arena": ArenaFactory,
    }[kind]()

    body = client.get(address(kind, holder)).content

    now = timezone.now()
    assert agreed(body, now, now + timedelta(days=400)) == []
