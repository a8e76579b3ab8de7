"""What is kept of a client and their riders: handed out, or erased on request."""

import io
import json
import re
import zipfile
from datetime import date, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import Q

from school.enums import MessageState, OfferState, ReplyState, WishState
from school.models import (
    Account,
    Client,
    Consent,
    FeedToken,
    GridOverride,
    Lesson,
    LessonSeries,
    LevelSigning,
    OutboxMessage,
    OwnReference,
    Person,
    Reply,
    Ride,
    Rider,
    RiderStop,
    SecondGuardian,
    TableFile,
    WaitingOffer,
    WaitingWish,
    WelfareOverride,
)
from school.queries.personal_data import (
    audit_of_people,
    people_of,
    personal_data,
    rides_to_come,
    second_guardians_of,
)
from school.services.audit import record
from school.services.refusals import clock

ERASED = "Erased"
NO_DAY = date(1900, 1, 1)
"""Stands for a birth date that is gone."""

NO_WEIGHT_KG = 10
"""Stands for a weight that is gone: the least that a record can hold."""


class UnableToErase(ValueError):
    """Why somebody's data stays, in plain words."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


def export_client(*, client: Client, by: Account, now: datetime) -> bytes:
    """Return all that is kept of a client and their riders, as JSON in a zip."""
    data = personal_data(client)
    with transaction.atomic():
        record(by=by, at=now, action="export data", subject=client)
    body = io.BytesIO()
    with zipfile.ZipFile(body, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, rows in data.items():
            text = json.dumps(rows, cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)
            packed.writestr(f"{name.replace(' ', '-')}.json", text)
    return body.getvalue()


def erase_client(*, client: Client, by: Account, now: datetime) -> Client:
    """Erase who a client and their riders were; what was ridden stays.

    Names are replaced, what is sensitive is emptied, sign-in, links and feeds are
    closed, mails lose their text. Twice is harmless. What a log or an incident says
    in words is never changed, and stays.

    Raises
    ------
    UnableToErase
        While a lesson is still to come, or for one who works here.
    """
    with transaction.atomic():
        fresh = Client.objects.select_for_update().get(pk=client.pk)
        people = people_of(fresh)
        seconds = second_guardians_of(fresh)
        if all(one.first_name == ERASED for one in people):
            return fresh
        _check(fresh, people, now)
        names = _names([*people, *seconds])
        _scrub_mails(fresh)
        _scrub_words(fresh, names)
        _close(fresh, people, now)
        audit_of_people(fresh).update(before=None, after=None)
        _empty_riders(fresh)
        _scrub_copies(people)
        SecondGuardian.objects.filter(
            Q(rider__client=fresh) | Q(person__in=people)
        ).delete()
        gone = [one.pk for one in [*people, *seconds]]
        Person.objects.filter(pk__in=gone).update(
            first_name=ERASED, last_name="", email="", phone=""
        )
        record(
            by=by,
            at=now,
            action="erase",
            subject=fresh,
            after={"people": [one.pk for one in people]},
        )
        fresh.refresh_from_db()
        return fresh


def _check(client: Client, people: list[Person], now: datetime) -> None:
    coming = rides_to_come(client, now)
    if coming:
        raise UnableToErase(
            f"{coming[0].lesson.title} on {clock(coming[0].lesson.starts_at)} is still "
            f"to come, and {len(coming) - 1} more. Cancel or end them first."
        )
    for one in people:
        account = getattr(one, "account", None)
        works = hasattr(one, "instructor") or hasattr(one, "groundsperson")
        if works or (account is not None and account.is_manager):
            raise UnableToErase(
                f"{one.first_name} works here: end that first, papers are kept."
            )


def _names(people: list[Person]) -> re.Pattern[str]:
    words = {one.first_name for one in people} | {one.last_name for one in people}
    words |= {one.email for one in people}
    known = sorted((re.escape(one) for one in words if one), key=len, reverse=True)
    return re.compile(rf"(?<!\w)({'|'.join(known)})(?!\w)", re.IGNORECASE)


def _scrub_mails(client: Client) -> None:
    messages = OutboxMessage.objects.filter(client=client)
    messages.filter(state=MessageState.WAITING).update(state=MessageState.DROPPED)
    messages.filter(state=MessageState.SENT).update(mail=b"")
    messages.exclude(state=MessageState.SENT).update(mail=None)
    messages.update(subject="", told={}, last_error="")
    replies = Reply.objects.filter(invitation__client=client)
    replies.update(sender="", subject="", comment="")
    replies.filter(state=ReplyState.HELD).update(reason=ERASED)


def _scrub_copies(people: list[Person]) -> None:
    """Empty the copies that went to somebody of another client's mails."""
    copies = OutboxMessage.objects.filter(copy_to__in=people)
    copies.filter(state=MessageState.WAITING).update(state=MessageState.DROPPED)
    copies.filter(state=MessageState.SENT).update(mail=b"")
    copies.exclude(state=MessageState.SENT).update(mail=None)
    copies.update(subject="", told={}, last_error="")


