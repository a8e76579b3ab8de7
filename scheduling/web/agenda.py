"""The groundsperson's calendar feed by its secret address."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from scheduling.feeds.reset_list import reset_snapshot
from school.web.agenda import answer_feed


@require_safe
@gzip_page
def groundsperson_feed(request: HttpRequest, token: str) -> HttpResponse:
    return answer_feed(request, "groundsperson", token, reset_snapshot)
