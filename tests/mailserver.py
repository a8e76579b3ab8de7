"""A mail server on loopback that takes what is sent, or answers as told."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage

from aiosmtpd.controller import Controller


@dataclass
class MailServer:
    """What was received, in order; `answers` replace those to RCPT and DATA.

    An answer "drop" ends the connection without one.
    """

    port: int = 0
    received: list[bytes] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)
    answers: dict[str, str] = field(default_factory=dict)

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802 -- the library's name
        answer = self.answers.get("RCPT", "")
        if answer == "drop":
            server.transport.close()
        if not answer:
            envelope.rcpt_tos.append(address)
        return answer or "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 -- the library's name
        answer = self.answers.get("DATA", "")
        if not answer or answer == "drop after":
            self.received.append(envelope.original_content)
            self.recipients.append(list(envelope.rcpt_tos))
        if answer.startswith("drop"):
            server.transport.close()
        return answer or "250 OK"

    def mails(self) -> list[EmailMessage]:
        """Return what was received, as the standard library reads it."""
        return [message_from_bytes(raw, policy=policy.default) for raw in self.received]


def calendar_of(mail: EmailMessage) -> bytes:
    """Return the calendar part of a mail (RFC 6047 section 2.4)."""
    (part,) = [one for one in mail.walk() if one.get_content_type() == "text/calendar"]
    return part.get_payload(decode=True)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


@contextmanager
def mail_server() -> Iterator[MailServer]:
    server = MailServer(port=free_port())
    controller = Controller(server, hostname="127.0.0.1", port=server.port)
    controller.start()
    try:
        yield server
    finally:
        controller.stop()


def send_by_smtp(settings, server: MailServer) -> None:
    """Let the product send to the server, as a school in earnest does."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = server.port
    settings.EMAIL_USE_TLS = False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    settings.EMAIL_TIMEOUT = 10
