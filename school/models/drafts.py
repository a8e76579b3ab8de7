from django.db import models
from django.db.models import F, Q

from exercises.models import Exercise, ExerciseRevision
from school.models.constraints import filled, within
from school.models.lessons import Lesson
from school.models.people import Account


class GridDraft(models.Model):
    """A grid somebody is making: every step of it, so that nothing typed is lost.

    It began from `revision` of `exercise`, or from nothing; for a lesson it began
    from the lesson's grid. `steps` are exercises as data with the words of the
    change that led there, oldest first; `at` is the one that stands, so that the
    ones after it can be redone. `log` says in words what the last versions
    changed, for whoever has an older one before them.
    """

    account = models.ForeignKey(
        Account, on_delete=models.CASCADE, related_name="grid_drafts"
    )
    name = models.CharField(max_length=120)
    exercise = models.ForeignKey(
        Exercise, null=True, blank=True, on_delete=models.CASCADE
    )
    revision = models.ForeignKey(
        ExerciseRevision, null=True, blank=True, on_delete=models.CASCADE
    )
    lesson = models.ForeignKey(Lesson, null=True, blank=True, on_delete=models.CASCADE)
    version = models.PositiveIntegerField(default=1)
    steps = models.JSONField()
    at = models.PositiveSmallIntegerField(default=0)
    log = models.JSONField(default=list)
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            filled("name", "grid_draft_name_filled"),
            within("version", 1, 2_000_000_000, "grid_draft_version_from_1"),
            models.UniqueConstraint(
                "account",
                "exercise",
                condition=Q(lesson__isnull=True),
                name="grid_draft_once_an_exercise",
            ),
            models.UniqueConstraint(
                "account", "lesson", name="grid_draft_once_a_lesson"
            ),
            models.CheckConstraint(
                condition=Q(revision__isnull=True) | Q(exercise__isnull=False),
                name="grid_draft_revision_of_its_exercise",
            ),
            models.CheckConstraint(
                condition=Q(changed_at__gte=F("made_at")),
                name="grid_draft_changed_after_it_began",
            ),
        ]

    def __str__(self) -> str:
        return self.name
