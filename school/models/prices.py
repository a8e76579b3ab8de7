from django.db import models

from school.enums import LessonKind
from school.models.constraints import one_of, within


class LessonPrice(models.Model):
    """What a place in a lesson costs, in the school's currency; only ever told."""

    kind = models.CharField(max_length=10, choices=LessonKind.choices)
    minutes = models.PositiveSmallIntegerField()
    amount = models.DecimalField(max_digits=9, decimal_places=3)

    class Meta:
        constraints = [
            models.UniqueConstraint("kind", "minutes", name="lesson_price_once"),
            one_of("kind", LessonKind.values, "lesson_price_kind_known"),
            within("minutes", 10, 240, "lesson_price_minutes_in_range"),
            within("amount", 0, 99999, "lesson_price_amount_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.minutes} min"
