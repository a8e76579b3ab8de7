"""Signed links: what a client may do without an account, and until when.

A link names its client, and one lesson or none, and an end; the signature keeps
that from being changed. Nothing is stored, so the same link is made again for a
mail that is made again. A client's links are closed all at once by a new round.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core.signing import BadSignature, Signer

from school.models import Client, Lesson

PAGE_LASTS = timedelta(days=180)
"""How long a link to a client's page opens it; each mail brings a new one."""

AFTER_LESSON = timedelta(days=2)
"""How long after its lesson a lesson's link still shows it."""

LONGEST = 300


class InvalidLink(ValueError):
    """A link that opens nothing: a code, and words for who followed it."""

    def __init__(self, code: str, says: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says


@dataclass(frozen=True, slots=True)
class Link:
    """Who followed a link, and the one lesson it is for, or none for all."""

    token: str
    client: Client
    lesson_id: int | None


def _signer() -> Signer:
    return Signer(salt="school.client-link", sep=".")


def _token(client: Client, lesson_id: int, ends_at: datetime) -> str:
    parts = [client.pk, lesson_id, client.link_round, int(ends_at.timestamp())]
    return _signer().sign_object(parts)


def page_path(client: Client, *, now: datetime) -> str:
    """Return the path of a client's page, open for half a year."""
    # By whole days, so that two links of a day are the same.
    day = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return f"/my/{_token(client, 0, day + PAGE_LASTS)}/"


def page_url(client: Client, *, now: datetime) -> str:
    """Return the whole address of a client's page, for mails."""
    return f"{settings.BASE_URL}{page_path(client, now=now)}"


def lesson_url(client: Client, lesson: Lesson, *, action: str = "") -> str:
    """Return the address of one lesson's page for a client.

    Parameters
    ----------
    action
        Empty, or one of `accept`, `cancel` and `other-time`: the page that asks it.
        Opening it changes nothing; its button does.
    """
    token = _token(client, lesson.pk, lesson.ends_at + AFTER_LESSON)
    end = f"{action}/" if action else ""
    return f"{settings.BASE_URL}/my/{token}/lessons/{lesson.pk}/{end}"


def find_link(token: str, *, now: datetime) -> Link:
    """Return what a token opens.

    Raises
    ------
    InvalidLink
        `broken`, `withdrawn` or `expired`.
    """
    broken = InvalidLink(
        "broken", "This link is not complete. Copy it whole from the mail it came in."
    )
    if len(token) > LONGEST:
        raise broken
    try:
        client_id, lesson_id, link_round, ends = _signer().unsign_object(token)
    except (BadSignature, ValueError):
        raise broken from None
    client = Client.objects.select_related("person").filter(pk=client_id).first()
    if client is None or client.link_round != link_round:
        raise InvalidLink(
            "withdrawn", "This link was closed. Ask the school for a new one."
        )
    if now.timestamp() >= ends:
        raise InvalidLink(
            "expired",
            "This link has ended. The school's newest mail to you has one that works.",
        )
    return Link(token=token, client=client, lesson_id=lesson_id or None)
