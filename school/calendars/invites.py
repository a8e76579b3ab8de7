"""What a client is told of a lesson, as a mail with its calendar object."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from email.utils import format_datetime

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from school.calendars.components import Entry, Weekly, itip
from school.calendars.facts import (
    consent_facts,
    ending_facts,
    lesson_facts,
    noted_words,
    offer_ends,
    title_of,
    was_words,
    weekly_facts,
)
from school.calendars.mails import Letter, mail_bytes
from school.calendars.placeholders import fill
from school.calendars.texts import Words, default_words
from school.calendars.told import WeeklyPart, told_from_data, told_of, weekly_part
from school.enums import MessageKind, MessageMethod, MessageState
from school.models import Lesson, OutboxMessage, Outcome, Person, School
from school.queries.links import lesson_url, page_url
from school.queries.series import moment_of
from school.queries.texts import own_text
from school.queries.windows import is_open

LONGEST_LABEL = 45


@dataclass(frozen=True, slots=True)
class Made:
    """A mail as it is sent: its subject, and its bytes."""

    subject: str
    raw: bytes


def make_mail(school: School, message: OutboxMessage, now: datetime) -> Made:
    """Return the mail of a message, in its client's language."""
    if message.copy_of is not None and message.copy_to is not None:
        return _copy(school, message, message.copy_of, message.copy_to, now)
    client = message.client
    with translation.override(client.language):
        facts, entries = _facts_and_entries(school, message, now)
        # A link is made anew for each mail, so that it is the same when sent again.
        facts["page"] = page_url(client, now=message.made_at)
        words = words_of(message.kind, client.language)
        text = fill(words.body, facts) + "\n"
        subject = fill(words.subject, facts)
        html = html_of(text, client.language)
    sender = (school.name, school.organiser_email)
    to = (str(client.person), client.person.email)
    calendar = b""
    if message.method and message.invitation and message.invitation.by_invite:
        calendar = itip(
            method=message.method,
            entries=[replace(one, description=text.strip()) for one in entries],
            organiser=sender,
            attendee=to,
        )
    letter = Letter(
        message_id=message.message_id,
        subject=subject,
        sender=sender,
        to=to,
        text=text,
        html=html,
        date=format_datetime(message.made_at),
        method=message.method,
        calendar=calendar,
        language=client.language,
    )
    return Made(subject, mail_bytes(letter))


def _copy(
    school: School,
    message: OutboxMessage,
    of: OutboxMessage,
    to: Person,
    now: datetime,
) -> Made:
    """Return a copy in words for a second guardian.

    Without the links, which answer for the client, and without what it costs.
    """
    language = of.client.language
    with translation.override(language):
        facts, _entries = _facts_and_entries(school, of, now)
        facts |= dict.fromkeys(("page", "link", "cancel", "price", "noted"), "")
        facts["guardian"] = to.first_name
        words = words_of(of.kind, language)
        note = _("A copy for your information: {client} has the mail to be answered.")
        text = fill(f"{words.body}\n\n{note}", facts | {"client": str(of.client)})
        subject = fill(words.subject, facts)
        html = html_of(text, language)
    letter = Letter(
        message_id=message.message_id,
        subject=subject,
        sender=(school.name, school.organiser_email),
        to=(str(to), to.email),
        text=text + "\n",
        html=html,
        date=format_datetime(message.made_at),
        language=language,
    )
    return Made(subject, mail_bytes(letter))


def words_of(kind: str, language: str) -> Words:
    """Return the school's words for a kind of mail, else the product's own."""
    own = own_text(kind, language)
    if own is not None:
        return Words(own.subject, own.body)
    with translation.override(language):
        return default_words(kind)


def html_of(text: str, language: str) -> str:
    """Return a text as the HTML of a mail; nothing in it is taken for markup."""
    paragraphs = [part.splitlines() for part in text.strip().split("\n\n")]
    lines = [[_labelled(line) for line in part] for part in paragraphs]
    return render_to_string(
        "messages/mail.html", {"paragraphs": lines, "language": language}
    )


def _labelled(line: str) -> tuple[str, str]:
    """Part a line as "Where: Hall" into its label and the rest."""
    label, colon, rest = line.partition(": ")
    if colon and len(label) <= LONGEST_LABEL:
        return label, rest
    return "", line


