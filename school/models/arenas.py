from django.db import models
from django.db.models import Q

from exercises.geometry.elements import Piece
from school.models.constraints import before, filled, one_of, within


class Arena(models.Model):
    name = models.CharField(max_length=60, unique=True)
    length_cm = models.PositiveIntegerField()
    width_cm = models.PositiveIntegerField()
    indoor = models.BooleanField(default=False)
    lit = models.BooleanField(default=False)
    surface = models.CharField(max_length=60, blank=True)
    opens_at = models.TimeField(help_text="Local time")
    closes_at = models.TimeField(help_text="Local time")

    store_along_cm = models.IntegerField(
        null=True,
        blank=True,
        help_text="Where wings and poles are kept: from the end the tapes begin at",
    )
    store_across_cm = models.IntegerField(
        null=True,
        blank=True,
        help_text="… and from the long side the lines are measured from",
    )

    class Meta:
        constraints = [
            filled("name", "arena_name_filled"),
            within("store_along_cm", -20000, 40000, "arena_store_along_in_range"),
            within("store_across_cm", -20000, 40000, "arena_store_across_in_range"),
            models.CheckConstraint(
                condition=Q(store_along_cm__isnull=True, store_across_cm__isnull=True)
                | Q(store_along_cm__isnull=False, store_across_cm__isnull=False),
                name="arena_store_place_whole",
            ),
            within("length_cm", 1000, 20000, "arena_length_in_range"),
            within("width_cm", 1000, 20000, "arena_width_in_range"),
            before("opens_at", "closes_at", "arena_opens_before_it_closes"),
        ]

    def __str__(self) -> str:
        return self.name


class ArenaClosure(models.Model):
    """A time in which nobody rides in the arena, held as by a lesson."""

    arena = models.ForeignKey(Arena, on_delete=models.CASCADE, related_name="closures")
    closed_from = models.DateTimeField()
    closed_to = models.DateTimeField()
    reason = models.CharField(max_length=120)
    needs_clear = models.BooleanField(
        default=False, help_text="Nothing may stand in the arena when it begins"
    )

    class Meta:
        constraints = [
            before("closed_from", "closed_to", "closure_begins_before_it_ends"),
            filled("reason", "closure_reason_filled"),
        ]

    def __str__(self) -> str:
        return f"{self.arena_id}: {self.reason}"


class Line(models.Model):
    """A straight strip of an arena on which a grid may stand, read from its datum."""

    arena = models.ForeignKey(Arena, on_delete=models.CASCADE, related_name="lines")
    name = models.CharField(max_length=60)
    length_cm = models.PositiveIntegerField()
    from_long_side_cm = models.PositiveIntegerField(default=500)
    datum = models.CharField(
        max_length=120, help_text="The end the tape is read from, in words"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint("arena", "name", name="line_name_once_an_arena"),
            filled("name", "line_name_filled"),
            within("length_cm", 500, 20000, "line_length_in_range"),
        ]

    def __str__(self) -> str:
        return self.name


class KeepingPlace(models.Model):
    """Where pieces are kept: beside an arena, or for the whole yard alike."""

    name = models.CharField(max_length=60, unique=True)
    arena = models.ForeignKey(
        Arena,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="keeping_places",
        help_text="Whose own pieces they are; empty: the whole yard's",
    )

    class Meta:
        constraints = [filled("name", "keeping_place_name_filled")]

    def __str__(self) -> str:
        return self.name


class StorePiece(models.Model):
    """How many pieces of a kind are kept in one place."""

    piece = models.CharField(max_length=10, choices=[(p.value, p.value) for p in Piece])
    place = models.ForeignKey(
        KeepingPlace, on_delete=models.PROTECT, related_name="pieces"
    )
    working = models.PositiveIntegerField()
    broken = models.PositiveIntegerField(default=0)
    weight_g = models.PositiveIntegerField(help_text="Of one piece")

    class Meta:
        constraints = [
            models.UniqueConstraint("piece", "place", name="store_piece_once_a_place"),
            one_of("piece", [p.value for p in Piece], "store_piece_known"),
            models.CheckConstraint(
                condition=Q(weight_g__gt=0), name="store_piece_weighs_something"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.working} x {self.piece}"
