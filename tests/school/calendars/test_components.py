"""Invites as text, read back by a parser that did not write them."""

from uuid import UUID

from school.calendars.components import Entry, itip
from tests.clock import NOW, at
from tests.school.calendars.readers import events


def entry(**changes: object) -> Entry:
    fields: dict[str, object] = {
        "uid": UUID(int=1),
        "sequence": 3,
        "changed_at": NOW,
        "starts_at": at("09:00"),
        "ends_at": at("10:00"),
        "summary": "Lesson Mira: jumping",
    }
    return Entry(**(fields | changes))  # type: ignore[arg-type]


def unfolded(body: bytes) -> str:
    return body.decode().replace("\r\n ", "")


def test_a_request_has_one_attendee_who_is_asked_to_answer() -> None:
    """RFC 5546 section 3.2.2; only this attendee is listed (section 6.3)."""
    body = itip(
        method="REQUEST",
        entries=[entry()],
        organiser=("North Yard", "lessons@yard.example.org"),
        attendee=('Sam "S" Example', "sam@example.org"),
    )

    text = unfolded(body)
    (one,) = events(body)
    assert "METHOD:REQUEST\r\n" in text
    assert one.organizer.value == "mailto:lessons@yard.example.org"
    assert [a.value for a in one.contents["attendee"]] == ["mailto:sam@example.org"]
    assert one.attendee.params["RSVP"] == ["TRUE"]
    assert one.attendee.params["PARTSTAT"] == ["NEEDS-ACTION"]
    assert one.status.value == "CONFIRMED"


def test_a_cancellation_says_so_and_asks_nothing() -> None:
    """RFC 5546 section 3.2.5."""
    body = itip(
        method="CANCEL",
        entries=[entry()],
        organiser=("North Yard", "lessons@yard.example.org"),
        attendee=("Sam", "sam@example.org"),
    )

    (one,) = events(body)
    assert "METHOD:CANCEL\r\n" in unfolded(body)
    assert one.status.value == "CANCELLED"
    assert "RSVP" not in one.attendee.params
