"""Sign-in and refusal for pages, by the predicates of school.permissions."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from school.models import Account
from school.permissions import is_manager, is_staff_of_yard, may_make_grids

View = Callable[..., HttpResponse]


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
