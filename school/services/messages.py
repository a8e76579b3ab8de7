"""Empties the outbox: claims a row, sends its mail, marks it sent."""

import contextlib
import logging
import smtplib
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.mail import EmailMessage, get_connection
from django.db import connection, transaction
from django.db.models import Exists, OuterRef, Q

from school.calendars.invites import make_mail
from school.enums import LessonState, MessageKind, MessageState, RideState
from school.models import Account, OutboxMessage
from school.queries.guardians import to_be_copied, wishes_copies
from school.queries.schools import local_day, the_school
from school.services.audit import record
from school.services.outbox import copy_to

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
"""How long a claimed row is left to its worker before another takes it up."""

LONGEST_WAIT = timedelta(hours=6)

_WORDS = {
    MessageKind.REMINDER,
    MessageKind.STILL_BOOKED,
    MessageKind.OFFER,
    MessageKind.OFFER_GONE,
}

MOST_TRIES = 12
"""Tries of one mail, over a little more than a day, before a person must look."""


@dataclass(slots=True)
class Delivered:
    """How many mails went, and how many could not."""

    sent: int = 0
    failed: int = 0


class StoredMail(EmailMessage):
    """A mail whose bytes were made before, to be sent as they are."""

    def __init__(self, raw: bytes, sender: str, to: str) -> None:
        super().__init__(from_email=sender, to=[to])
        self.raw = raw

    def message(self, *args: Any, **kwargs: Any) -> Any:
        return _Raw(self.raw)


class _Raw:
    def __init__(self, raw: bytes) -> None:
        self._raw = raw

    def as_bytes(self, unixfrom: bool = False, linesep: str = "\n") -> bytes:
        lines = self._raw.replace(b"\r\n", b"\n")
        return lines.replace(b"\n", linesep.encode())


def deliver_due(*, now: datetime, limit: int = 100) -> Delivered:
    """Send what is due, in order for each entry, by one worker at a time.

    A worker that dies between sending and marking leaves the row claimed; it is
    sent again later with the same bytes and Message-ID, unless it was overtaken
    meanwhile. `now` bounds the claims, so a caller with many mails and a slow
    server asks for one at a time, each with its own `now`.
    """
    result = Delivered()
    while result.sent + result.failed < limit:
        message = _claim(now)
        if message is None:
            break
        if not _still_due(message):
            continue
        try:
            _make(message, now)
            _send(message)
        except Exception as error:  # noqa: BLE001 -- whatever fails, the row waits
            log.warning("message %s not sent: %s", message.pk, error)
            _failed(message, error, now)
            result.failed += 1
        else:
            _sent(message, now)
            result.sent += 1
    return result


def _claim(now: datetime) -> OutboxMessage | None:
    """Take the next due row, with its mail made and stored."""
    skip = connection.features.has_select_for_update_skip_locked
    same_entry = OutboxMessage.objects.filter(invitation=OuterRef("invitation"))
    ahead = same_entry.filter(
        Q(pk__lt=OuterRef("pk"), state=MessageState.WAITING)
        | (Q(claimed_until__gt=now) & ~Q(pk=OuterRef("pk")))
    )
    with transaction.atomic():
        message = (
            OutboxMessage.objects.select_for_update(skip_locked=skip, of=("self",))
            .filter(~Exists(ahead), state=MessageState.WAITING, next_try_at__lte=now)
            .select_related(
                "client__person",
                "invitation",
                "lesson",
                "day",
                "copy_to",
                "copy_of__client__person",
                "copy_of__invitation",
                "copy_of__lesson",
                "copy_of__day",
            )
            .order_by("pk")
            .first()
        )
        if message is None:
            return None
        if not _holds(message, now):
            message.state = MessageState.DROPPED
            message.save()
            return message
        if message.mail is None:
            # Made while the row is held, so that it is of the state it was written
            # for; one that can't be made is counted as a failed try, and others go.
            with contextlib.suppress(Exception), transaction.atomic():
                _make(message, now)
        message.attempts += 1
        message.next_try_at = message.claimed_until = now + LEASE
        message.save()
        return message


def _make(message: OutboxMessage, now: datetime) -> None:
    if message.mail is None:
        made = make_mail(the_school(), message, now)
        message.subject, message.mail = made.subject[:400], made.raw


