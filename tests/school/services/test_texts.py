"""The school's own words, and mails in each client's language."""

from email import message_from_bytes, policy

import pytest
from django.core import mail
from django.utils import translation

from school.calendars.placeholders import InvalidText, check_text, fill
from school.calendars.samples import preview
from school.calendars.texts import PLACEHOLDERS, Words, default_words
from school.enums import Language, MessageKind
from school.models import AuditEntry, MessageText, School
from school.services.invitations import lesson_changed
from school.services.lessons import cancel_lesson
from school.services.messages import deliver_due
from school.services.texts import (
    LONGEST_BODY,
    UnableToKeepText,
    check_words,
    restore_text,
    save_text,
    write_to,
)
from tests.clock import NOW
from tests.factories.lessons import RideFactory
from tests.factories.people import RiderFactory
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly

pytestmark = pytest.mark.django_db

BODY = "{day} {start}\n{cancel}\n{caution}"


@pytest.fixture(autouse=True)
def school() -> School:
    return SchoolFactory(local_bodies="the local federation", phone="555 0100")


def keep(body: str = BODY, subject: str = "{title}", language: str = "en"):
    return save_text(
        kind="invite", language=language, subject=subject, body=body, by=None, now=NOW
    )


def german_mail():
    ride = RideFactory(
        rider__person__first_name="Mira",
        rider__client__person__first_name="Sam",
        rider__client__language="de",
        lesson__arena__name="Halle",
    )
    lesson_changed(lesson=ride.lesson, now=NOW)
    deliver_due(now=NOW)
    return ride.lesson


def read(n: int = -1):
    raw = mail.outbox[n].message().as_bytes()
    return message_from_bytes(raw, policy=policy.default)


def test_a_client_is_written_to_in_their_language() -> None:
    german_mail()

    text = read().get_body(("plain",)).get_content()
    assert read()["subject"] == "Reitstunde Mira: Springen, Sa, 6. Mär 09:00"
    assert read()["content-language"] == "de"
    for words in (
        "Guten Tag Sam,",
        "Eine Einzelstunde im Springen für Mira bei Example School.",
        "Wann: Samstag, 6. März 2027, 09:00 bis 10:00 (60 Minuten)",
        "Da sein: bis 08:45",
        "Wo: Halle",
        "Schutzweste",
        "Kostenfrei absagen bis Freitag, 5. März, 09:00, 24 Stunden vor der Reitstunde",
        "Beim Springen kann man sich verletzen",
        "Die Regeln von the local federation gehen vor.",
    ):
        assert words in text
    assert '<html lang="de">' in read().get_body(("html",)).get_content()


def test_a_cancellation_is_in_their_language_too() -> None:
    lesson = german_mail()
    cancel_lesson(lesson=lesson, reason="Sturm", by=None, now=NOW)
    deliver_due(now=NOW)

    assert read()["subject"].startswith("Abgesagt: Reitstunde Mira")
    assert "Grund: Sturm" in read().get_body(("plain",)).get_content()


def test_a_weekly_lesson_is_in_their_language_too() -> None:
    weekly(rides=[(RiderFactory(client__language="de"), None)])
    deliver_due(now=NOW)

    text = read().get_body(("plain",)).get_content()
    assert "Wann: jeden Dienstag, 17:00 bis 18:00 (60 Minuten)" in text
    assert "also Montag, 17:00" in text


@pytest.mark.parametrize("language", Language.values)
@pytest.mark.parametrize("kind", MessageKind.values)
def test_every_text_that_comes_with_the_tool_may_be_kept_and_is_filled(
    school: School, kind: str, language: str
) -> None:
    with translation.override(language):
        words = default_words(kind)
    check_words(kind=kind, subject=words.subject, body=words.body)

    made, text = preview(school, kind, language, words, NOW)

    assert "{" not in made.subject + text
    about = "2" if kind == MessageKind.ENDS_SOON else "Mira"
    assert about in made.subject


def test_own_words_are_used_in_their_language_only(school: School) -> None:
    keep(subject="Our {title}")
    ride = RideFactory()
    lesson_changed(lesson=ride.lesson, now=NOW)
    deliver_due(now=NOW)
    german_mail()

    assert read(0)["subject"].startswith("Our Lesson")
    assert read(1)["subject"].startswith("Reitstunde")


def test_a_text_is_kept_once_and_audited() -> None:
    keep()
    keep(subject="Again {title}")

    assert MessageText.objects.get().subject == "Again {title}"
    entries = AuditEntry.objects.order_by("pk")
    assert [one.before and one.before["subject"] for one in entries] == [
        None,
        "{title}",
    ]


def test_taking_the_tools_text_again_twice_is_harmless() -> None:
    keep()
    for _ in range(2):
        restore_text(kind="invite", language="en", by=None, now=NOW)

    assert not MessageText.objects.exists()
    assert AuditEntry.objects.filter(action="restore words").count() == 1


@pytest.mark.parametrize(
    ("subject", "body", "code", "field"),
    [
        ("", BODY, "length", "subject"),
        ("x" * 201, BODY, "length", "subject"),
        ("{title}", "x" * (LONGEST_BODY + 1), "length", "body"),
        ("{title}\nBcc: a@example.org", BODY, "lines", "subject"),
        ("{client.person}", BODY, "placeholder", "subject"),
        ("{0}", BODY, "placeholder", "subject"),
        ("{title!r}", BODY, "placeholder", "subject"),
        ("{title}", BODY + "{health}", "placeholder", "body"),
        ("{title}", "{day} {start} {caution}", "lost", "body"),
        ("{title}", "{day} {start} {cancel}", "lost", "body"),
    ],
)
def test_a_text_that_cannot_be_sent_is_refused(
    subject: str, body: str, code: str, field: str
) -> None:
    with pytest.raises(UnableToKeepText) as refused:
        keep(subject=subject, body=body)

    assert (refused.value.code, refused.value.field) == (code, field)
    assert not MessageText.objects.exists()


def test_a_wrong_name_is_told_with_its_line() -> None:
    with pytest.raises(InvalidText, match=r"Line 2 has \{weight\}") as refused:
        check_text("{day}\n{weight}", PLACEHOLDERS)

    assert refused.value.line == 2


def test_a_value_is_never_looked_through_for_names() -> None:
    assert fill("{who} at {day}", {"who": "{day}", "day": "noon"}) == "{day} at noon"


def test_a_line_without_anything_to_say_is_left_out() -> None:
    text = "Map: {map}\n\nWhere: {arena}\n\n\nHorse: {horse}\nend"

    assert fill(text, {"arena": "Hall"}) == "Where: Hall\n\nend"


def test_html_takes_nothing_for_markup(school: School) -> None:
    made, _ = preview(
        school,
        "invite",
        "en",
        Words("{title}", "<b>{day}</b>\nMap: https://x.org"),
        NOW,
    )

    html = made.raw.decode()
    assert "&lt;b&gt;" in html
    assert '<strong>Map:</strong> <a href="https://x.org"' in html


def test_a_clients_way_is_audited() -> None:
    client = RideFactory().rider.client
    write_to(client=client, language="de", calendar_by="feed", by=None, now=NOW)

    entry = AuditEntry.objects.get()
    assert (entry.before["language"], entry.after["language"]) == ("en", "de")
