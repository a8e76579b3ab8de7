from django.db import models
from django.db.models import Q

from school.enums import RideState
from school.models.constraints import together
from school.models.horses import Horse
from school.models.lessons import Lesson
from school.models.people import Account, Rider


class Ride(models.Model):
    """A rider's place in a lesson, on a horse once one is given."""

    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, related_name="rides")
    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="rides")
    horse = models.ForeignKey(
        Horse, null=True, blank=True, on_delete=models.PROTECT, related_name="rides"
    )
    state = models.CharField(
        max_length=10, choices=RideState.choices, default=RideState.BOOKED
    )
    cancelled_at = models.DateTimeField(null=True, blank=True)
    cancelled_reason = models.CharField(max_length=200, null=True, blank=True)  # noqa: DJ001 -- set together with cancelled_at
    cancelled_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    cancelled_for_school = models.BooleanField(
        default=False, help_text="The school took the place back: it costs nothing"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("lesson", "rider", name="ride_rider_once_a_lesson"),
            models.UniqueConstraint(
                fields=["lesson", "horse"],
                condition=Q(state="booked"),
                name="ride_horse_once_a_lesson",
            ),
            together("cancelled_at", "cancelled_reason", "ride_cancelled_reason"),
            models.CheckConstraint(
                condition=Q(state="cancelled", cancelled_at__isnull=False)
                | Q(state__in=["booked", "missed"], cancelled_at__isnull=True),
                name="ride_cancelled_has_its_moment",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rider_id} in {self.lesson_id}"
