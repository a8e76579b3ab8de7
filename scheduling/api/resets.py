"""The reset list for a phone: what is new, and what was pressed without signal."""

import logging
from base64 import b64decode
from datetime import UTC, datetime, timedelta
from typing import Any, cast

from django.middleware.csrf import get_token
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from scheduling.api.plans import read_day
from scheduling.changeover.phone_clock import in_order, pressed_at
from scheduling.models import Press
from scheduling.services.changeovers import UnableToReset
from scheduling.services.news import as_data, news_of_day
from scheduling.services.photos import MOST_BYTES
from scheduling.services.presses import Sent, set_aside, take_press
from school.api.access import WorksResets
from school.models import Account
from school.queries.day_links import find_marked

log = logging.getLogger(__name__)

MOST = 200
"""Presses taken at once; the phone sends the rest after."""

MOST_TRIES = 5
"""What failed so often on the way here is kept as a note, and what waits goes on."""


class PressSerializer(serializers.Serializer[Any]):
    uid = serializers.UUIDField()
    phone = serializers.UUIDField()
    number = serializers.IntegerField(min_value=0, max_value=2**53)
    does = serializers.ChoiceField(choices=Press.Does.values)
    changeover = serializers.IntegerField(
        min_value=1, max_value=2**62, allow_null=True, default=None
    )
    work = serializers.IntegerField(
        min_value=1,
        max_value=2**62,
        allow_null=True,
        default=None,
        help_text="Of the ground, where it is no changeover",
    )
    move = serializers.IntegerField(
        min_value=1, max_value=2**62, allow_null=True, default=None
    )
    what = serializers.CharField(allow_blank=True, max_length=60, default="")
    says = serializers.CharField(allow_blank=True, max_length=1000, default="")
    at = serializers.IntegerField(help_text="Milliseconds by the phone's clock")
    age = serializers.IntegerField(
        min_value=0, max_value=2**53, allow_null=True, default=None
    )
    photo = serializers.CharField(
        allow_blank=True,
        max_length=2 * MOST_BYTES,
        default="",
        trim_whitespace=False,
        help_text="A data URL",
    )
    tries = serializers.IntegerField(
        min_value=0, max_value=1000, default=0, help_text="How often it failed here"
    )
    who = serializers.CharField(allow_blank=True, max_length=200, default="")


class BatchSerializer(serializers.Serializer[Any]):
    sent_at = serializers.IntegerField()
    presses = serializers.ListField(max_length=MOST, allow_empty=False)


class DayResetsView(APIView):
    """What is new on the list of a day; `plan` is the one in the hand."""

    permission_classes = [WorksResets]

    def get(self, request: Request, day: str) -> Response:
        held = request.query_params.get("plan", "")
        news = news_of_day(read_day(day), int(held) if held.isdecimal() else None)
        response = Response(
            as_data(news)
            | {
                "now": _ms(timezone.now()),
                "token": get_token(request._request),
            }
        )
        response["Cache-Control"] = "no-store"
        return response


class PressesView(APIView):
    """Take what was pressed, and answer what became of each."""

    permission_classes = [WorksResets]

    def post(self, request: Request) -> Response:
        batch = BatchSerializer(data=request.data)
        batch.is_valid(raise_exception=True)
        now = timezone.now()
        answers, readable = [], []
        for raw in batch.validated_data["presses"]:
            one = PressSerializer(data=raw)
            if one.is_valid():
                readable.append(one.validated_data)
            else:
                log.warning("a press that can't be read: %s", one.errors)
                answers.append(_unread(raw, "This can't be read here."))
        readable.sort(key=lambda one: one["number"])
        moments = in_order(
            [_moment(one, batch.validated_data["sent_at"], now) for one in readable]
        )
        by = cast("Account", request.user)
        for one, at in zip(readable, moments, strict=True):
            answer = _taken(one, at, by, now)
            if answer is None:
                # What was pressed after it waits for it, so that the order is kept.
                break
            answers.append(answer)
        return Response({"answers": answers, "now": _ms(now)})


def _taken(one: Any, at: datetime, by: Account, now: datetime) -> dict[str, Any] | None:
    """Take one press and say what became of it; None where taking it failed."""
    take = set_aside if one["tries"] >= MOST_TRIES else take_press
    sent = Sent(
        uid=one["uid"],
        phone=one["phone"],
        number=one["number"],
        does=one["does"],
        changeover=one["changeover"],
        work=one["work"],
        move=one["move"],
        what=one["what"],
        says=one["says"],
        pressed_at=at,
        photo=_bytes(one["photo"]),
    )
    try:
        press = take(sent=sent, by=find_marked(one["who"]) or by, now=now)
    except UnableToReset as refused:
        return _unread({"uid": str(one["uid"])}, refused.says)
    except Exception:
        log.exception("a press could not be taken, %s times before", one["tries"])
        return None
    return {
        "uid": str(press.uid),
        "outcome": press.outcome,
        "says": press.says,
        "did": press.did,
    }


def _bytes(data_url: str) -> bytes:
    """Read a data URL; what is none is no photo."""
    try:
        return b64decode(data_url.partition(",")[2], validate=True)
    except ValueError:
        return b""


def _unread(raw: Any, says: str) -> dict[str, Any]:
    uid = raw.get("uid") if isinstance(raw, dict) else None
    return {"uid": uid, "outcome": "unread", "says": says, "did": ""}


def _moment(one: Any, sent_ms: int, now: datetime) -> datetime:
    age = None if one["age"] is None else timedelta(milliseconds=one["age"])
    return pressed_at(
        said=_from_ms(one["at"]), sent=_from_ms(sent_ms), received=now, age=age
    )


def _from_ms(ms: int) -> datetime:
    """Read a phone's clock; one that shows no year of ours shows the first."""
    try:
        return datetime.fromtimestamp(ms / 1000, UTC)
    except (OverflowError, ValueError, OSError):
        return datetime.fromtimestamp(0, UTC)


def _ms(moment: datetime) -> int:
    return int(moment.timestamp() * 1000)
