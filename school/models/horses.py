from django.db import models
from django.db.models import F, Q

from school.enums import HorseStateKind, Level
from school.models.constraints import before, filled, one_of, within


class Horse(models.Model):
    """A horse or pony and its limits.

    `bookable_from_date` is the day it reaches the school's least age; the
    database refuses a ride before it.
    """

    name = models.CharField(max_length=60, unique=True)
    height_cm = models.PositiveSmallIntegerField(help_text="At the withers")
    canter_stride_cm = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Measured; empty where it is estimated"
    )
    weight_kg = models.PositiveSmallIntegerField()
    born_date = models.DateField()
    bookable_from_date = models.DateField()
    level = models.CharField(max_length=12, choices=Level.choices)
    highest_fence_cm = models.PositiveSmallIntegerField()
    rest_min = models.PositiveSmallIntegerField(
        default=30, help_text="Between two lessons"
    )
    max_lessons = models.PositiveSmallIntegerField(default=3, help_text="A day")
    max_minutes = models.PositiveSmallIntegerField(default=180, help_text="A day")
    notes = models.TextField(blank=True)

    class Meta:
        constraints = [
            filled("name", "horse_name_filled"),
            one_of("level", Level.values, "horse_level_known"),
            within("height_cm", 70, 200, "horse_height_in_range"),
            within("canter_stride_cm", 150, 450, "horse_stride_in_range"),
            within("weight_kg", 80, 1200, "horse_weight_in_range"),
            within("highest_fence_cm", 0, 160, "horse_highest_fence_in_range"),
            within("max_minutes", 0, 600, "horse_max_minutes_in_range"),
            within("max_lessons", 0, 10, "horse_max_lessons_in_range"),
            models.CheckConstraint(
                condition=Q(bookable_from_date__gte=F("born_date")),
                name="horse_bookable_after_birth",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class HorseState(models.Model):
    """A time in which a horse is not to be ridden; an open end lasts until set."""

    horse = models.ForeignKey(Horse, on_delete=models.CASCADE, related_name="states")
    kind = models.CharField(max_length=10, choices=HorseStateKind.choices)
    state_from = models.DateTimeField()
    state_to = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200)

    class Meta:
        constraints = [
            one_of("kind", HorseStateKind.values, "horse_state_kind_known"),
            before("state_from", "state_to", "horse_state_begins_before_it_ends"),
            filled("reason", "horse_state_reason_filled"),
        ]

    def __str__(self) -> str:
        return f"{self.horse_id}: {self.kind}"


class HorseDayOff(models.Model):
    horse = models.ForeignKey(Horse, on_delete=models.CASCADE, related_name="days_off")
    weekday = models.PositiveSmallIntegerField(help_text="0 is Monday")

    class Meta:
        constraints = [
            models.UniqueConstraint("horse", "weekday", name="horse_day_off_once"),
            within("weekday", 0, 6, "horse_day_off_is_a_weekday"),
        ]

    def __str__(self) -> str:
        return f"{self.horse_id}: {self.weekday}"
