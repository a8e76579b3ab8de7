from calendar import day_name

from django.db import models
from django.db.models import Q

from school.enums import OfferState, WishState, Work
from school.models.constraints import before, one_of, within
from school.models.lessons import Lesson
from school.models.people import Account, Rider


class WaitingWish(models.Model):
    """A time a client would take for a rider, until it is met or withdrawn.

    `instead_of` is the lesson it should take the place of, where there is one.
    """

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="wishes")
    work = models.CharField(max_length=10, choices=Work.choices)
    weekday = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="0 is Monday; empty is any day"
    )
    from_at = models.TimeField(help_text="Local time")
    to_at = models.TimeField(help_text="Local time")
    instead_of = models.ForeignKey(
        Lesson, null=True, blank=True, on_delete=models.SET_NULL, related_name="wishes"
    )
    note = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField()
    state = models.CharField(
        max_length=10, choices=WishState.choices, default=WishState.OPEN
    )
    state_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "waiting wishes"
        constraints = [
            one_of("work", Work.values, "wish_work_known"),
            one_of("state", WishState.values, "wish_state_known"),
            within("weekday", 0, 6, "wish_on_a_weekday"),
            before("from_at", "to_at", "wish_begins_before_it_ends"),
        ]
        indexes = [models.Index(fields=["state", "made_at"], name="wish_open")]

    def __str__(self) -> str:
        return f"{self.get_work_display()} for {self.rider_id}"

    @property
    def day_words(self) -> str:
        """The weekday that is wished for, in words."""
        return "any day" if self.weekday is None else f"{day_name[self.weekday]}s"


class WaitingOffer(models.Model):
    """A place offered to a wish; it is held for nobody, and lapses at `ends_at`."""

    wish = models.ForeignKey(
        WaitingWish, on_delete=models.CASCADE, related_name="offers"
    )
    lesson = models.ForeignKey(Lesson, on_delete=models.CASCADE, related_name="offers")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        Account, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    ends_at = models.DateTimeField()
    state = models.CharField(
        max_length=10, choices=OfferState.choices, default=OfferState.OPEN
    )
    state_at = models.DateTimeField()

    class Meta:
        constraints = [
            one_of("state", OfferState.values, "offer_state_known"),
            before("made_at", "ends_at", "offer_made_before_it_ends"),
            models.UniqueConstraint(
                fields=["wish", "lesson"],
                condition=Q(state="open"),
                name="offer_once_a_wish_and_lesson",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lesson_id} for {self.wish_id}"
