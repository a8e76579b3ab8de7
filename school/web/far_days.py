"""Answers what asks for a day that no calendar reaches, the year 1 or 9999 say.

A day before or after such a one can't be reckoned. What was begun is undone, as with
every error; nothing is kept of it.
"""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

SAYS = "There is no such day here. Look at the year."


class FarDaysMiddleware:
    """Turns a date that is out of range into a page that says so."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(
        self, request: HttpRequest, error: Exception
    ) -> HttpResponse | None:
        """Answer 404 for a date out of range, and leave every other error."""
        if not (isinstance(error, OverflowError) and "date value" in str(error)):
            return None
        if request.path.startswith("/api/"):
            return JsonResponse({"detail": SAYS}, status=404)
        return render(request, "404.html", {"says": SAYS}, status=404)