def _facts_and_entries(
    school: School, message: OutboxMessage, now: datetime
) -> tuple[dict[str, str], list[Entry]]:
    invitation = message.invitation
    if message.kind == MessageKind.ENDS_SOON:
        return ending_facts(school, message.client, message.told), []
    if message.kind == MessageKind.CONSENT_ENDS:
        return consent_facts(school, message.client, message.told), []
    if invitation is not None and invitation.series_id and message.day is None:
        part = weekly_part(school, invitation)
        if not part.names:
            # Nothing is left of it; it is still spoken of by its riders' names.
            part = replace(part, names=tuple(message.told.get("names", ())))
        facts = weekly_facts(school, message.client, part)
        facts["reason"] = str(message.told.get("reason", ""))
        return facts, _weekly_entries(message, part, facts["title"])
    lesson = _lesson_of(message)
    told = told_of(school, lesson, message.client_id)
    if not told.names:
        # Whom a place is offered has none yet; the message knows who is meant.
        told = replace(told, names=tuple(message.told.get("names", ())))
    facts = lesson_facts(school, message.client, told, now)
    if message.kind == MessageKind.OFFER:
        facts["until"] = offer_ends(school, message.told)
    before = _before(message)
    if before is not None:
        facts["was"] = was_words(told_from_data(before.told), school)
    if message.kind == MessageKind.CANCELLED:
        own = Outcome.objects.filter(
            ride__lesson=lesson, ride__rider__client=message.client_id
        )
        facts["noted"] = noted_words(own.order_by("pk"))
    facts["link"] = lesson_url(message.client, lesson)
    return facts, [_entry(school, message, lesson, facts["title"])]


def _lesson_of(message: OutboxMessage) -> Lesson:
    if message.day is not None:
        return message.day.lesson
    of = message.lesson
    if of is None and message.invitation is not None:
        of = message.invitation.lesson
    if of is None:
        raise ValueError(f"message {message.pk} is about no lesson")
    return of


def _before(message: OutboxMessage) -> OutboxMessage | None:
    """Return the message that last told the same client of the same lesson."""
    if message.invitation is None:
        return None
    return (
        message.invitation.messages.filter(
            state=MessageState.SENT, edition__lt=message.edition, day=message.day
        )
        .exclude(told={})
        .order_by("-edition")
        .first()
    )


def _entry(school: School, message: OutboxMessage, lesson: Lesson, title: str) -> Entry:
    invitation, day = message.invitation, message.day
    return Entry(
        uid=invitation.uid if invitation else lesson.uuid,
        sequence=message.sequence,
        changed_at=message.made_at,
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        summary=title,
        location=lesson.arena.name,
        # One of a series is told in the series' own kind of time.
        zone=school.zone if day else "",
        instead_of=day.original_starts_at if day else None,
        answer=(day or invitation).answer if invitation else "",
        tentative=is_open(lesson),
    )


def _weekly_entries(
    message: OutboxMessage, part: WeeklyPart, title: str
) -> list[Entry]:
    """Return a series and its exceptions, or the series alone if it is withdrawn."""
    invitation, zone = message.invitation, part.zone
    if invitation is None:
        return []
    usual = part.usual(part.weeks[0])
    series = Entry(
        uid=invitation.uid,
        sequence=message.sequence,
        changed_at=message.made_at,
        starts_at=usual.starts_at,
        ends_at=usual.ends_at,
        summary=title,
        location=usual.arena,
        zone=zone.key,
        answer=invitation.answer,
        tentative=part.series.window_from is not None,
    )
    if message.method == MessageMethod.CANCEL:
        return [series]
    clock = part.series.local_start
    answers = {
        one.original_starts_at.astimezone(UTC): one.answer
        for one in invitation.days.all()
    }
    moved = []
    for day in part.unusual():
        told, original = part.told[day], moment_of(day, clock, zone)
        moved.append(
            replace(
                series,
                starts_at=told.starts_at,
                ends_at=told.ends_at,
                location=told.arena,
                summary=title_of(told.names, told.work),
                instead_of=original,
                answer=answers.get(original, series.answer),
                tentative=told.window_from is not None,
            )
        )
    weekly = Weekly(
        until=part.usual(part.weeks[-1]).starts_at,
        skipped=tuple(moment_of(day, clock, zone) for day in part.missing()),
    )
    return [replace(series, weekly=weekly), *moved]
