"""Calendar addresses, one's own and the yard's: made, shown once, withdrawn."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from school.enums import FeedKind
from school.models import Account, Arena, FeedToken, Horse, Person
from school.permissions import may_have_feed, may_have_yard_feed, roles_of
from school.services.feeds import make_feed, withdraw_feed
from school.web.access import account_of, allowed
from school.web.addresses import address_context
from school.web.lessons import anyone


@allowed(anyone)
def calendars(request: HttpRequest) -> HttpResponse:
    return _show(request)


def _show(request: HttpRequest, url: str = "") -> HttpResponse:
    account = account_of(request)
    kinds = [role for role in roles_of(account) if may_have_feed(account, role)]
    context: dict[str, Any] = {"feeds": _feeds_of(account), "kinds": sorted(kinds)}
    if may_have_yard_feed(account):
        context["yard"] = [
            (FeedKind.HORSE, "horse", Horse.objects.order_by("name", "pk")),
            (FeedKind.ARENA, "arena", Arena.objects.order_by("name", "pk")),
        ]
    if url:
        context |= address_context(url)
    response = render(request, "school/calendars.html", context)
    # The address is a secret: it must not stay in a shared cache.
    response["Cache-Control"] = "no-store"
    return response


def _feeds_of(account: Account) -> QuerySet[FeedToken]:
    """Return the addresses in use that somebody may withdraw."""
    own = Q(person__isnull=False, person_id=account.person_id)
    if may_have_yard_feed(account):
        own |= Q(person__isnull=True)
    return (
        FeedToken.objects.filter(own, revoked_at__isnull=True)
        .select_related("horse", "arena")
        .order_by("-made_at", "pk")
    )


@require_POST
@allowed(anyone)
def make_calendar(request: HttpRequest) -> HttpResponse:
    account, kind = account_of(request), request.POST.get("kind", "")
    holder = _holder(account, kind, request.POST.get("holder", ""))
    _, url = make_feed(kind=kind, holder=holder, by=account, now=timezone.now())
    return _show(request, url)


def _holder(account: Account, kind: str, chosen: str) -> Person | Horse | Arena:
    """Return whose address is made, if it may be."""
    if kind in {FeedKind.HORSE, FeedKind.ARENA} and may_have_yard_feed(account):
        if not chosen.isdecimal():
            raise Http404
        if kind == FeedKind.HORSE:
            return get_object_or_404(Horse, pk=chosen)
        return get_object_or_404(Arena, pk=chosen)
    if account.person is None or not may_have_feed(account, kind):
        raise PermissionDenied
    return account.person


@require_POST
@allowed(anyone)
def withdraw_calendar(request: HttpRequest, pk: int) -> HttpResponse:
    account = account_of(request)
    feed = _feeds_of(account).filter(pk=pk).first()
    if feed is None:
        raise Http404
    withdraw_feed(feed=feed, by=account, now=timezone.now())
    return redirect("calendars")