def _holds(message: OutboxMessage, now: datetime) -> bool:
    """Say whether a mail of words still has something to speak of."""
    if message.copy_to_id is not None:
        return wishes_copies(message.copy_to_id, message.client_id)
    if message.kind not in _WORDS or message.lesson is None:
        return True
    if message.kind == MessageKind.OFFER_GONE:
        return message.lesson.starts_at > now
    booked = message.lesson.rides.filter(
        rider__client=message.client_id, state=RideState.BOOKED
    )
    return (
        message.lesson.state in {LessonState.BOOKED, LessonState.CONFIRMED}
        and message.lesson.starts_at > now
        and (message.kind == MessageKind.OFFER or booked.exists())
    )


def _still_due(message: OutboxMessage) -> bool:
    """Look once more, right before sending: it may have been overtaken."""
    row = OutboxMessage.objects.filter(pk=message.pk, state=MessageState.WAITING)
    return row.exists()


def _send(message: OutboxMessage) -> None:
    school = the_school()
    address = (message.copy_to or message.client.person).email
    mail = StoredMail(bytes(message.mail or b""), school.organiser_email, address)
    get_connection().send_messages([mail])


def _sent(message: OutboxMessage, now: datetime) -> None:
    with transaction.atomic():
        # Also where it was overtaken on its way: what went is said to have gone.
        OutboxMessage.objects.filter(pk=message.pk).update(
            state=MessageState.SENT, sent_at=now, claimed_until=None, last_error=""
        )
        for person in to_be_copied(message, local_day(now)):
            copy_to(message=message, person=person, now=now)


def _failed(message: OutboxMessage, error: Exception, now: datetime) -> None:
    wait = min(timedelta(minutes=2**message.attempts), LONGEST_WAIT)
    over = message.attempts >= MOST_TRIES or _for_good(error)
    with transaction.atomic():
        rows = OutboxMessage.objects.filter(pk=message.pk)
        rows.update(claimed_until=None, last_error=_why(error)[:400])
        rows.filter(state=MessageState.WAITING).update(
            state=MessageState.FAILED if over else MessageState.WAITING,
            next_try_at=now + wait,
        )


def _codes(error: Exception) -> list[tuple[int, str]]:
    """Return the mail server's answers that an error carries (RFC 5321 section 4.2)."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return [(code, _text(words)) for code, words in error.recipients.values()]
    if isinstance(error, smtplib.SMTPResponseException):
        return [(error.smtp_code, _text(error.smtp_error))]
    return []


def _text(words: bytes | str) -> str:
    return words.decode(errors="replace") if isinstance(words, bytes) else words


def _for_good(error: Exception) -> bool:
    """Say whether the server refused this mail for good: a 5yz answer to it.

    A refused sign-in is the school's trouble, not the mail's, and is tried again.
    """
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return False
    codes = _codes(error)
    return bool(codes) and all(500 <= code < 600 for code, _ in codes)


def _why(error: Exception) -> str:
    codes = _codes(error)
    if codes:
        return "; ".join(f"the mail server says {code} {text}" for code, text in codes)
    return str(error) or type(error).__name__


class UnableToSend(ValueError):
    """Why a mail is not sent again, in plain words."""

    def __init__(self, code: str, says: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says


def send_again(
    *, message: OutboxMessage, by: Account | None, now: datetime
) -> OutboxMessage:
    """Let a mail that went or was given up go once more, the same bytes.

    Harmless in a calendar: same UID, SEQUENCE and DTSTAMP (RFC 5546 section 2.1.5).
    A mail not yet sent is tried now.
    """
    with transaction.atomic():
        fresh = OutboxMessage.objects.select_for_update().get(pk=message.pk)
        if fresh.state == MessageState.DROPPED:
            raise UnableToSend(
                "overtaken",
                "This mail was overtaken by a later change and is not sent. Send the "
                "latest one for the lesson.",
            )
        later = OutboxMessage.objects.filter(
            invitation__isnull=False,
            invitation=fresh.invitation_id,
            edition__gt=fresh.edition,
        ).exclude(state=MessageState.DROPPED)
        if later.filter(Q(day=fresh.day_id) | Q(day=None)).exists():
            raise UnableToSend(
                "newer",
                "A newer mail about the same lesson was written since. Send that one "
                "again.",
            )
        if fresh.claimed_until is not None and fresh.claimed_until > now:
            return fresh
        waits = fresh.state == MessageState.WAITING and fresh.attempts <= 1
        if waits and fresh.next_try_at <= now:
            return fresh
        record(by=by, at=now, action="send again", subject=fresh)
        fresh.state, fresh.sent_at, fresh.next_try_at = MessageState.WAITING, None, now
        fresh.attempts = min(fresh.attempts, 1)
        fresh.save()
        return fresh
