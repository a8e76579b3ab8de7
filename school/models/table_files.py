from django.db import models
from django.db.models import F, Q

from school.models.constraints import filled, one_of
from school.models.horses import Horse
from school.models.lessons import Lesson
from school.models.people import Account, Instructor, Rider

REFERRED = ("horse", "rider", "instructor", "lesson")


def _one_thing() -> Q:
    """Demand that just one of the things is named."""
    found = Q()
    for one in REFERRED:
        found |= Q(**{f"{what}__isnull": what != one for what in REFERRED})
    return found


class OwnReference(models.Model):
    """What the school itself calls one of its own: by it a file is re-read.

    Beside the things, not in them: whoever brings in nothing needs none.
    """

    text = models.CharField(max_length=60)
    horse = models.OneToOneField(
        Horse, null=True, blank=True, on_delete=models.CASCADE, related_name="reference"
    )
    rider = models.OneToOneField(
        Rider, null=True, blank=True, on_delete=models.CASCADE, related_name="reference"
    )
    instructor = models.OneToOneField(
        Instructor,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="reference",
    )
    lesson = models.OneToOneField(
        Lesson,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="reference",
    )

    class Meta:
        constraints = [
            filled("text", "reference_filled"),
            models.CheckConstraint(
                condition=_one_thing(), name="reference_of_one_thing"
            ),
            *(
                models.UniqueConstraint(
                    fields=["text"],
                    condition=Q(**{f"{what}__isnull": False}),
                    name=f"reference_once_for_a_{what}",
                )
                for what in REFERRED
            ),
        ]

    def __str__(self) -> str:
        return self.text


class TableFile(models.Model):
    """A file somebody sent to bring in: its cells, and what would become of each row.

    Kept between the trial and the word to bring it in; what was set aside is kept
    until `expires_at`, then all of it is forgotten. `fates` has the row's number,
    what becomes of it, and why.
    """

    kind = models.CharField(max_length=12)
    name = models.CharField(max_length=120)
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file")
    sent_by = models.ForeignKey(
        Account, on_delete=models.CASCADE, related_name="table_files"
    )
    sent_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    headers = models.JSONField()
    rows = models.JSONField()
    numbers = models.JSONField()
    mapping = models.JSONField()
    day_first = models.BooleanField(default=True)
    tell = models.BooleanField(
        default=False, help_text="Write to the clients of new and moved lessons"
    )
    fates = models.JSONField(default=list)
    applied_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of(
                "kind",
                ["horses", "people", "instructors", "lessons"],
                "table_file_kind_known",
            ),
            filled("digest", "table_file_digest_filled"),
            models.CheckConstraint(
                condition=Q(expires_at__gt=F("sent_at")),
                name="table_file_expires_after_it_came",
            ),
        ]

    def __str__(self) -> str:
        return self.name
