"""A worker that kills itself at a chosen point of its work; run by the tests with
the point, the moment and the mail server's port.

It is the worker of an embedded school, with the points hooked in from outside: the
product knows nothing of them.
"""

import os
import signal
import smtplib
import sys
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models.query import QuerySet

from school import tasks, worker
from school.models import OutboxMessage
from school.services import messages


def die(*args: Any, **kwargs: Any) -> Any:
    """End as by a power cut: nothing is tidied up."""
    os.kill(os.getpid(), signal.SIGKILL)


def before(owner: Any, name: str) -> None:
    setattr(owner, name, die)


def after(owner: Any, name: str) -> None:
    real = getattr(owner, name)

    def done_and_died(*args: Any, **kwargs: Any) -> None:
        real(*args, **kwargs)
        die()

    setattr(owner, name, done_and_died)


def half_sent(owner: Any, name: str) -> None:
    real = getattr(owner, name)

    def send(self: Any, text: bytes | str) -> None:
        if len(text) > 1000:
            real(self, text[: len(text) // 2])
            die()
        real(self, text)

    setattr(owner, name, send)


def hooks() -> dict[str, Callable[[], None]]:
    def inside_marking() -> None:
        real = QuerySet.update

        def update(self: Any, **values: Any) -> int:
            done = real(self, **values)
            if values.get("state") == "sent":
                die()
            return done

        QuerySet.update = update

    return {
        "before it claims": lambda: before(messages, "_claim"),
        "claiming, before the mail is made": lambda: before(messages, "make_mail"),
        "claiming, with the mail made": lambda: before(OutboxMessage, "save"),
        "claiming, not yet committed": lambda: after(OutboxMessage, "save"),
        "claimed, before it looks once more": lambda: before(messages, "_still_due"),
        "before it connects": lambda: before(smtplib.SMTP, "connect"),
        "before it names the sender": lambda: before(smtplib.SMTP, "mail"),
        "before it hands the mail over": lambda: before(smtplib.SMTP, "data"),
        "in the middle of the mail": lambda: half_sent(smtplib.SMTP, "send"),
        "with the mail taken, before it says goodbye": lambda: after(
            smtplib.SMTP, "data"
        ),
        "before it marks it sent": lambda: before(messages, "_sent"),
        "marking it sent, not yet committed": inside_marking,
        "with one mail marked": lambda: after(messages, "_sent"),
    }


def main() -> None:
    point, now, port = sys.argv[1], datetime.fromisoformat(sys.argv[2]), sys.argv[3]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", int(port)
    settings.EMAIL_USE_TLS, settings.EMAIL_TIMEOUT = False, 10
    tasks.timezone = type("Clock", (), {"now": staticmethod(lambda: now)})
    hooks()[point]()
    worker.work_once(tasks.deliver_messages)
