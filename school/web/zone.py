"""Shows every moment of a page in the school's zone."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from school.models import School


def school_zone_middleware(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Activate the school's zone; without a school yet, times show in UTC."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.path.startswith(("/static/", "/agenda/")):
            return get_response(request)
        zone = School.objects.values_list("zone", flat=True).first()
        with timezone.override(ZoneInfo(zone) if zone else None):
            return get_response(request)

    return middleware
