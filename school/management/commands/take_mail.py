import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import DatabaseError
from django.utils import timezone

from school.calendars.replies import LONGEST_MAIL
from school.services.inbox import take_mail

TRY_AGAIN = 75
"""EX_TEMPFAIL of sysexits.h: the mail server keeps the mail and tries again."""


class Command(BaseCommand):
    help = "Takes one mail from standard input, as a mail server pipes it."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.epilog = "Status 0: taken, also what was held or dropped; 75: try again."

    def handle(self, *args: Any, **options: Any) -> None:
        # One octet more than is allowed tells that it is too large.
        raw = sys.stdin.buffer.read(LONGEST_MAIL + 1)
        while sys.stdin.buffer.read(LONGEST_MAIL):
            pass
        try:
            replies = take_mail(raw, now=timezone.now())
        except DatabaseError as error:
            self.stderr.write(f"not taken, try again: {error}")
            sys.exit(TRY_AGAIN)
        for reply in replies:
            words = f"{reply.state}: {reply.code}" if reply.code else reply.state
            self.stdout.write(words)
