from uuid import uuid4

from django.db import models
from django.db.models import F, Q

from school.models import Account, Arena, Groundsperson, Lesson, Line, Term, YardWork


class DayPlan(models.Model):
    """A plan of one day, as made: the document it was made from, and the plan file.

    A plan whose fingerprint no longer fits the day is out of date. At most one
    plan of a day is published.
    """

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        PUBLISHED = "published", "Published"
        REPLACED = "replaced", "Replaced"

    date = models.DateField()
    version = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    fingerprint = models.CharField(max_length=64)
    document = models.JSONField()
    plan = models.JSONField()
    status = models.CharField(max_length=10)
    objective_s = models.PositiveIntegerField()
    bound_s = models.PositiveIntegerField()
    reset_s = models.PositiveIntegerField()
    as_booked_reset_s = models.PositiveIntegerField(null=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Account, null=True, on_delete=models.SET_NULL)
    published_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("date", "version", name="day_plan_version_once"),
            models.UniqueConstraint(
                fields=["date"],
                condition=Q(state="published"),
                name="day_plan_one_published",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "published", "replaced"]),
                name="day_plan_state_known",
            ),
            models.CheckConstraint(
                condition=Q(status__in=["proved", "stopped", "impossible"]),
                name="day_plan_status_known",
            ),
            models.CheckConstraint(
                condition=Q(bound_s__lte=F("objective_s")),
                name="day_plan_bound_below_objective",
            ),
            models.CheckConstraint(
                condition=~Q(status="proved") | Q(bound_s=F("objective_s")),
                name="day_plan_proved_is_tight",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.date} version {self.version}"


