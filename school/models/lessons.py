from datetime import timedelta
from uuid import uuid4

from django.db import models
from django.db.models import F, Q

from school.enums import LessonKind, LessonState, Level, Work, horse_work
from school.models.arenas import Arena
from school.models.constraints import before, filled, one_of, together, within
from school.models.people import Account, Instructor
from school.models.terms import Term


class LessonSeries(models.Model):
    """A weekly lesson, at a local time that stays when the clocks change.

    What it says is what its lessons are booked as; one of them may be moved, and a
    change from a day on ends this series and begins the next (`split_from`).
    """

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=LessonKind.choices)
    work = models.CharField(max_length=10, choices=Work.choices)
    arena = models.ForeignKey(Arena, on_delete=models.PROTECT, related_name="series")
    instructor = models.ForeignKey(
        Instructor, on_delete=models.PROTECT, related_name="series"
    )
    places = models.PositiveSmallIntegerField(default=1)
    weekday = models.PositiveSmallIntegerField(help_text="0 is Monday")
    local_start = models.TimeField()
    window_from = models.TimeField(
        null=True, blank=True, help_text="Each lesson may start from then"
    )
    window_to = models.TimeField(null=True, blank=True)
    minutes = models.PositiveSmallIntegerField()
    first_date = models.DateField()
    last_date = models.DateField()
    split_from = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT
    )
    term = models.ForeignKey(
        Term, null=True, blank=True, on_delete=models.PROTECT, related_name="series"
    )
    carried_from = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="carried_to",
        help_text="The weekly lesson of an earlier term that goes on in it",
    )

    class Meta:
        verbose_name_plural = "lesson series"
        constraints = [
            filled("name", "series_name_filled"),
            one_of("kind", LessonKind.values, "series_kind_known"),
            one_of("work", Work.values, "series_work_known"),
            within("places", 1, 12, "series_places_in_range"),
            within("weekday", 0, 6, "series_on_a_weekday"),
            within("minutes", 10, 240, "series_minutes_in_range"),
            models.CheckConstraint(
                condition=Q(last_date__gte=F("first_date")),
                name="series_begins_before_it_ends",
            ),
            together("window_from", "window_to", "series_window_whole"),
            models.CheckConstraint(
                condition=Q(window_from__isnull=True)
                | Q(window_from__lte=F("local_start"), window_to__gte=F("local_start")),
                name="series_starts_in_its_window",
            ),
            models.UniqueConstraint(
                "carried_from", "term", name="series_carried_once_a_term"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SeriesException(models.Model):
    """A day on which the series is not held, with the reason (a holiday, say)."""

    series = models.ForeignKey(
        LessonSeries, on_delete=models.CASCADE, related_name="exceptions"
    )
    date = models.DateField()
    reason = models.CharField(max_length=120)

    class Meta:
        constraints = [
            models.UniqueConstraint("series", "date", name="series_exception_once"),
            filled("reason", "series_exception_reason_filled"),
        ]

    def __str__(self) -> str:
        return f"{self.date}: {self.reason}"


class Lesson(models.Model):
    """One lesson. While booked it holds its arena and instructor (see Occupancy).

    `window_from` and `window_to` bound its start where the client agreed to a
    window; both empty means the start is fixed. `time_set_at` is when a start in a
    window was settled, by a plan or by hand; its clients are told then.
    """

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    title = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=LessonKind.choices)
    work = models.CharField(max_length=10, choices=Work.choices)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    window_from = models.DateTimeField(null=True, blank=True)
    window_to = models.DateTimeField(null=True, blank=True)
    time_set_at = models.DateTimeField(null=True, blank=True)
    arena = models.ForeignKey(Arena, on_delete=models.PROTECT, related_name="lessons")
    other_arenas = models.ManyToManyField(
        Arena, blank=True, related_name="+", help_text="Where it may be moved to"
    )
    instructor = models.ForeignKey(
        Instructor, on_delete=models.PROTECT, related_name="lessons"
    )
    places = models.PositiveSmallIntegerField(default=1)
    level = models.CharField(
        max_length=12,
        choices=Level.choices,
        blank=True,
        help_text="What its riders should be at least; empty asks for none",
    )
    warm_up_min = models.PositiveSmallIntegerField(default=0)
    cool_down_min = models.PositiveSmallIntegerField(default=0)
    needs_clear = models.BooleanField(default=False)
    series = models.ForeignKey(
        LessonSeries,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="lessons",
    )
    series_date = models.DateField(
        null=True, blank=True, help_text="Its day in the series, also once it is moved"
    )
    state = models.CharField(
        max_length=10, choices=LessonState.choices, default=LessonState.BOOKED
    )
    state_at = models.DateTimeField()
    state_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    state_reason = models.CharField(max_length=200, blank=True)
    moved_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="When the school last gave it another time, outside a window",
    )
    moved_reason = models.CharField(
        max_length=200, blank=True, help_text="Why it was moved, as its clients read it"
    )
    changed_at = models.DateTimeField(help_text="When it last changed, for calendars")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            filled("title", "lesson_title_filled"),
            one_of("kind", LessonKind.values, "lesson_kind_known"),
            one_of("work", Work.values, "lesson_work_known"),
            one_of("state", LessonState.values, "lesson_state_known"),
            one_of("level", ["", *Level.values], "lesson_level_known"),
            before("starts_at", "ends_at", "lesson_begins_before_it_ends"),
            models.CheckConstraint(
                condition=Q(ends_at__lte=F("starts_at") + timedelta(hours=4)),
                name="lesson_lasts_four_hours_at_most",
            ),
            within("places", 1, 12, "lesson_places_in_range"),
            within("warm_up_min", 0, 60, "lesson_warm_up_in_range"),
            within("cool_down_min", 0, 60, "lesson_cool_down_in_range"),
            together("window_from", "window_to", "lesson_window_whole"),
            models.CheckConstraint(
                condition=Q(window_from__lte=F("starts_at"))
                & Q(window_to__gte=F("starts_at")),
                name="lesson_starts_in_its_window",
            ),
            models.CheckConstraint(
                condition=Q(time_set_at__isnull=True) | Q(window_from__isnull=False),
                name="lesson_time_set_in_a_window",
            ),
            models.CheckConstraint(
                condition=~Q(state="cancelled") | ~Q(state_reason=""),
                name="lesson_cancelled_with_a_reason",
            ),
            together("series", "series_date", "lesson_series_date"),
            models.UniqueConstraint(
                "series", "series_date", name="lesson_once_in_its_series"
            ),
        ]
        indexes = [models.Index(fields=["starts_at"], name="lesson_by_start")]

    def __str__(self) -> str:
        return self.title

    @property
    def horse_work(self) -> str:
        """What it counts as in the work of its horses."""
        return horse_work(self.kind, self.work)
