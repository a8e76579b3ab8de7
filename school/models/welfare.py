from django.db import models

from school.models.constraints import filled, one_of, within
from school.models.horses import Horse
from school.models.lessons import Lesson
from school.models.people import Account, Rider
from school.welfare.rules import RULE


class WelfareOverride(models.Model):
    """A rule of a horse's work that a lesson goes against, by whom and why.

    It counts up to the figure it was given for; a worse one needs its own reason.
    """

    lesson = models.ForeignKey(
        Lesson, on_delete=models.PROTECT, related_name="welfare_overrides"
    )
    horse = models.ForeignKey(
        Horse, on_delete=models.PROTECT, related_name="welfare_overrides"
    )
    rider = models.ForeignKey(
        Rider, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    rule = models.CharField(max_length=20)
    figure = models.FloatField()
    limit = models.FloatField()
    reason = models.CharField(max_length=400)
    by = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "lesson", "horse", "rule", name="welfare_override_once"
            ),
            one_of("rule", list(RULE), "welfare_override_rule_known"),
            filled("reason", "welfare_override_with_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.rule} in {self.lesson_id}"


class DayHeat(models.Model):
    """How hot a day is, or is foretold to be, at its worst hour."""

    date = models.DateField(unique=True)
    temperature_c = models.SmallIntegerField()
    humidity_pct = models.PositiveSmallIntegerField()
    noted_by = models.ForeignKey(
        Account, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    noted_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "heat of days"
        constraints = [
            within("temperature_c", -40, 55, "heat_temperature_in_range"),
            within("humidity_pct", 0, 100, "heat_humidity_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.date}: {self.temperature_c} °C, {self.humidity_pct} %"
