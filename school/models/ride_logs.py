from django.db import models
from django.db.models import Q

from exercises.models import ExerciseRevision
from school.enums import Happened, Went
from school.models.constraints import one_of, within
from school.models.horses import Horse
from school.models.lessons import Lesson
from school.models.people import Account, Rider
from school.models.rides import Ride


class RideLog(models.Model):
    """What a lesson rode of its grid. Never changed: a correction is a new number.

    The highest number of a lesson holds. It keeps what it speaks of: the stages as
    they were built, so that a later change of the grid does not change the past.
    `stage` counts from 1, 0 where the grid was not jumped; `passes` are those at
    that stage. `measured` are gaps that were built otherwise: `{"gap": 2, "cm":
    640}`, the gap before that element. `token` is the form's, so that a second tap
    is the same log.
    """

    lesson = models.ForeignKey(Lesson, on_delete=models.PROTECT, related_name="logs")
    number = models.PositiveSmallIntegerField()
    revision = models.ForeignKey(
        ExerciseRevision, on_delete=models.PROTECT, related_name="+"
    )
    stages = models.JSONField()
    stage = models.PositiveSmallIntegerField()
    passes = models.PositiveSmallIntegerField()
    measured = models.JSONField(default=list, blank=True)
    note = models.CharField(max_length=400, blank=True)
    token = models.UUIDField(unique=True)
    logged_at = models.DateTimeField()
    logged_by = models.ForeignKey(
        Account, null=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("lesson", "number", name="ride_log_number_once"),
            within("number", 1, 1000, "ride_log_number_from_1"),
            within("stage", 0, 20, "ride_log_stage_in_range"),
            within("passes", 0, 20, "ride_log_passes_in_range"),
            models.CheckConstraint(
                condition=~Q(stage=0) | Q(passes=0), name="ride_log_passes_of_a_stage"
            ),
        ]

    def __str__(self) -> str:
        return f"log {self.number} of {self.lesson_id}"


class RiddenRide(models.Model):
    """How one horse and rider went, as the log has it."""

    log = models.ForeignKey(RideLog, on_delete=models.CASCADE, related_name="ridden")
    ride = models.ForeignKey(Ride, on_delete=models.PROTECT, related_name="ridden")
    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="ridden")
    horse = models.ForeignKey(Horse, on_delete=models.PROTECT, related_name="ridden")
    went = models.CharField(max_length=12, choices=Went.choices)
    passes = models.PositiveSmallIntegerField(help_text="At the furthest stage")
    quarter_efforts = models.PositiveSmallIntegerField(
        help_text="Jumping efforts in all, in quarters of one"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("log", "ride", name="ridden_ride_once_a_log"),
            models.UniqueConstraint("log", "horse", name="ridden_horse_once_a_log"),
            one_of("went", Went.values, "ridden_went_known"),
            within("passes", 0, 20, "ridden_passes_in_range"),
            models.CheckConstraint(
                condition=~Q(went="not-ridden") | Q(passes=0, quarter_efforts=0),
                name="ridden_nothing_without_riding",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.ride_id} in {self.log_id}"


class RideNote(models.Model):
    """What happened to a horse at an element.

    `element` counts from 1 in the row of the last stage, in the order ridden.
    """

    ridden = models.ForeignKey(
        RiddenRide, on_delete=models.CASCADE, related_name="notes"
    )
    what = models.CharField(max_length=20, choices=Happened.choices)
    element = models.PositiveSmallIntegerField(null=True, blank=True)
    often = models.BooleanField(default=False, help_text="More than once")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["ridden", "what", "element"], name="ride_note_once_an_element"
            ),
            models.UniqueConstraint(
                fields=["ridden", "what"],
                condition=Q(element__isnull=True),
                name="ride_note_once_without_element",
            ),
            one_of("what", Happened.values, "ride_note_what_known"),
            within("element", 1, 20, "ride_note_element_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.what} at {self.element}"
