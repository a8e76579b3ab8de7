"""Signed links to the reset list: without a password, for one day only.

A link names an account and a day; nothing is stored. It opens nothing on any other
day, and nothing once the account is closed.
"""

from datetime import date

from django.core.signing import BadSignature, Signer

from school.models import Account
from school.queries.links import LONGEST, InvalidLink


def _signer() -> Signer:
    return Signer(salt="school.day-link", sep=".")


def day_path(account: Account, day: date) -> str:
    """Return the path that opens the reset list for somebody on one day."""
    return f"/today/{_signer().sign_object([account.pk, day.isoformat()])}/"


def find_day_link(token: str, *, today: date) -> Account:
    """Return whom a link is for.

    Raises
    ------
    InvalidLink
        `broken`, `expired`, or `withdrawn` where the account is closed.
    """
    try:
        pk, day = _signer().unsign_object(token[: LONGEST + 1])
    except (BadSignature, ValueError):
        raise InvalidLink(
            "broken", "This link is not complete. Scan the code again."
        ) from None
    if day != today.isoformat():
        raise InvalidLink(
            "expired", "This link was for another day. Ask for today's, or sign in."
        )
    account = Account.objects.filter(pk=pk, is_active=True).first()
    if account is None:
        raise InvalidLink("withdrawn", "This link was closed. Ask for a new one.")
    return account


def mark_of(account: Account) -> str:
    """Return a mark by which a phone says later whose hands pressed.

    It opens nothing: what is sent needs a sign-in, perhaps somebody else's by then.
    """
    return _marker().sign(str(account.pk))


def find_marked(mark: str) -> Account | None:
    """Return whose mark this is; None where it is nobody's any more."""
    try:
        pk = _marker().unsign(mark)
    except BadSignature:
        return None
    return Account.objects.filter(pk=pk, is_active=True).first()


def _marker() -> Signer:
    return Signer(salt="school.phone-mark", sep=".")


def groundspeople_accounts() -> list[Account]:
    """Return the accounts of those who work the resets and manage nothing."""
    return list(
        Account.objects.filter(
            is_active=True,
            is_manager=False,
            person__groundsperson__isnull=False,
            person__instructor__isnull=True,
            person__client__isnull=True,
        )
        .select_related("person")
        .order_by("person__first_name", "pk")
    )
