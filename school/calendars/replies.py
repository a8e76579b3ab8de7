"""Reads what calendar programs send back; believes nothing of it yet.

Times are never taken over from a reply, and its rules and alarms are never
expanded: only who answers what, for which entry, is read (RFC 5546 section 3.2.3).
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from email import policy
from email.message import EmailMessage, Message
from email.parser import BytesHeaderParser, BytesParser
from email.utils import getaddresses
from typing import Any
from uuid import UUID

from icalendar import Calendar, Event

from school.calendars.components import clean, one_line

LONGEST_MAIL = 256 * 1024
"""Octets; a reply has a few thousand (limits on size: RFC 5546 section 6.2)."""

MOST_PARTS = 50
MOST_ANSWERS = 60
LONGEST_COMMENT = 300
MUST_BE_WHOLE = {"UID", "ATTENDEE", "RECURRENCE-ID", "DTSTAMP", "SEQUENCE"}


@dataclass(frozen=True, slots=True)
class ReadAnswer:
    """One entry's answer as it was sent.

    `said` is the answer of each attendee named, by address; `original` is the
    moment of the one occurrence meant; `odd` says what cannot be trusted.
    """

    uid: str
    said: dict[str, str]
    organiser: str
    sequence: int
    stamp: datetime | None
    original: datetime | None = None
    comment: str = ""
    proposed: tuple[datetime, datetime] | None = None
    odd: str = ""


@dataclass(frozen=True, slots=True)
class ReadMail:
    """A mail as far as it matters; `answers` is empty if it has no calendar."""

    key: str
    message_id: str
    sender: str
    subject: str
    method: str = ""
    answers: tuple[ReadAnswer, ...] = ()
    odd: str = ""
    automatic: bool = False
    results: tuple[str, ...] = ()


def read_head(raw: bytes) -> ReadMail:
    """Read only the head of a mail, for one too large to be looked into."""
    mail = BytesHeaderParser(policy=policy.default).parsebytes(raw)
    return _read(mail, b"")


def read_mail(raw: bytes) -> ReadMail:
    """Read a mail and the calendar object in it; what is broken is said in `odd`."""
    mail = BytesParser(policy=policy.default).parsebytes(raw)
    part, wrong = _calendar_part(mail)
    if part is None:
        return _read(mail, b"", odd=wrong)
    body = part.get_payload(decode=True)
    body = body if isinstance(body, bytes) else b""
    calendar = _calendar(body)
    if calendar is None:
        return _read(mail, body, odd="unreadable")
    method = str(calendar.get("method", "")).upper()
    named = str(part.get_param("method") or method).upper()
    if method and named != method:
        # They come together and are equal (RFC 6047 section 2.4).
        return _read(mail, body, odd="methods-differ")
    events = [one for one in calendar.subcomponents if isinstance(one, Event)]
    if not events or len(events) > MOST_ANSWERS:
        return _read(mail, body, method=named, odd="unreadable")
    answers = tuple(_answer(one) for one in events)
    return _read(mail, body, method=named, answers=answers)


def _calendar(body: bytes) -> Calendar | None:
    """Return the one calendar of a body, None if it is not just one."""
    try:
        found: Any = Calendar.from_ical(body)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None
    return found if isinstance(found, Calendar) else None


def _calendar_part(mail: Message) -> tuple[Message | None, str]:
    """Return the first calendar part; what it is follows from its type, not its name.

    RFC 6047 sections 2.4 and 2.6; a file beside it is looked at only without one.
    """
    found: dict[str, Message] = {}
    for count, part in enumerate(mail.walk()):
        if count >= MOST_PARTS:
            return None, "too-many-parts"
        found.setdefault(part.get_content_type(), part)
    wrong = "bounce" if "message/delivery-status" in found else "no-calendar"
    return found.get("text/calendar") or found.get("application/ics"), wrong


def _header(mail: Message, name: str) -> str:
    try:
        return one_line(str(mail.get(name, "")))
    except (ValueError, IndexError, TypeError, AttributeError):
        # The library's parser of addresses stumbles over some broken heads.
        return ""


def _read(mail: Message | EmailMessage, body: bytes, **more: Any) -> ReadMail:
    message_id = _header(mail, "Message-ID")[:250]
    senders = [address for _, address in getaddresses([_header(mail, "From")])]
    content = body or mail.as_bytes(policy=policy.compat32)
    return ReadMail(
        key=hashlib.sha256(message_id.encode() + b"\0" + content).hexdigest(),
        message_id=message_id,
        sender=senders[0].strip().lower()[:254] if len(senders) == 1 else "",
        subject=_header(mail, "Subject")[:200],
        automatic=_header(mail, "Auto-Submitted").lower() not in {"", "no"},
        results=tuple(
            one_line(str(one)) for one in mail.get_all("Authentication-Results", [])
        ),
        **more,
    )


def _answer(event: Event) -> ReadAnswer:
    broken = {str(name).upper() for name, _ in event.errors}
    try:
        return ReadAnswer(
            uid=str(event.get("uid", ""))[:255],
            said=_said(event),
            organiser=_address(event.get("organizer", "")),
            sequence=min(max(int(event.get("sequence", 0)), 0), 2**31 - 1),
            stamp=_moment(event, "dtstamp"),
            original=_moment(event, "recurrence-id"),
            comment=_comment(event),
            proposed=_proposed(event),
            odd="unreadable" if broken & MUST_BE_WHOLE else _range(event),
        )
    except (ValueError, TypeError, AttributeError, OverflowError):
        uid = one_line(str(event.get("uid", "")))[:255]
        return ReadAnswer(uid, {}, "", 0, None, odd="unreadable")


def _range(event: Event) -> str:
    original = event.get("recurrence-id")
    ranged = original is not None and "RANGE" in original.params
    return "this-and-future" if ranged else ""


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value] if value else []


def _address(value: Any) -> str:
    """Return a calendar user's address in lower case (RFC 6047 section 2.3)."""
    return re.sub(r"^mailto:", "", str(value).strip(), flags=re.IGNORECASE).lower()


