from django.db import models

from school.models.constraints import before, one_of


class Occupancy(models.Model):
    """Who or what is held, from when to when: written by the database alone.

    Triggers on lessons, rides, closures, horses' states and absences keep these rows,
    and refuse two that overlap for one arena, horse or person (see guards.py). An
    empty `taken_to` has no end.
    """

    what = models.CharField(max_length=8)
    which = models.BigIntegerField()
    taken_from = models.DateTimeField()
    taken_to = models.DateTimeField(null=True)
    source = models.CharField(max_length=8)
    source_id = models.BigIntegerField()
    lesson_id = models.BigIntegerField(null=True)

    class Meta:
        verbose_name_plural = "occupancies"
        constraints = [
            one_of("what", ["arena", "horse", "person"], "occupancy_what_known"),
            one_of(
                "source",
                ["lesson", "ride", "closure", "state", "absence"],
                "occupancy_source_known",
            ),
            before("taken_from", "taken_to", "occupancy_begins_before_it_ends"),
        ]
        indexes = [
            models.Index(
                fields=["what", "which", "taken_from"], name="occupancy_by_thing"
            ),
            models.Index(fields=["source", "source_id"], name="occupancy_by_source"),
            models.Index(fields=["lesson_id"], name="occupancy_by_lesson"),
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.which}"