class PlanRun(models.Model):
    """A search asked for: what it is for, how far it is, and what came of it.

    A worker takes it up and keeps its heartbeat; one whose heartbeat has stopped
    is taken up again. Of one day at most one of a kind is under way.
    """

    class Kind(models.TextChoices):
        ORDER = "order", "Order the day"
        REPLAN = "replan", "Order what is left of the day"
        WHAT_IF = "what-if", "What if"
        MATCH = "match", "Horses for the riders of the day"
        TRY_TERM = "try-term", "Try how the weekly lessons go on"
        BOOK_TERM = "book-term", "Book what goes on, and tell the clients"

    class State(models.TextChoices):
        QUEUED = "queued", "Queued"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        STOPPED = "stopped", "Stopped"
        FAILED = "failed", "Failed"

    date = models.DateField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    term = models.ForeignKey(
        Term,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
        help_text="Into which weekly lessons are carried; its first day is the date",
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.QUEUED)
    seconds = models.PositiveSmallIntegerField(
        help_text="How long it may search at most"
    )
    fingerprint = models.CharField(max_length=64, blank=True)
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        Account, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    attempt = models.PositiveSmallIntegerField(default=0)
    best_s = models.PositiveIntegerField(null=True, blank=True)
    bound_s = models.PositiveIntegerField(null=True, blank=True)
    tried = models.PositiveSmallIntegerField(
        default=0, help_text="Days tried, riders of a match, weekly lessons"
    )
    to_try = models.PositiveSmallIntegerField(default=0)
    keep = models.JSONField(
        default=list,
        blank=True,
        help_text="Lessons that are to stay, rides with horses, or weekly lessons",
    )
    stop_asked_at = models.DateTimeField(null=True, blank=True)
    plan = models.ForeignKey(
        DayPlan, null=True, blank=True, on_delete=models.SET_NULL, related_name="runs"
    )
    result = models.JSONField(null=True, blank=True)
    says = models.TextField(blank=True, help_text="Why it failed, or what it found")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["date", "kind"],
                condition=Q(state__in=["queued", "running"]),
                name="plan_run_one_under_way",
            ),
            models.CheckConstraint(
                condition=Q(
                    kind__in=[
                        "order",
                        "replan",
                        "what-if",
                        "match",
                        "try-term",
                        "book-term",
                    ]
                ),
                name="plan_run_kind_known",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["try-term", "book-term"], term__isnull=False)
                | (~Q(kind__in=["try-term", "book-term"]) & Q(term__isnull=True)),
                name="plan_run_of_a_term_names_it",
            ),
            models.CheckConstraint(
                condition=Q(
                    state__in=["queued", "running", "done", "stopped", "failed"]
                ),
                name="plan_run_state_known",
            ),
            models.CheckConstraint(
                condition=~Q(state="running")
                | Q(started_at__isnull=False, heartbeat_at__isnull=False),
                name="plan_run_running_has_a_heartbeat",
            ),
            models.CheckConstraint(
                condition=(
                    ~Q(state__in=["queued", "running"]) | Q(ended_at__isnull=True)
                )
                & (
                    ~Q(state__in=["done", "stopped", "failed"])
                    | Q(ended_at__isnull=False)
                ),
                name="plan_run_ended_says_when",
            ),
            models.CheckConstraint(
                condition=~Q(state="failed") | ~Q(says=""),
                name="plan_run_failed_says_why",
            ),
            models.CheckConstraint(
                condition=Q(best_s__isnull=True)
                | Q(bound_s__isnull=True)
                | Q(bound_s__lte=F("best_s")),
                name="plan_run_bound_below_best",
            ),
            models.CheckConstraint(
                condition=Q(seconds__gte=1, seconds__lte=200),
                name="plan_run_seconds_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.date}"

    @property
    def under_way(self) -> bool:
        """Whether it waits for a worker, or one is at it."""
        return self.state in {self.State.QUEUED, self.State.RUNNING}


class PlannedLesson(models.Model):
    plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="lessons")
    lesson = models.ForeignKey(Lesson, on_delete=models.CASCADE, related_name="planned")
    arena = models.ForeignKey(Arena, on_delete=models.PROTECT, related_name="+")
    line = models.ForeignKey(
        Line, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    starts_at = models.DateTimeField()
    offset_cm = models.IntegerField(null=True, blank=True)
    mirrored = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint("plan", "lesson", name="planned_lesson_once"),
            models.CheckConstraint(
                condition=Q(line__isnull=True, offset_cm__isnull=True)
                | Q(line__isnull=False, offset_cm__isnull=False),
                name="planned_lesson_placed_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lesson_id} in plan {self.plan_id}"


class Changeover(models.Model):
    """What must be done on a line, before a lesson mostly, and whether it was.

    Before a harrow, and at the end of the day, what stands is taken off. `uid`
    belongs to the gap (line, lesson before, lesson after), so a calendar keeps one
    entry for it from plan to plan.
    """

    class Purpose(models.TextChoices):
        LESSON = "lesson", "For a lesson"
        WORK = "work", "Before work of the ground"
        EVENING = "evening", "Evening strip"

    plan = models.ForeignKey(
        DayPlan, on_delete=models.CASCADE, related_name="changeovers"
    )
    uid = models.UUIDField(default=uuid4)
    purpose = models.CharField(
        max_length=8, choices=Purpose.choices, default=Purpose.LESSON
    )
    lesson = models.ForeignKey(
        Lesson,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="changeovers",
    )
    before_work = models.ForeignKey(
        YardWork,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="changeovers",
    )
    after_lesson = models.ForeignKey(
        Lesson, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="changeovers")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    seconds = models.PositiveIntegerField()
    who = models.ForeignKey(
        Groundsperson, null=True, blank=True, on_delete=models.SET_NULL
    )
    started_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("plan", "uid", name="changeover_once_a_plan"),
            models.CheckConstraint(
                condition=Q(
                    purpose="lesson", lesson__isnull=False, before_work__isnull=True
                )
                | Q(purpose="work", lesson__isnull=True, before_work__isnull=False)
                | Q(purpose="evening", lesson__isnull=True, before_work__isnull=True),
                name="changeover_has_its_purpose",
            ),
            models.CheckConstraint(
                condition=Q(starts_at__lt=F("ends_at")),
                name="changeover_begins_before_it_ends",
            ),
            models.CheckConstraint(
                condition=Q(done_at__isnull=True)
                | Q(started_at__isnull=False, done_at__gte=F("started_at")),
                name="changeover_started_before_done",
            ),
        ]

    def __str__(self) -> str:
        return f"before {self.title} on {self.line_id}"

    @property
    def title(self) -> str:
        """What it is for, in a word or two: the lesson by its title."""
        if self.lesson is not None:
            return self.lesson.title
        if self.before_work is not None:
            return self.before_work.get_kind_display().lower()
        return "the evening"

    @property
    def heading(self) -> str:
        """What it is called where it stands for itself."""
        if self.purpose == self.Purpose.EVENING:
            return "Evening strip"
        return f"Changeover {self.before_or_for} {self.title}"

    @property
    def before_or_for(self) -> str:
        """The word between a changeover and its title."""
        return "before" if self.before_work_id else "for"

    @property
    def work(self) -> tuple[int, str]:
        """What is the same work in every plan: the line, and what it is for."""
        return self.line_id, f"{self.purpose} {self.lesson_id or self.before_work_id}"


class ChangeoverMove(models.Model):
    """One step of a changeover, in walking order; ticked when done."""

    class Do(models.TextChoices):
        KEEP = "keep", "Keep"
        SHIFT = "shift", "Shift"
        BUILD = "build", "Build"
        STRIP = "strip", "Strip"
        CHANGE = "change", "Change"

    changeover = models.ForeignKey(
        Changeover, on_delete=models.CASCADE, related_name="moves"
    )
    position = models.PositiveSmallIntegerField()
    do = models.CharField(max_length=6, choices=Do.choices)
    was = models.JSONField(null=True, blank=True)
    now = models.JSONField(null=True, blank=True)
    seconds = models.DecimalField(max_digits=10, decimal_places=2)
    ticked_at = models.DateTimeField(null=True, blank=True)
    ticked_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "changeover", "position", name="move_position_once"
            ),
            models.CheckConstraint(
                condition=Q(do__in=["keep", "shift", "build", "strip", "change"]),
                name="move_do_known",
            ),
            models.CheckConstraint(
                condition=~Q(do="build") | Q(was__isnull=True),
                name="move_build_from_nothing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position}. {self.do}"


class Press(models.Model):
    """One press on the reset list, from a phone or a form, and what became of it.

    A phone makes `uid` when the button is pressed and sends it until it is
    answered; so often as it comes, it is taken once. What can't be done any more
    is kept with its reason.
    """

    class Does(models.TextChoices):
        START = "start", "Started"
        DONE = "done", "Done"
        TICK = "tick", "Ticked"
        UNTICK = "untick", "Tick taken back"
        TROUBLE = "trouble", "Trouble"
        PHOTO = "photo", "Photo"

    class Outcome(models.TextChoices):
        TAKEN = "taken", "Taken"
        ALREADY = "already", "It was so already"
        KEPT = "kept", "Kept as a note"

    uid = models.UUIDField(unique=True)
    phone = models.UUIDField(null=True, blank=True, help_text="None from a form")
    number = models.PositiveBigIntegerField(help_text="In the order of its phone")
    date = models.DateField(help_text="Of the list it was pressed on")
    by = models.ForeignKey(
        Account, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    does = models.CharField(max_length=8, choices=Does.choices)
    changeover = models.ForeignKey(
        Changeover,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="presses",
    )
    work = models.ForeignKey(
        YardWork,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="presses",
    )
    did = models.TextField(help_text="What was pressed, in words")
    pressed_at = models.DateTimeField(help_text="Put right by the phone's clock")
    received_at = models.DateTimeField()
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    says = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "presses"
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    does__in=["start", "done", "tick", "untick", "trouble", "photo"]
                ),
                name="press_does_known",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["taken", "already", "kept"]),
                name="press_outcome_known",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="kept") | ~Q(says=""),
                name="press_kept_says_why",
            ),
            models.CheckConstraint(
                condition=Q(changeover__isnull=True) | Q(work__isnull=True),
                name="press_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(pressed_at__lte=F("received_at")),
                name="press_before_it_is_received",
            ),
        ]
        indexes = [models.Index(fields=["date", "outcome"], name="press_by_day")]

    def __str__(self) -> str:
        return f"{self.did} {self.outcome}"


class Standing(models.Model):
    """What stands on a line as last known: placed elements in the day file's form."""

    line = models.OneToOneField(
        Line, primary_key=True, on_delete=models.CASCADE, related_name="standing"
    )
    elements = models.JSONField(default=list)
    as_of_at = models.DateTimeField()
    corrected_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        verbose_name_plural = "standings"

    def __str__(self) -> str:
        return f"on {self.line_id}"
