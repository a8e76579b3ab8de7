"""How often feeds are asked: by address and by token, others unhurt.

Counted in Django's cache before anything else is done, so a refusal costs no query.
"""

import hashlib
import logging
from typing import Any

from django.http import HttpRequest, HttpResponse
from redis import RedisError
from rest_framework.throttling import SimpleRateThrottle

log = logging.getLogger(__name__)


class _Throttle(SimpleRateThrottle):
    """Counts an HTTP request as the API counts its own."""

    def __init__(self, what: str) -> None:
        self.what = hashlib.sha256(what.encode()).hexdigest()
        super().__init__()

    def get_cache_key(self, request: Any, view: Any) -> str:
        return f"throttle-{self.scope}-{self.what}"

    def lets_in(self, request: HttpRequest) -> bool:
        """Count the request, and say whether it is one too many."""
        try:
            return bool(self.allow_request(request, None))  # type: ignore[arg-type]
        except (RedisError, OSError) as error:
            # Feeds go on without their count when the cache is down.
            log.warning("requests can't be counted: %s", error)
            return True


class ByAddress(_Throttle):
    """A large calendar service asks for many families from one address."""

    scope = "feed-address"
    rate = "120/min"


class ByToken(_Throttle):
    """A few devices that each ask every few minutes stay far below."""

    scope = "feed-token"
    rate = "20/min"


def refuse_too_many(request: HttpRequest, token: str) -> HttpResponse | None:
    """Return a refusal that says when to come again, or None."""
    address = str(request.META.get("REMOTE_ADDR", ""))
    for throttle in (ByAddress(address), ByToken(token[:200])):
        if not throttle.lets_in(request):
            response = HttpResponse(
                "Too many requests; come again later.\n",
                status=429,
                content_type="text/plain; charset=utf-8",
            )
            response["Retry-After"] = str(int(throttle.wait() or 1) + 1)
            return response
    return None
