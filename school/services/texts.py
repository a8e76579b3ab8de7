"""The school's own words for its mails: kept, checked, taken back."""

from datetime import datetime

from django.db import transaction

from school.calendars.placeholders import InvalidText, check_text
from school.calendars.texts import PLACEHOLDERS
from school.enums import Language, MessageKind
from school.models import Account, Client, MessageText
from school.services.audit import record, snapshot

LONGEST_BODY = 4000

_TIMES = ("day", "start", "cancel", "caution")
KEPT = {
    MessageKind.INVITE: _TIMES,
    MessageKind.CHANGED: _TIMES,
    MessageKind.SERIES: (*_TIMES, "except_days", "other_days"),
    MessageKind.SERIES_CHANGED: (*_TIMES, "except_days", "other_days"),
    MessageKind.REMINDER: _TIMES,
    MessageKind.STILL_BOOKED: ("day", "start", "link", "caution"),
    MessageKind.OFFER: ("day", "start", "until", "page", "caution"),
    MessageKind.OFFER_GONE: ("day", "start", "page"),
    MessageKind.ENDS_SOON: ("paid", "until", "page"),
    MessageKind.CONSENT_ENDS: ("consent", "until", "page"),
    MessageKind.CANCELLED: ("day", "start"),
    MessageKind.SERIES_CANCELLED: (),
}
"""What a text must not lose: the time, until when to cancel, and the caution."""


class UnableToKeepText(ValueError):
    """Why a text is not kept, in plain words, and which field it is about."""

    def __init__(self, code: str, says: str, field: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.field = field


def check_words(*, kind: str, subject: str, body: str) -> None:
    """Refuse a subject and body that can't be sent or that lose what must be said.

    Raises
    ------
    UnableToKeepText
        With the field, and what to do.
    """
    subject, body = subject.strip(), body.strip()
    for field, text, most in (("subject", subject, 200), ("body", body, LONGEST_BODY)):
        if not text or len(text) > most:
            raise UnableToKeepText(
                "length",
                f"The {field} has from 1 to {most} characters, not {len(text)}.",
                field,
            )
        try:
            check_text(text, PLACEHOLDERS)
        except InvalidText as error:
            raise UnableToKeepText("placeholder", error.says, field) from error
    if len(subject.splitlines()) > 1:
        raise UnableToKeepText("lines", "The subject is one line.", "subject")
    lost = [name for name in KEPT[MessageKind(kind)] if f"{{{name}}}" not in body]
    if lost:
        names = ", ".join(f"{{{name}}}" for name in lost)
        raise UnableToKeepText(
            "lost", f"The text must keep {names}: clients rely on it.", "body"
        )


def save_text(
    *,
    kind: str,
    language: str,
    subject: str,
    body: str,
    by: Account | None,
    now: datetime,
) -> MessageText:
    """Keep the school's own words for a kind of mail in a language; twice is once."""
    check_words(kind=kind, subject=subject, body=body)
    with transaction.atomic():
        known = MessageText.objects.filter(kind=kind, language=language).first()
        before = snapshot(known) if known else None
        words = (subject.strip(), "\n".join(body.strip().splitlines()))
        text = known or MessageText(kind=kind, language=language)
        if (text.subject, text.body) == words:
            return text
        text.subject, text.body = words
        text.changed_at = now
        text.save()
        record(
            by=by,
            at=now,
            action="word",
            subject=text,
            before=before,
            after=snapshot(text),
        )
        return text


def restore_text(
    *, kind: str, language: str, by: Account | None, now: datetime
) -> None:
    """Take the product's own words again; harmless where they are used already."""
    with transaction.atomic():
        known = MessageText.objects.filter(kind=kind, language=language).first()
        if known is None:
            return
        record(
            by=by,
            at=now,
            action="restore words",
            subject=known,
            before=snapshot(known),
        )
        known.delete()


def write_to(
    *,
    client: Client,
    language: str,
    calendar_by: str,
    by: Account | None,
    now: datetime,
) -> Client:
    """Choose the language a client is written to in, and how their calendar is fed."""
    with transaction.atomic():
        fresh = Client.objects.select_for_update().get(pk=client.pk)
        if (fresh.language, fresh.calendar_by) == (language, calendar_by):
            return fresh
        before = snapshot(fresh)
        fresh.language = Language(language)
        fresh.calendar_by = calendar_by
        fresh.save()
        record(
            by=by,
            at=now,
            action="write to",
            subject=fresh,
            before=before,
            after=snapshot(fresh),
        )
        return fresh
