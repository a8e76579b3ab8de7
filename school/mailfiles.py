"""A mail backend that lays each mail down as one `.eml` file."""

import time
from collections.abc import Sequence
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class EmlFileBackend(BaseEmailBackend):
    """Write mails to `settings.MAIL_DIR`, for a school on one machine."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        folder = Path(settings.MAIL_DIR)
        folder.mkdir(parents=True, exist_ok=True)
        for message in email_messages:
            name = f"{time.time_ns()}-{uuid4().hex[:8]}.eml"
            # A reader that polls the folder must never see half a mail.
            part = folder / f".{name}.part"
            part.write_bytes(message.message().as_bytes(linesep="\r\n"))
            part.rename(folder / name)
        return len(email_messages)
