from django.db import models
from django.db.models import Q

from school.enums import Level
from school.models.constraints import filled, one_of, together, within
from school.models.people import Account, Instructor, Rider


class LevelSigning(models.Model):
    """An instructor's word on how far a rider was, on a day; never changed after."""

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="signings")
    level = models.CharField(max_length=12, choices=Level.choices)
    highest_fence_cm = models.PositiveSmallIntegerField()
    signed_by = models.ForeignKey(
        Instructor, on_delete=models.PROTECT, related_name="signings"
    )
    signed_date = models.DateField()
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("level", Level.values, "signing_level_known"),
            within("highest_fence_cm", 0, 160, "signing_highest_fence_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.get_level_display()} for {self.rider_id}"


class RiderStop(models.Model):
    """A rider who is not to ride, until a manager lifts it.

    `not_before_date` is the first day on which it may be lifted without saying that
    it is sooner than was noted; it lifts nothing by itself.
    """

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="stops")
    from_date = models.DateField()
    not_before_date = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=200, help_text="Sensitive, as health is")
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    lifted_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            filled("reason", "rider_stop_reason_filled"),
            together("lifted_at", "lifted_by", "rider_stop_lifted_by_somebody"),
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True) | ~Q(lifted_reason=""),
                name="rider_stop_lifted_with_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(not_before_date__isnull=True)
                | Q(not_before_date__gte=models.F("from_date")),
                name="rider_stop_begins_before_it_ends",
            ),
            models.UniqueConstraint(
                fields=["rider"],
                condition=Q(lifted_at__isnull=True),
                name="rider_stop_one_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rider_id} from {self.from_date}"
