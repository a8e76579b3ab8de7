from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from school.models.constraints import filled
from school.models.people import Account


class AuditEntry(models.Model):
    """Who did what, when, and what it was before and after."""

    at = models.DateTimeField()
    by = models.ForeignKey(Account, null=True, on_delete=models.SET_NULL)
    action = models.CharField(max_length=60)
    subject = models.CharField(max_length=60, help_text="Kind of thing")
    subject_id = models.CharField(max_length=40)
    before = models.JSONField(null=True, encoder=DjangoJSONEncoder)
    after = models.JSONField(null=True, encoder=DjangoJSONEncoder)

    class Meta:
        verbose_name_plural = "audit entries"
        constraints = [filled("action", "audit_action_filled")]
        indexes = [models.Index(fields=["subject", "subject_id"], name="audit_of")]

    def __str__(self) -> str:
        return f"{self.action} {self.subject} {self.subject_id}"
