"""Says on a day's board what others have changed, and moves nothing by itself."""

from datetime import date, datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import condition, require_safe

from scheduling.web.days import read_day_or_404, week_of
from school.permissions import is_manager
from school.queries.board_news import newest_entry, news_of_days
from school.web.access import account_of, allowed


def _etag(request: HttpRequest, day: str) -> str:
    return f'"{newest_entry()}"'


def _since(request: HttpRequest) -> datetime:
    """Return since when is asked; what can't be read is from now on."""
    try:
        since = datetime.fromisoformat(request.GET.get("since", ""))
    except ValueError:
        return timezone.now()
    return since if timezone.is_aware(since) else timezone.now()


@require_safe
@allowed(is_manager)
@condition(etag_func=_etag)
def day_news(request: HttpRequest, day: str) -> HttpResponse:
    """Answer a poll: 304 or 204 while there is nothing new to say."""
    return _news(request, read_day_or_404(day), "day")


@require_safe
@allowed(is_manager)
@condition(etag_func=_etag)
def week_news(request: HttpRequest, day: str) -> HttpResponse:
    """Answer the same of the week that a day is in."""
    return _news(request, read_day_or_404(day), "week")


def _news(request: HttpRequest, when: date, board: str) -> HttpResponse:
    days = [when]
    if board == "week":
        days = week_of(when)
    since = _since(request)
    news = news_of_days(days, since, account_of(request))
    shown = request.GET.get("shown", "")
    if not news or shown == str(news[-1].entry):
        return HttpResponse(status=204)
    context = {
        "day": days[0],
        "board": board,
        "news": news,
        "since": since.isoformat(),
        "shown": news[-1].entry,
    }
    return render(request, "scheduling/_day_news.html", context)
