from uuid import uuid4

from django.db import models
from django.db.models import F, Q

from school.enums import (
    Answer,
    Language,
    MessageKind,
    MessageMethod,
    MessageState,
)
from school.models.constraints import filled, one_of, together
from school.models.lessons import Lesson, LessonSeries
from school.models.people import Client, Person


class Invitation(models.Model):
    """A client's calendar entry for a lesson or a weekly series: one UID for life.

    For a series `first_date` and `last_date` bound the client's part of it.
    `edition` counts every message, `sequence` only those that void old answers.
    """

    lesson = models.ForeignKey(
        Lesson,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="invitations",
    )
    series = models.ForeignKey(
        LessonSeries,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="invitations",
    )
    client = models.ForeignKey(
        Client, on_delete=models.PROTECT, related_name="invitations"
    )
    uid = models.UUIDField(default=uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    edition = models.PositiveIntegerField(default=0)
    answer = models.CharField(
        max_length=12, choices=Answer.choices, default=Answer.NEEDS_ACTION
    )
    withdrawn = models.BooleanField(default=False)
    by_invite = models.BooleanField(
        default=True,
        help_text="Whether mails put it into the calendar, not the client's feed",
    )
    first_date = models.DateField(null=True, blank=True)
    last_date = models.DateField(null=True, blank=True)
    content_digest = models.CharField(
        max_length=64, blank=True, help_text="Of what was last told"
    )
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "lesson", "client", name="invitation_once_a_lesson_and_client"
            ),
            models.UniqueConstraint(
                "series", "client", name="invitation_once_a_series_and_client"
            ),
            models.CheckConstraint(
                condition=Q(lesson__isnull=False, series__isnull=True)
                | Q(lesson__isnull=True, series__isnull=False),
                name="invitation_to_a_lesson_or_a_series",
            ),
            together("series", "first_date", "invitation_series_from"),
            together("first_date", "last_date", "invitation_series_whole"),
            models.CheckConstraint(
                condition=Q(last_date__gte=F("first_date")),
                name="invitation_series_begins_before_it_ends",
            ),
            one_of("answer", Answer.values, "invitation_answer_known"),
        ]

    def __str__(self) -> str:
        return str(self.uid)


class InvitedDay(models.Model):
    """One occurrence of a series in a client's calendar, and what was told of it.

    `original_starts_at` is its RECURRENCE-ID as a moment; an empty digest means it
    is as the series says; a dropped day is an EXDATE.
    """

    invitation = models.ForeignKey(
        Invitation, on_delete=models.CASCADE, related_name="days"
    )
    lesson = models.ForeignKey(
        Lesson, on_delete=models.PROTECT, related_name="invited_days"
    )
    original_starts_at = models.DateTimeField()
    sequence = models.PositiveIntegerField(default=0)
    answer = models.CharField(
        max_length=12, choices=Answer.choices, default=Answer.NEEDS_ACTION
    )
    dropped = models.BooleanField(default=False)
    content_digest = models.CharField(max_length=64, blank=True)
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                "invitation", "original_starts_at", name="invited_day_once"
            ),
            models.UniqueConstraint(
                "invitation", "lesson", name="invited_day_once_a_lesson"
            ),
            one_of("answer", Answer.values, "invited_day_answer_known"),
        ]

    def __str__(self) -> str:
        return f"{self.invitation_id}: {self.original_starts_at:%Y-%m-%d}"


class OutboxMessage(models.Model):
    """A message due to a client, written with the change it tells of.

    `mail` holds the bytes once made, so that a repeated delivery is the same
    mail with the same Message-ID. `told` keeps what it says (moments, arena,
    instructor, riders), `told_digest` its digest. A worker holds a row until
    `claimed_until`. `once` keeps a reminder from being written twice.
    """

    client = models.ForeignKey(
        Client, on_delete=models.PROTECT, related_name="messages"
    )
    kind = models.CharField(max_length=20, choices=MessageKind.choices)
    invitation = models.ForeignKey(
        Invitation,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="messages",
    )
    day = models.ForeignKey(
        InvitedDay,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="messages",
    )
    lesson = models.ForeignKey(
        Lesson,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="messages",
        help_text="What a mail without an invite is about",
    )
    copy_of = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.CASCADE, related_name="copies"
    )
    copy_to = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="messages_copied",
        help_text="A second guardian who wished for a copy in words",
    )
    method = models.CharField(max_length=10, choices=MessageMethod.choices, blank=True)
    sequence = models.PositiveIntegerField(default=0)
    edition = models.PositiveIntegerField(default=0)
    told = models.JSONField(default=dict)
    told_digest = models.CharField(max_length=64, blank=True)
    once = models.CharField(max_length=120, null=True, unique=True)  # noqa: DJ001 -- many rows have none
    state = models.CharField(
        max_length=10, choices=MessageState.choices, default=MessageState.WAITING
    )
    made_at = models.DateTimeField()
    message_id = models.CharField(max_length=120, unique=True)
    subject = models.CharField(max_length=400, blank=True)
    mail = models.BinaryField(null=True)
    sent_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("invitation", "edition", name="message_once"),
            models.UniqueConstraint("copy_of", "copy_to", name="message_copied_once"),
            together("copy_of", "copy_to", "message_copy_goes_to_somebody"),
            one_of("kind", MessageKind.values, "message_kind_known"),
            one_of("method", ["", *MessageMethod.values], "message_method_known"),
            one_of("state", MessageState.values, "message_state_known"),
            models.CheckConstraint(
                condition=Q(invitation__isnull=False) | Q(method=""),
                name="message_with_a_method_has_its_invitation",
            ),
            models.CheckConstraint(
                condition=Q(state="sent", sent_at__isnull=False, mail__isnull=False)
                | (~Q(state="sent") & Q(sent_at__isnull=True)),
                name="message_sent_has_its_moment",
            ),
        ]
        indexes = [models.Index(fields=["state", "next_try_at"], name="message_due")]

    def __str__(self) -> str:
        return self.message_id


class MessageText(models.Model):
    """The school's own words for a kind of mail, in one language.

    Placeholders in braces are filled in when it is sent; without a row the
    product's own text is used.
    """

    kind = models.CharField(max_length=20, choices=MessageKind.choices)
    language = models.CharField(max_length=5, choices=Language.choices)
    subject = models.CharField(max_length=200)
    body = models.TextField()
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint("kind", "language", name="message_text_once"),
            one_of("kind", MessageKind.values, "message_text_kind_known"),
            one_of("language", Language.values, "message_text_language_known"),
            filled("subject", "message_text_subject_filled"),
            filled("body", "message_text_body_filled"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} ({self.language})"
