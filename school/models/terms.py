from django.db import models
from django.db.models import F, Q

from school.models.constraints import filled


class Term(models.Model):
    """A stretch of weeks that is booked, and paid, as one; no two overlap."""

    name = models.CharField(max_length=80, unique=True)
    first_date = models.DateField()
    last_date = models.DateField()

    class Meta:
        constraints = [
            filled("name", "term_name_filled"),
            models.CheckConstraint(
                condition=Q(last_date__gte=F("first_date")),
                name="term_begins_before_it_ends",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TermBreak(models.Model):
    """Days of a term without weekly lessons: half-term, a show, staff training."""

    term = models.ForeignKey(Term, on_delete=models.CASCADE, related_name="breaks")
    name = models.CharField(max_length=80)
    first_date = models.DateField()
    last_date = models.DateField()

    class Meta:
        constraints = [
            filled("name", "term_break_name_filled"),
            models.CheckConstraint(
                condition=Q(last_date__gte=F("first_date")),
                name="term_break_begins_before_it_ends",
            ),
            models.UniqueConstraint("term", "first_date", name="term_break_once"),
        ]

    def __str__(self) -> str:
        return self.name
