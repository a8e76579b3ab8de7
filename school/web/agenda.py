"""Calendar feeds by secret address: no sign-in, no cookie, nothing told."""

from collections.abc import Callable
from datetime import datetime

from django.http import HttpRequest, HttpResponse, HttpResponseNotFound
from django.utils import timezone
from django.utils.http import http_date, parse_http_date_safe
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from school.calendars.personal import personal_snapshot
from school.calendars.snapshots import Snapshot
from school.models import FeedToken, School
from school.queries.schools import the_school
from school.services.feeds import find_feed, note_body
from school.web.throttles import refuse_too_many

Shown = Callable[[School, FeedToken, datetime], Snapshot]


@require_safe
@gzip_page
def personal_feed(request: HttpRequest, kind: str, token: str) -> HttpResponse:
    return answer_feed(request, kind, token, personal_snapshot)


def answer_feed(
    request: HttpRequest, kind: str, token: str, shown: Shown
) -> HttpResponse:
    """Answer with a feed, 304 if the reader has it, 429, or a bare 404.

    What the feed shows is digested before it is written, so a reader who has it
    costs no writing.
    """
    refused = refuse_too_many(request, token)
    if refused is not None:
        return refused
    now = timezone.now()
    feed = find_feed(kind=kind, token=token)
    if feed is None:
        return HttpResponseNotFound(content_type="text/plain")
    snapshot = shown(the_school(), feed, now)
    digest = snapshot.digest
    since = note_body(feed=feed, digest=digest, now=now)
    if _has_it(request, f'"{digest}"', since):
        response = HttpResponse(status=304)
    else:
        response = HttpResponse(
            snapshot.body(), content_type="text/calendar; charset=utf-8"
        )
    response["ETag"] = f'"{digest}"'
    response["Last-Modified"] = http_date(since.timestamp())
    response["Cache-Control"] = "private, max-age=300"
    response["X-Robots-Tag"] = "noindex"
    response["Referrer-Policy"] = "no-referrer"
    return response


def _has_it(request: HttpRequest, etag: str, since: datetime) -> bool:
    """If-None-Match goes before If-Modified-Since (RFC 9110 section 13.2.2)."""
    known = request.headers.get("If-None-Match")
    if known is not None:
        tags = {one.strip().removeprefix("W/") for one in known.split(",")}
        return etag in tags or "*" in tags
    date = parse_http_date_safe(request.headers.get("If-Modified-Since", ""))
    return date is not None and date >= int(since.timestamp())
