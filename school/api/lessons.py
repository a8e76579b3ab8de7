from datetime import date
from typing import Any, cast

from django.http import Http404
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from school.api.access import StaffReadManagerWrite
from school.models import Account, Arena, Lesson
from school.queries.lessons import booked_rides, lesson_with_all, lessons_of_day
from school.queries.schools import school_zone
from school.services.lessons import cancel_lesson, move_lesson


def lesson_as_data(lesson: Lesson) -> dict[str, Any]:
    """Return a lesson without anything sensitive."""
    return {
        "id": lesson.pk,
        "title": lesson.title,
        "kind": lesson.kind,
        "work": lesson.work,
        "state": lesson.state,
        "starts_at": lesson.starts_at,
        "ends_at": lesson.ends_at,
        "arena": lesson.arena.name,
        "instructor": lesson.instructor.person.first_name,
        "places": lesson.places,
        "horses": [one.horse.name for one in booked_rides(lesson) if one.horse],
        "version": lesson.version,
    }


class DayQuery(serializers.Serializer[Any]):
    date = serializers.DateField()


class Change(serializers.Serializer[Any]):
    version = serializers.IntegerField()
    starts_at = serializers.DateTimeField(required=False)
    arena = serializers.PrimaryKeyRelatedField(
        queryset=Arena.objects.order_by("pk"), required=False
    )
    cancel_reason = serializers.CharField(max_length=200, required=False)
    overrule = serializers.CharField(max_length=400, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("starts_at" in attrs) == ("cancel_reason" in attrs):
            raise serializers.ValidationError(
                {"starts_at": "Give a new start, or a reason to cancel, not both."}
            )
        return attrs


class LessonList(APIView):
    permission_classes = [StaffReadManagerWrite]

    def get(self, request: Request) -> Response:
        query = DayQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        day = cast("date", query.validated_data["date"])
        lessons = lessons_of_day(day, school_zone())
        return Response({"lessons": [lesson_as_data(one) for one in lessons]})


class LessonDetail(APIView):
    permission_classes = [StaffReadManagerWrite]

    def _lesson(self, pk: int) -> Lesson:
        lesson = lesson_with_all(pk)
        if lesson is None:
            raise Http404
        return lesson

    def get(self, request: Request, pk: int) -> Response:
        return Response(lesson_as_data(self._lesson(pk)))

    def patch(self, request: Request, pk: int) -> Response:
        lesson = self._lesson(pk)
        change = Change(data=request.data)
        change.is_valid(raise_exception=True)
        data, by = change.validated_data, cast("Account", request.user)
        if "cancel_reason" in data:
            cancel_lesson(
                lesson=lesson, reason=data["cancel_reason"], by=by, now=timezone.now()
            )
        else:
            move_lesson(
                lesson=lesson,
                starts_at=data["starts_at"],
                arena=data.get("arena"),
                version=data["version"],
                by=by,
                now=timezone.now(),
                overrule=data.get("overrule", ""),
            )
        return Response(lesson_as_data(self._lesson(pk)))
