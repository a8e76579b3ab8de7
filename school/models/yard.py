from uuid import uuid4

from django.db import models
from django.db.models import F, Q

from school.enums import YardKind
from school.models.arenas import Arena, ArenaClosure, Line
from school.models.constraints import before, one_of, within
from school.models.people import Groundsperson


class YardRule(models.Model):
    """Work of the ground that comes again every week on one day, until it is ended."""

    kind = models.CharField(max_length=12, choices=YardKind.choices)
    arena = models.ForeignKey(
        Arena, on_delete=models.CASCADE, related_name="yard_rules"
    )
    weekday = models.PositiveSmallIntegerField(help_text="Monday is 0")
    local_start = models.TimeField(help_text="By the school's clock")
    minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Empty: as long as the school says"
    )
    since_date = models.DateField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("kind", [YardKind.HARROW.value], "yard_rule_kind_known"),
            within("weekday", 0, 6, "yard_rule_weekday_known"),
            within("minutes", 5, 240, "yard_rule_minutes_in_range"),
            models.UniqueConstraint(
                fields=["kind", "arena", "weekday", "local_start"],
                condition=Q(ended_at__isnull=True),
                name="yard_rule_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.arena_id}, day {self.weekday}"


class YardWork(models.Model):
    """Work of the ground at a time: who, from when to when, and whether it is done.

    What holds its arena (a harrow) does so by a closure, so that the same rule that
    keeps two lessons apart keeps lessons out of it.
    """

    uid = models.UUIDField(default=uuid4, unique=True)
    kind = models.CharField(max_length=12, choices=YardKind.choices)
    date = models.DateField(help_text="By the school's calendar")
    arena = models.ForeignKey(Arena, on_delete=models.CASCADE, related_name="yard_work")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    who = models.ForeignKey(
        Groundsperson, null=True, blank=True, on_delete=models.SET_NULL
    )
    rule = models.ForeignKey(
        YardRule,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="works",
    )
    closure = models.OneToOneField(
        ArenaClosure,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="yard_work",
    )
    line = models.ForeignKey(
        Line,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="yard_work",
        help_text="Which moves sideways",
    )
    to_cm = models.PositiveIntegerField(
        null=True, blank=True, help_text="Where to, from the long side"
    )
    stands = models.JSONField(
        default=list, blank=True, help_text="What is on the line then, as planned"
    )
    version = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField()
    called_off_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "yard work"
        constraints = [
            one_of("kind", YardKind.values, "yard_work_kind_known"),
            before("starts_at", "ends_at", "yard_work_begins_before_it_ends"),
            models.UniqueConstraint(
                fields=["kind", "arena", "starts_at"],
                condition=Q(called_off_at__isnull=True),
                name="yard_work_once",
            ),
            models.UniqueConstraint(
                fields=["rule", "date"], name="yard_work_once_a_day_of_its_rule"
            ),
            models.CheckConstraint(
                condition=~Q(kind=YardKind.HARROW)
                | Q(called_off_at__isnull=True, closure__isnull=False)
                | Q(called_off_at__isnull=False, closure__isnull=True),
                name="yard_work_harrow_holds_its_arena",
            ),
            models.CheckConstraint(
                condition=Q(
                    kind=YardKind.SIDEWAYS, line__isnull=False, to_cm__isnull=False
                )
                | (
                    ~Q(kind=YardKind.SIDEWAYS)
                    & Q(line__isnull=True, to_cm__isnull=True)
                ),
                name="yard_work_sideways_has_its_line",
            ),
            models.UniqueConstraint(
                fields=["line"],
                condition=Q(called_off_at__isnull=True, done_at__isnull=True),
                name="yard_work_line_moves_once",
            ),
            models.CheckConstraint(
                condition=Q(done_at__isnull=True)
                | Q(started_at__isnull=False, done_at__gte=F("started_at")),
                name="yard_work_started_before_done",
            ),
            models.CheckConstraint(
                condition=Q(called_off_at__isnull=True) | Q(done_at__isnull=True),
                name="yard_work_called_off_is_not_done",
            ),
        ]
        indexes = [models.Index(fields=["date"], name="yard_work_by_day")]

    def __str__(self) -> str:
        return f"{self.what}, {self.date}"

    @property
    def what(self) -> str:
        """What is done, in a word or two."""
        words = str(self.get_kind_display())
        return words if self.line is None else f"{words} sideways: {self.line.name}"
