from django.db import models
from django.db.models import Q

from school.enums import Liking
from school.models.constraints import one_of, within
from school.models.horses import Horse
from school.models.people import Account, Rider


class RiderHorse(models.Model):
    """What is noted of a rider and a horse: a wish, or never again and why."""

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="likings")
    horse = models.ForeignKey(Horse, on_delete=models.CASCADE, related_name="likings")
    liking = models.CharField(max_length=10, choices=Liking.choices)
    reason = models.CharField(max_length=200, blank=True)
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("rider", "horse", name="rider_horse_once"),
            one_of("liking", Liking.values, "rider_horse_liking_known"),
            models.CheckConstraint(
                condition=~Q(liking="never") | ~Q(reason=""),
                name="rider_horse_never_has_its_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.liking}: {self.horse_id} for {self.rider_id}"


class RiderConfidence(models.Model):
    """How confident a rider is, from 1 (timid) to 5; without a row, 3."""

    rider = models.OneToOneField(
        Rider, primary_key=True, on_delete=models.CASCADE, related_name="confidence"
    )
    confidence = models.PositiveSmallIntegerField()
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [within("confidence", 1, 5, "rider_confidence_in_range")]

    def __str__(self) -> str:
        return f"{self.rider_id}: {self.confidence}"
