from django.db import models
from django.db.models import F, Q

from school.models.constraints import before, filled, together, within
from school.models.people import Client
from school.models.rides import Ride


class LessonPack(models.Model):
    """Lessons paid in advance, to be ridden until a day."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="packs")
    name = models.CharField(max_length=80)
    lessons = models.PositiveSmallIntegerField()
    bought_date = models.DateField()
    expires_date = models.DateField(help_text="The last day it pays for")
    token = models.UUIDField(
        null=True, unique=True, help_text="Of the form, so that two presses make one"
    )

    class Meta:
        constraints = [
            filled("name", "pack_name_filled"),
            within("lessons", 1, 100, "pack_lessons_in_range"),
            before("bought_date", "expires_date", "pack_bought_before_it_expires"),
        ]

    def __str__(self) -> str:
        return self.name


class PackUse(models.Model):
    """A ride that a pack pays for."""

    pack = models.ForeignKey(LessonPack, on_delete=models.PROTECT, related_name="uses")
    ride = models.OneToOneField(Ride, on_delete=models.CASCADE, related_name="pack_use")
    used_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.ride_id} of {self.pack_id}"


class MakeUpCredit(models.Model):
    """A lesson to be made up for, until a day; `used_for` is the ride it paid."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="credits")
    given_for = models.OneToOneField(
        Ride, null=True, blank=True, on_delete=models.PROTECT, related_name="credit"
    )
    reason = models.CharField(max_length=120)
    given_at = models.DateTimeField()
    expires_date = models.DateField(help_text="The last day it pays for")
    used_for = models.OneToOneField(
        Ride,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="paid_by_credit",
    )
    used_at = models.DateTimeField(null=True, blank=True)
    token = models.UUIDField(
        null=True, unique=True, help_text="Of the form, so that two presses make one"
    )

    class Meta:
        constraints = [
            filled("reason", "credit_reason_filled"),
            together("used_for", "used_at", "credit_use_whole"),
            models.CheckConstraint(
                condition=~Q(given_for=F("used_for")),
                name="credit_pays_another_ride",
            ),
        ]

    def __str__(self) -> str:
        return self.reason
