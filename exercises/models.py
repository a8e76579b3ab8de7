from django.db import models
from django.db.models import F, Q


class Exercise(models.Model):
    """A grid exercise by name; what it is built of stands in its revisions."""

    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    own = models.BooleanField(
        default=False, help_text="Changed or made by the school: updates leave it alone"
    )
    current = models.ForeignKey(
        "ExerciseRevision",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    library = models.ForeignKey(
        "ExerciseRevision",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The library's newest; beside the school's own where it has one",
    )
    kept = models.ForeignKey(
        "ExerciseRevision",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The library's that the school has looked at and not taken",
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="exercise_name_filled"),
            models.CheckConstraint(
                condition=Q(own=True) | Q(library=None) | Q(current=F("library")),
                name="exercise_is_the_librarys_unless_own",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def waiting(self) -> bool:
        """Whether the library has a state the school has not looked at."""
        return (
            self.own
            and self.library_id is not None
            and self.library_id not in {self.kept_id, self.current_id}
        )


class ExerciseRevision(models.Model):
    """One state of an exercise, never changed: a past lesson keeps the one it used.

    `spec` is the exercise as data, in the form `exercises.geometry.spec` reads.
    """

    exercise = models.ForeignKey(
        Exercise, on_delete=models.CASCADE, related_name="revisions"
    )
    number = models.PositiveIntegerField()
    spec = models.JSONField()
    made_at = models.DateTimeField()
    made_by = models.CharField(max_length=150, help_text="Who, or the library")

    class Meta:
        constraints = [
            models.UniqueConstraint("exercise", "number", name="revision_number_once"),
            models.CheckConstraint(condition=Q(number__gte=1), name="revision_from_1"),
        ]

    def __str__(self) -> str:
        return f"{self.exercise_id} revision {self.number}"
