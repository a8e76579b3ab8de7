from django.db import models
from django.db.models import Q

from school.enums import FeedKind
from school.models.arenas import Arena
from school.models.horses import Horse
from school.models.people import Person


class FeedToken(models.Model):
    """A secret address of one calendar feed; only its digest is kept."""

    kind = models.CharField(max_length=15, choices=FeedKind.choices)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    horse = models.ForeignKey(
        Horse, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    arena = models.ForeignKey(
        Arena, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    digest = models.CharField(max_length=64, unique=True, help_text="SHA-256 of it")
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    body_digest = models.CharField(max_length=64, blank=True)
    body_changed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    kind__in=["groundsperson", "instructor", "client"],
                    person__isnull=False,
                    horse__isnull=True,
                    arena__isnull=True,
                )
                | Q(
                    kind="horse",
                    person__isnull=True,
                    horse__isnull=False,
                    arena__isnull=True,
                )
                | Q(
                    kind="arena",
                    person__isnull=True,
                    horse__isnull=True,
                    arena__isnull=False,
                ),
                name="feed_has_one_holder",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} feed {self.pk}"
