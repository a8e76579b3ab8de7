"""Takes answers that come by mail, by rules; what is odd is put before a person.

Nobody but a client changes what is the client's: an answer is matched by the UID,
which is a secret of the client's own invite, by the address invited, and by who
sent it. DECLINED frees the place only within the free time.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction

from school.calendars.replies import (
    LONGEST_MAIL,
    ReadAnswer,
    ReadMail,
    proved,
    read_head,
    read_mail,
    uid_of,
)
from school.enums import Answer, LessonState, ReplyState
from school.models import (
    Account,
    Client,
    Invitation,
    InvitedDay,
    Lesson,
    Reply,
)
from school.queries.schools import the_school
from school.services.answers import give_back
from school.services.audit import record, snapshot
from school.services.late import ask_on_a_page
from school.services.refusals import UnableToBook

log = logging.getLogger(__name__)

KEPT = timedelta(days=90)
"""How long a reply is kept once nobody has to look at it."""

_READABLE = {Answer.ACCEPTED, Answer.DECLINED, Answer.TENTATIVE}

HELD = {
    "too-large": "The mail is too large to be an answer; look at it in the mailbox.",
    "bounce": "A mail of the school could not be delivered; check the address.",
    "words": "A client wrote a mail without a calendar answer; read it in the mailbox.",
    "methods-differ": "The mail says two different things of what it is.",
    "unreadable": "The answer in the mail can't be read.",
    "this-and-future": "They mean this lesson and all later ones; settle it with them.",
    "no-reply": "Not an answer but a try to change the entry; it stays as it was.",
    "counter": "They ask for another time.",
    "delegated": "They say that somebody else comes; settle it with them.",
    "refresh": "Their calendar asks for the entry again; send it if they miss it.",
    "organiser": "The answer names another organiser than this school.",
    "stranger": "The answer is of somebody who was not invited: forwarded, perhaps.",
    "other-sender": "Sent from another address than the one invited.",
    "unproved": "The mail server does not vouch for the sender.",
    "no-such-day": "They answer for a day that the weekly lesson does not have.",
    "stale": "They answer to an older time or place than the one that holds now.",
    "ahead": "Their calendar counts further than the school's.",
    "withdrawn": "The place is not theirs any more; they seem to want it.",
    "whole-series": "They say no to all weeks; end it only after a word with them.",
    "late": "They said no after the free time; asked on a page, the place is kept.",
}
"""Why a reply waits for a person, in words."""

MAY_BE_TAKEN = frozenset({"other-sender", "unproved", "stale", "ahead", "organiser"})
"""What a person may decide to take as the client's own answer."""


class _Held(Exception):
    """A rule that puts an answer before a person."""

    def __init__(self, code: str, words: str = "") -> None:
        super().__init__(code)
        self.code = code
        self.reason = words or HELD[code]


class _Ignored(Exception):
    """A rule that drops an answer without a word, so that no mail goes astray."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True, slots=True)
class Entry:
    """What an answer is for: an invitation, or one day of a weekly one."""

    invitation: Invitation
    day: InvitedDay | None
    lesson: Lesson | None
    sequence: int
    withdrawn: bool


def take_mail(raw: bytes, *, now: datetime) -> list[Reply]:
    """Take a mail of the mailbox; the same mail twice is taken once.

    A mail over the limit may be cut: only its head is read.
    """
    large = len(raw) > LONGEST_MAIL
    mail = read_head(raw[:LONGEST_MAIL]) if large else read_mail(raw)
    with transaction.atomic():
        known = list(Reply.objects.filter(key=mail.key).order_by("position"))
        if known:
            return known
        if large or not mail.answers:
            return [_take_without_answer(mail, "too-large" if large else mail.odd, now)]
        return [
            _take(mail, answer, position, now)
            for position, answer in enumerate(mail.answers)
        ]


def _reply(mail: ReadMail, now: datetime) -> Reply:
    return Reply(
        key=mail.key,
        message_id=mail.message_id,
        received_at=now,
        sender=mail.sender,
        subject=mail.subject,
        method=mail.method[:20],
    )


def _take_without_answer(mail: ReadMail, odd: str, now: datetime) -> Reply:
    """Hold what a client wrote; drop what is nobody's, and automatic replies."""
    reply = _reply(mail, now)
    known = Client.objects.filter(person__email__iexact=mail.sender or "-").exists()
    code = {"no-calendar": "words", "too-many-parts": "unreadable"}.get(odd, odd)
    if code == "bounce" or (known and not mail.automatic):
        reply.state, reply.code, reply.reason = ReplyState.HELD, code, HELD[code]
    else:
        reply.state, reply.code = ReplyState.IGNORED, code
    reply.save(force_insert=True)
    return reply


def _take(mail: ReadMail, answer: ReadAnswer, position: int, now: datetime) -> Reply:
    reply = _reply(mail, now)
    reply.position = position
    reply.original_starts_at = answer.original
    reply.sequence, reply.stamp = answer.sequence, answer.stamp
    reply.comment = answer.comment
    if mail.method == "COUNTER" and answer.proposed:
        reply.proposed_starts_at, reply.proposed_ends_at = answer.proposed
    try:
        entry = _match(mail, answer, reply)
        _apply(entry, reply, now)
    except _Held as held:
        reply.state, reply.code, reply.reason = ReplyState.HELD, held.code, held.reason
    except _Ignored as ignored:
        reply.state, reply.code = ReplyState.IGNORED, ignored.code
        log.info("a reply was dropped: %s", ignored.code)
    else:
        reply.state = ReplyState.APPLIED
    reply.save(force_insert=True)
    return reply


