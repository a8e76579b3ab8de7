from django.db import models

from school.models.constraints import filled
from school.models.horses import Horse
from school.models.people import Account


class HorsePapers(models.Model):
    """What identifies a horse, for the register that inspectors ask for."""

    horse = models.OneToOneField(
        Horse, primary_key=True, on_delete=models.PROTECT, related_name="papers"
    )
    passport = models.CharField(max_length=40, blank=True)
    microchip = models.CharField(max_length=40, blank=True)

    class Meta:
        verbose_name_plural = "papers of horses"

    def __str__(self) -> str:
        return f"papers of {self.horse_id}"


class Incident(models.Model):
    """What went wrong, as it was told. Never changed or deleted, whoever writes.

    What is learned later is an entry of its own that `adds_to` the first.
    """

    happened_at = models.DateTimeField()
    who = models.CharField(max_length=120, help_text="Rider and coach")
    horse = models.ForeignKey(
        Horse, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    where = models.CharField(max_length=120, help_text="Arena, surface, weather")
    what = models.TextField(help_text="With the grid as built, measured")
    done = models.TextField(blank=True, help_text="What was done at once")
    witness = models.CharField(max_length=120, blank=True)
    adds_to = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="additions",
    )
    noted_at = models.DateTimeField()
    noted_by = models.ForeignKey(
        Account, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            filled("who", "incident_says_who"),
            filled("where", "incident_says_where"),
            filled("what", "incident_says_what"),
        ]

    def __str__(self) -> str:
        return f"incident {self.pk}"
