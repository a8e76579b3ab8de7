from django.db import models
from django.db.models import Q

from school.enums import Answer, ReplyState
from school.models.constraints import one_of, together
from school.models.messages import Invitation
from school.models.people import Account


class Reply(models.Model):
    """One answer that came by mail, kept as read; a mail may carry several.

    `key` and `position` keep a mail that comes twice from being taken twice.
    `original_starts_at` is the one occurrence of a series that is meant.
    """

    key = models.CharField(max_length=64)
    position = models.PositiveSmallIntegerField(default=0)
    message_id = models.CharField(max_length=250, blank=True)
    received_at = models.DateTimeField()
    sender = models.CharField(max_length=254, blank=True)
    subject = models.CharField(max_length=200, blank=True)
    method = models.CharField(max_length=20, blank=True)
    invitation = models.ForeignKey(
        Invitation,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="replies",
    )
    original_starts_at = models.DateTimeField(null=True, blank=True)
    answer = models.CharField(max_length=12, choices=Answer.choices, blank=True)
    sequence = models.PositiveIntegerField(null=True, blank=True)
    stamp = models.DateTimeField(null=True, blank=True, help_text="DTSTAMP")
    comment = models.CharField(max_length=300, blank=True)
    proposed_starts_at = models.DateTimeField(null=True, blank=True)
    proposed_ends_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=ReplyState.choices)
    code = models.CharField(max_length=20, blank=True, help_text="Why, for sorting")
    reason = models.CharField(max_length=300, blank=True, help_text="Why, in words")
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        verbose_name_plural = "replies"
        constraints = [
            models.UniqueConstraint("key", "position", name="reply_once"),
            one_of("answer", ["", *Answer.values], "reply_answer_known"),
            one_of("state", ReplyState.values, "reply_state_known"),
            together("proposed_starts_at", "proposed_ends_at", "reply_proposal_whole"),
            models.CheckConstraint(
                condition=~Q(state="applied") | Q(invitation__isnull=False),
                name="reply_applied_has_its_invitation",
            ),
            models.CheckConstraint(
                condition=~Q(state="held") | ~Q(reason=""),
                name="reply_held_says_why",
            ),
            models.CheckConstraint(
                condition=Q(state="settled", settled_at__isnull=False)
                | (~Q(state="settled") & Q(settled_at__isnull=True)),
                name="reply_settled_has_its_moment",
            ),
        ]
        indexes = [models.Index(fields=["state", "received_at"], name="reply_by_state")]

    def __str__(self) -> str:
        return self.message_id or self.key


class MailboxMark(models.Model):
    """How far a mailbox has been read (RFC 3501 section 2.3.1.1)."""

    mailbox = models.CharField(max_length=200, unique=True)
    uid_validity = models.PositiveBigIntegerField()
    last_uid = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return self.mailbox