def _scrub_words(client: Client, names: re.Pattern[str]) -> None:
    """Replace names in titles and reasons of what they rode in."""
    lessons = Lesson.objects.filter(rides__rider__client=client).distinct()
    for rows, field in (
        (lessons, "title"),
        (lessons, "state_reason"),
        (lessons, "moved_reason"),
        (LessonSeries.objects.filter(lessons__in=lessons).distinct(), "name"),
        (Ride.objects.filter(rider__client=client), "cancelled_reason"),
        (WelfareOverride.objects.filter(lesson__in=lessons), "reason"),
        (GridOverride.objects.filter(grid__lesson__in=lessons), "reason"),
        (GridOverride.objects.filter(grid__lesson__in=lessons), "subject"),
        (GridOverride.objects.filter(grid__lesson__in=lessons), "says"),
    ):
        _scrub(rows, field, names)
    for file in TableFile.objects.order_by("pk"):
        if names.search(json.dumps(file.rows, ensure_ascii=False)):
            file.delete()


def _scrub(rows: Any, field: str, names: re.Pattern[str]) -> None:
    for key, text in list(rows.values_list("pk", field)):
        if text and names.search(text):
            rows.model.objects.filter(pk=key).update(**{field: names.sub(ERASED, text)})


def _close(client: Client, people: list[Person], now: datetime) -> None:
    keys = [one.pk for one in people]
    FeedToken.objects.filter(person__in=keys, revoked_at=None).update(revoked_at=now)
    Client.objects.filter(pk=client.pk).update(link_round=client.link_round + 1)
    wishes = WaitingWish.objects.filter(rider__client=client)
    wishes.update(note="")
    wishes.filter(state=WishState.OPEN).update(state=WishState.WITHDRAWN, state_at=now)
    WaitingOffer.objects.filter(
        wish__rider__client=client, state=OfferState.OPEN
    ).update(state=OfferState.DECLINED, state_at=now)
    OwnReference.objects.filter(rider__client=client).delete()
    for account in Account.objects.filter(person__in=keys):
        account.username = f"erased-{account.pk}"
        account.first_name = account.last_name = account.email = ""
        account.is_active = False
        account.set_unusable_password()
        account.save()


def _empty_riders(client: Client) -> None:
    Rider.objects.filter(client=client).update(
        born_date=NO_DAY,
        height_cm=None,
        weight_kg=NO_WEIGHT_KG,
        health="",
        emergency_name=ERASED,
        emergency_phone=ERASED,
    )
    consents = Consent.objects.filter(rider__client=client)
    consents.update(name=ERASED)
    consents.exclude(withdrawn_reason="").update(withdrawn_reason=ERASED)
    LevelSigning.objects.filter(rider__client=client).update(note="")
    stops = RiderStop.objects.filter(rider__client=client)
    stops.update(reason=ERASED)
    stops.exclude(lifted_reason="").update(lifted_reason=ERASED)
