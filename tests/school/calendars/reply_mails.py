"""Replies as calendar programs send them, made for tests."""

from collections.abc import Iterable
from datetime import UTC, datetime
from email.message import EmailMessage

ORGANISER = "lessons@school.example.org"
CLIENT = "guardian@example.org"


def ics_time(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def answer_lines(
    *,
    uid: str,
    partstat: str = "ACCEPTED",
    attendee: str = CLIENT,
    organiser: str | None = ORGANISER,
    sequence: int | None = 0,
    stamp: datetime | str = "20270301T120000Z",
    original: str = "",
    start: datetime | None = None,
    end: datetime | None = None,
    more: Iterable[str] = (),
) -> list[str]:
    """Return the lines of one VEVENT of a reply (RFC 5546 section 3.2.3)."""
    stamp = stamp if isinstance(stamp, str) else ics_time(stamp)
    lines = ["BEGIN:VEVENT", f"UID:{uid}", f"DTSTAMP:{stamp}"]
    if sequence is not None:
        lines.append(f"SEQUENCE:{sequence}")
    if organiser:
        lines.append(f"ORGANIZER:mailto:{organiser}")
    if attendee:
        lines.append(f"ATTENDEE;PARTSTAT={partstat}:mailto:{attendee}")
    if original:
        lines.append(f"RECURRENCE-ID{original}")
    if start:
        lines.append(f"DTSTART:{ics_time(start)}")
    if end:
        lines.append(f"DTEND:{ics_time(end)}")
    return [*lines, *more, "END:VEVENT"]


def calendar_text(events: Iterable[list[str]], method: str = "REPLY") -> str:
    lines = ["BEGIN:VCALENDAR", "PRODID:-//Somebody's program//EN", "VERSION:2.0"]
    lines += [f"METHOD:{method}"] if method else []
    for event in events:
        lines += event
    return "\r\n".join([*lines, "END:VCALENDAR", ""])


def reply_mail(
    calendar: str | bytes | None,
    *,
    method: str = "REPLY",
    sender: str = f"A Guardian <{CLIENT}>",
    message_id: str = "<reply-1@example.org>",
    subject: str = "Accepted: Lesson Mira: jumping",
    headers: Iterable[tuple[str, str]] = (),
    content_type: str = "calendar",
) -> bytes:
    """Return a mail with a calendar part beside its words (RFC 6047 section 2.4)."""
    mail = EmailMessage()
    mail["From"] = sender
    mail["To"] = ORGANISER
    mail["Subject"] = subject
    if message_id:
        mail["Message-ID"] = message_id
    for name, value in headers:
        mail[name] = value
    mail.set_content("The answer is attached.")
    if calendar is not None:
        body = calendar.encode() if isinstance(calendar, str) else calendar
        params = {"charset": "utf-8"} | ({"method": method} if method else {})
        maintype = "application" if content_type == "ics" else "text"
        mail.add_alternative(
            body, maintype=maintype, subtype=content_type, params=params, cte="base64"
        )
    return mail.as_bytes()
