from django.db import models
from django.db.models import F, Q

from school.models.constraints import filled
from school.models.people import Person, Rider


class SecondGuardian(models.Model):
    """Who answers for a minor beside their client: called, may sign, told if wished.

    The client stays who books, pays and is written to.
    """

    rider = models.OneToOneField(
        Rider,
        primary_key=True,
        on_delete=models.CASCADE,
        related_name="second_guardian",
    )
    person = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="second_guardian_of"
    )
    relation = models.CharField(max_length=40, help_text="Mother, grandfather, …")
    gets_mail = models.BooleanField(
        default=False, help_text="Has a copy, in words, of what the client is told"
    )

    class Meta:
        constraints = [
            filled("relation", "second_guardian_relation_filled"),
            models.CheckConstraint(
                condition=~Q(person=F("rider")), name="second_guardian_is_another"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} ({self.relation})"
