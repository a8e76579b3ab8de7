from django.db import models

from exercises.models import ExerciseRevision
from school.enums import Tradition
from school.models.constraints import filled, one_of
from school.models.lessons import Lesson
from school.models.people import Account


class LessonGrid(models.Model):
    """The grid of a lesson: the revision used, and the row as fitted to its horses.

    `start` and `end` are elements in the day file's form; `fitted` keeps what
    the fit was made from and found, as shown on the build sheet. `ground` names
    what lengthens or shortens distances that day. `changes` are the changes made
    for this lesson alone, oldest first, each with the exercise as it was then;
    without any, the revision is ridden as it is.
    """

    lesson = models.OneToOneField(
        Lesson, primary_key=True, on_delete=models.CASCADE, related_name="grid"
    )
    revision = models.ForeignKey(ExerciseRevision, on_delete=models.PROTECT)
    tradition = models.CharField(max_length=20, choices=Tradition.choices)
    ground = models.JSONField(default=list, blank=True)
    changes = models.JSONField(default=list, blank=True)
    start = models.JSONField()
    end = models.JSONField()
    fitted = models.JSONField(default=dict)
    approach_cm = models.PositiveIntegerField()
    runout_cm = models.PositiveIntegerField()
    may_mirror = models.BooleanField(default=True)

    class Meta:
        constraints = [
            one_of("tradition", Tradition.values, "lesson_grid_tradition_known")
        ]

    def __str__(self) -> str:
        return f"grid of {self.lesson_id}"


class GridOverride(models.Model):
    """A verdict the instructor overruled, with name and reason.

    It counts for the verdict as it was said; what was said of an earlier state of
    the grid is kept, and counts again when that state comes back.
    """

    grid = models.ForeignKey(
        LessonGrid, on_delete=models.CASCADE, related_name="overrides"
    )
    subject = models.CharField(max_length=120)
    says = models.CharField(max_length=400)
    reason = models.CharField(max_length=400)
    by = models.ForeignKey(Account, on_delete=models.PROTECT)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "grid", "subject", "says", name="grid_override_once"
            ),
            filled("reason", "grid_override_with_a_reason"),
        ]

    def __str__(self) -> str:
        return self.subject
