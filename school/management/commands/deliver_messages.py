from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from school.services.messages import deliver_due


class Command(BaseCommand):
    help = "Sends what is due in the outbox, once."

    def handle(self, *args: Any, **options: Any) -> None:
        done = deliver_due(now=timezone.now(), limit=10_000)
        self.stdout.write(f"{done.sent} sent, {done.failed} failed")
