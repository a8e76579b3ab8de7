"""Sign-in and refusal for pages, by the predicates of school.permissions."""

from collections.abc import Callable
from datetime import timedelta
from functools import wraps
from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from school.enums import HOLDING_STATES
from school.models import Account, Lesson
from school.permissions import (
    is_manager,
    is_staff_of_yard,
    may_log_ride,
    may_make_grids,
)

View = Callable[..., HttpResponse]

BEFORE, AFTER = timedelta(minutes=15), timedelta(hours=2)
"""How long around a lesson its pages lead to each other by a bar under the thumb."""


def account_of(request: HttpRequest) -> Account:
    """Return who is signed in; the view is behind a sign-in."""
    return cast("Account", request.user)


def allowed(may: Callable[[Account], bool]) -> Callable[[View], View]:
    """Let a view be used by those of whom `may` is true, signed in."""

    def decorate(view: View) -> View:
        @login_required
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not may(account_of(request)):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        return guarded

    return decorate


def in_hand(request: HttpRequest, lesson: Lesson) -> Lesson | None:
    """Return a lesson for who teaches it, while it may be in their one free hand."""
    now = timezone.now()
    soon, over = lesson.starts_at - BEFORE, lesson.ends_at + AFTER
    held = lesson.state in HOLDING_STATES and soon <= now <= over
    return lesson if held and may_log_ride(account_of(request), lesson) else None


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Tell every page which links its reader may follow."""
    user = getattr(request, "user", None)
    known = user is not None and user.is_authenticated
    return {
        "nav": {
            "staff": known and is_staff_of_yard(account_of(request)),
            "makes_grids": known and may_make_grids(account_of(request)),
            "manager": known and is_manager(account_of(request)),
        }
    }
