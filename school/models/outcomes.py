from django.db import models
from django.db.models import Q

from school.enums import Charge, EndCause, OutcomeKind, PaidBy
from school.models.constraints import one_of, within
from school.models.lessons import Lesson
from school.models.people import Account
from school.models.rides import Ride


class Outcome(models.Model):
    """What became of a place that was not ridden as booked, and what that costs.

    Only noted: nothing is paid here. `charge` is the house rule as it was then, so
    that a new rule changes nothing that has been told.
    """

    ride = models.OneToOneField(Ride, on_delete=models.CASCADE, related_name="outcome")
    kind = models.CharField(max_length=16, choices=OutcomeKind.choices)
    minutes_late = models.PositiveSmallIntegerField(null=True, blank=True)
    charge = models.CharField(max_length=10, choices=Charge.choices)
    paid_by = models.CharField(max_length=10, choices=PaidBy.choices)
    amount = models.DecimalField(
        max_digits=9,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="The fee as it was told, where nothing paid in advance pays",
    )
    currency = models.CharField(max_length=3, blank=True)
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [
            one_of("kind", OutcomeKind.values, "outcome_kind_known"),
            one_of("charge", Charge.values, "outcome_charge_known"),
            one_of("paid_by", PaidBy.values, "outcome_paid_by_known"),
            within("minutes_late", 1, 240, "outcome_minutes_late_in_range"),
            within("amount", 0, 99999, "outcome_amount_in_range"),
            models.CheckConstraint(
                condition=Q(amount__isnull=True, currency="")
                | (Q(amount__isnull=False, paid_by=PaidBy.FEE) & ~Q(currency="")),
                name="outcome_amount_is_a_fee_in_a_currency",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=[OutcomeKind.LATE, OutcomeKind.LOST])
                | Q(minutes_late__isnull=False),
                name="outcome_late_says_how_late",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.ride_id}"


class EarlyEnd(models.Model):
    """A lesson that was ended early: its own end is the true one, this was booked."""

    lesson = models.OneToOneField(
        Lesson, on_delete=models.CASCADE, related_name="early_end"
    )
    booked_ends_at = models.DateTimeField()
    state_before = models.CharField(max_length=10)
    cause = models.CharField(max_length=10, choices=EndCause.choices)
    note = models.CharField(max_length=200, blank=True)
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [one_of("cause", EndCause.values, "early_end_cause_known")]

    def __str__(self) -> str:
        return f"{self.lesson_id} ended early"
