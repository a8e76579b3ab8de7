"""The reset list on another phone: a code to scan, and what it opens, for today."""

from datetime import date, datetime, time, timedelta

from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from school.enums import Role
from school.models import Account
from school.permissions import is_manager, may_work_resets, roles_of
from school.queries.day_links import day_path, find_day_link, groundspeople_accounts
from school.queries.links import InvalidLink
from school.queries.schools import the_school
from school.services.audit import record
from school.sheets.typeset import qr_code
from school.web.access import account_of, allowed

BACKEND = "django.contrib.auth.backends.ModelBackend"


@allowed(may_work_resets)
def day_links(request: HttpRequest) -> HttpResponse:
    """Show today's code of each groundsperson, or of who asks."""
    account, today = account_of(request), timezone.localdate()
    shown = [
        one
        for one in groundspeople_accounts()
        if is_manager(account) or one.pk == account.pk
    ]
    links = []
    for one in shown:
        url = settings.BASE_URL + day_path(one, today)
        links.append({"who": one.person, "url": url, "code": qr_code(url)})
    response = render(
        request, "scheduling/day_links.html", {"links": links, "today": today}
    )
    response["Cache-Control"] = "no-store"
    return response


def _groundsperson(token: str, today: date) -> Account:
    """Return whom a link is for; who may do more signs in with a password."""
    account = find_day_link(token, today=today)
    if roles_of(account) != {Role.GROUNDSPERSON}:
        raise InvalidLink("withdrawn", "This link was closed. Sign in instead.")
    return account


@csrf_exempt
def open_day_link(request: HttpRequest, token: str) -> HttpResponse:
    """Ask on GET, since programs look links up; the button opens the list."""
    today = timezone.localdate()
    try:
        account = _groundsperson(token, today)
    except InvalidLink as error:
        context = {"says": error.says, "school": the_school()}
        response = render(request, "school/my/ended.html", context, status=404)
    else:
        if request.method == "POST":
            midnight = datetime.combine(
                today + timedelta(days=1), time(), timezone.get_current_timezone()
            )
            login(request, account, backend=BACKEND)
            request.session.set_expiry(midnight)
            record(by=account, at=timezone.now(), action="day link", subject=account)
            response = redirect("resets", day=today.isoformat())
        else:
            response = render(
                request,
                "scheduling/day_link.html",
                {"who": account.person, "today": today, "school": the_school()},
            )
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex"
    return response
