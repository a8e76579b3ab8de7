from django.db import models

from school.models.constraints import before, filled
from school.models.people import Instructor


class InstructorAbsence(models.Model):
    """A time in which an instructor is not to be had, held as by a lesson."""

    instructor = models.ForeignKey(
        Instructor, on_delete=models.CASCADE, related_name="absences"
    )
    absent_from = models.DateTimeField()
    absent_to = models.DateTimeField()
    reason = models.CharField(max_length=120, help_text="For the manager alone")

    class Meta:
        constraints = [
            before("absent_from", "absent_to", "absence_begins_before_it_ends"),
            filled("reason", "absence_reason_filled"),
        ]

    def __str__(self) -> str:
        return f"{self.instructor_id}: {self.reason}"
