from django.db import models
from django.db.models import F, Q

from school.models.arenas import Line
from school.models.constraints import within


class SidewaysRule(models.Model):
    """How often a line moves sideways, by how much, and between which places.

    Due after so many days, or so many lessons over fences, whichever comes first;
    both are counted from `counted_from_at`.
    """

    line = models.OneToOneField(
        Line, primary_key=True, on_delete=models.CASCADE, related_name="sideways"
    )
    every_days = models.PositiveSmallIntegerField(null=True, blank=True)
    every_uses = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Lessons over fences on this line"
    )
    step_cm = models.PositiveSmallIntegerField()
    least_cm = models.PositiveIntegerField(help_text="Nearest to the long side")
    most_cm = models.PositiveIntegerField(help_text="Farthest from it")
    outward = models.BooleanField(
        default=True, help_text="Whether its next step leads away from the long side"
    )
    counted_from_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(every_days__isnull=False) | Q(every_uses__isnull=False),
                name="sideways_rule_says_how_often",
            ),
            within("every_days", 1, 90, "sideways_rule_days_in_range"),
            within("every_uses", 1, 200, "sideways_rule_uses_in_range"),
            within("step_cm", 50, 1000, "sideways_rule_step_in_range"),
            models.CheckConstraint(
                condition=Q(most_cm__gte=F("least_cm") + 50),
                name="sideways_rule_has_room",
            ),
        ]

    def __str__(self) -> str:
        return f"line {self.line_id}"