def _said(event: Event) -> dict[str, str]:
    return {
        _address(one): str(one.params.get("PARTSTAT", "NEEDS-ACTION")).upper()
        for one in _listed(event.get("attendee"))
    }


def _comment(event: Event) -> str:
    words = " ".join(str(one) for one in _listed(event.get("comment")))
    return clean(words).strip()[:LONGEST_COMMENT]


def _moment(event: Event, name: str) -> datetime | None:
    """Return a moment in UTC; a time without a zone that is known raises."""
    found = event.get(name)
    if found is None:
        return None
    value = found.dt
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise ValueError(f"{name} is no moment")
    return value.astimezone(UTC)


def _proposed(event: Event) -> tuple[datetime, datetime] | None:
    try:
        start, end = _moment(event, "dtstart"), _moment(event, "dtend")
    except (ValueError, AttributeError, OverflowError):
        return None
    return (start, end) if start and end else None


def uid_of(text: str) -> UUID | None:
    """Return a UID of this school's own form, or None."""
    try:
        return UUID(text)
    except ValueError:
        return None


def proved(mail: ReadMail, authserv: str) -> bool:
    """Say whether the school's own mail server vouches for the sender's domain.

    Only its own lines count, which bear its name (RFC 8601 section 5); DMARC has
    passed, or a DKIM signature of the sender's domain.
    """
    domain = mail.sender.rpartition("@")[2]
    for line in mail.results:
        server, _, rest = line.partition(";")
        if server.split()[:1] != [authserv]:
            continue
        if re.search(r"\bdmarc=pass\b", rest):
            return True
        for signer in re.findall(r"\bdkim=pass\b[^;]*?header\.d=([\w.-]+)", rest):
            below = "." in signer and domain.endswith(f".{signer.lower()}")
            if below or domain == signer.lower():
                return True
    return False