def _match(mail: ReadMail, answer: ReadAnswer, reply: Reply) -> Entry:
    """Find what is answered, and check that its client says so."""
    uid = uid_of(answer.uid)
    invitation = (
        Invitation.objects.select_for_update(of=("self",))
        .select_related("client__person", "lesson", "series")
        .filter(uid=uid)
        .first()
        if uid
        else None
    )
    if invitation is None:
        raise _Ignored("unknown-uid")
    reply.invitation = invitation
    if answer.odd:
        raise _Held(answer.odd)
    if mail.method == "COUNTER":
        reply.answer = ""
        raise _Held("counter")
    if mail.method == "REFRESH":
        raise _Held("refresh")
    if mail.method != "REPLY":
        raise _Held("no-reply")
    address = invitation.client.person.email.lower()
    said = answer.said.get(address)
    if said is None:
        raise _Held("stranger")
    if said == "DELEGATED":
        raise _Held("delegated")
    if said not in _READABLE:
        raise _Ignored("says-nothing")
    reply.answer = said
    if answer.organiser not in {"", the_school().organiser_email.lower()}:
        raise _Held("organiser")
    if mail.sender != address:
        raise _Held("other-sender")
    if settings.MAIL_AUTHSERV and not proved(mail, settings.MAIL_AUTHSERV):
        raise _Held("unproved")
    entry = find_entry(invitation, answer.original)
    _check_order(entry, answer)
    return entry


def find_entry(invitation: Invitation, original: datetime | None) -> Entry:
    """Return what an answer is for, compared as moments, whatever zone they name."""
    if invitation.lesson is not None:
        return Entry(
            invitation,
            None,
            invitation.lesson,
            invitation.sequence,
            invitation.withdrawn,
        )
    if original is None:
        whole = invitation.messages.filter(day=None).order_by("-edition").first()
        sequence = whole.sequence if whole else invitation.sequence
        return Entry(invitation, None, None, sequence, invitation.withdrawn)
    day = (
        invitation.days.select_related("lesson")
        .filter(original_starts_at=original)
        .first()
    )
    if day is None:
        raise _Held("no-such-day")
    gone = day.dropped or invitation.withdrawn
    return Entry(invitation, day, day.lesson, day.sequence, gone)


def _check_order(entry: Entry, answer: ReadAnswer) -> None:
    """Keep the later of two answers (RFC 5546 section 2.1.5), and the present time."""
    last = (
        Reply.objects.filter(
            invitation=entry.invitation,
            original_starts_at=answer.original,
            state=ReplyState.APPLIED,
        )
        .order_by("-sequence", "-stamp", "-pk")
        .first()
    )
    if last is not None and last.stamp is not None:
        stamp = answer.stamp or last.stamp
        if (answer.sequence, stamp) <= (last.sequence or 0, last.stamp):
            raise _Ignored("older")
    if answer.sequence > entry.sequence:
        raise _Held("ahead")
    if answer.sequence < entry.sequence:
        raise _Held("stale")


def _apply(entry: Entry, reply: Reply, now: datetime) -> None:
    """Set the answer; a "no" in the free time gives the place back."""
    if entry.withdrawn or (
        entry.lesson is not None and entry.lesson.state == LessonState.CANCELLED
    ):
        if reply.answer == Answer.DECLINED:
            raise _Ignored("gone-already")
        raise _Held("withdrawn")
    holder = entry.day or entry.invitation
    before = snapshot(holder)
    holder.answer = reply.answer
    holder.save(update_fields=["answer"])
    record(
        by=None,
        at=now,
        action="answer by mail",
        subject=holder,
        before=before,
        after=snapshot(holder),
    )
    if reply.answer != Answer.DECLINED:
        return
    if entry.lesson is None:
        raise _Held("whole-series")
    client = entry.invitation.client
    try:
        give_back(client=client, lesson=entry.lesson, now=now)
    except UnableToBook as error:
        if error.code == "late":
            ask_on_a_page(client=client, lesson=entry.lesson, now=now)
            raise _Held("late") from error
        raise _Held(error.code[:20], error.says[:300]) from error


def settle_reply(
    *, reply: Reply, by: Account | None, now: datetime, take: bool = False
) -> Reply:
    """Take a held reply off the list; with `take` its answer counts as the client's.

    Raises
    ------
    UnableToBook
        `not-held`, or `not-takable` if its kind can't be taken as an answer.
    """
    with transaction.atomic():
        fresh = Reply.objects.select_for_update(of=("self",)).get(pk=reply.pk)
        if fresh.state == ReplyState.SETTLED:
            return fresh
        if fresh.state != ReplyState.HELD:
            raise UnableToBook("not-held", "This reply does not wait for anybody.")
        if take:
            _take_by_hand(fresh, now)
        before = snapshot(fresh)
        fresh.state = ReplyState.SETTLED
        fresh.settled_at, fresh.settled_by = now, by
        fresh.save()
        record(
            by=by,
            at=now,
            action="take reply" if take else "settle reply",
            subject=fresh,
            before=before,
            after=snapshot(fresh),
        )
        return fresh


def _take_by_hand(reply: Reply, now: datetime) -> None:
    if reply.code not in MAY_BE_TAKEN or reply.invitation is None or not reply.answer:
        raise UnableToBook(
            "not-takable", "This reply can't be taken as an answer; settle it by hand."
        )
    try:
        entry = find_entry(reply.invitation, reply.original_starts_at)
        _apply(entry, reply, now)
    except _Held as held:
        if held.code != "late":
            raise UnableToBook(held.code, held.reason) from held
    except _Ignored:
        return


def drop_old_replies(*, now: datetime) -> int:
    """Forget replies that nobody has to look at any more; return how many."""
    with transaction.atomic():
        count, _ = (
            Reply.objects.filter(received_at__lt=now - KEPT)
            .exclude(state=ReplyState.HELD)
            .delete()
        )
        return count
