"""An invite as a mail: words, and the calendar object twice (RFC 6047)."""

from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP


@dataclass(frozen=True, slots=True)
class Letter:
    """A mail to be made; without a calendar it carries words only."""

    message_id: str
    subject: str
    sender: tuple[str, str]
    to: tuple[str, str]
    text: str
    html: str
    date: str
    method: str = ""
    calendar: bytes = b""
    language: str = ""


def mail_bytes(letter: Letter) -> bytes:
    """Return the bytes of a mail that calendar programs take for an invite.

    mixed [ alternative [ text, html, calendar ], invite.ics ], both copies of the
    calendar the same bytes, base64 (RFC 6047 sections 2.4 and 2.5).
    """
    mail = EmailMessage(policy=SMTP)
    mail["Message-ID"] = letter.message_id
    mail["Date"] = letter.date
    mail["Subject"] = " ".join(letter.subject.split())
    mail["From"] = _address(letter.sender)
    mail["To"] = _address(letter.to)
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(letter.text, cte="quoted-printable")
    mail.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    if letter.calendar:
        mail.add_alternative(
            letter.calendar,
            maintype="text",
            subtype="calendar",
            params={"method": letter.method, "charset": "utf-8"},
            cte="base64",
        )
        mail.add_attachment(
            letter.calendar,
            maintype="application",
            subtype="ics",
            filename="invite.ics",
            cte="base64",
        )
    if letter.language:
        # Last, since each part that is added takes such headers to itself.
        mail["Content-Language"] = letter.language
    return mail.as_bytes()


def _address(person: tuple[str, str]) -> Address:
    name, address = person
    return Address(" ".join(name.split()), addr_spec=address)
