"""Mails that come back, read: the right ones, the odd ones, and rubbish."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from school.calendars.replies import (
    LONGEST_COMMENT,
    MOST_ANSWERS,
    proved,
    read_head,
    read_mail,
    uid_of,
)
from tests.school.calendars.reply_mails import (
    CLIENT,
    ORGANISER,
    answer_lines,
    calendar_text,
    reply_mail,
)

UID = "11111111-2222-4333-8444-555555555555"


def read(lines: list[str] | None = None, **changes):
    text = calendar_text([lines or answer_lines(uid=UID)])
    return read_mail(reply_mail(text, **changes))


def test_a_plain_reply_is_read_whole() -> None:
    """RFC 5546 section 3.2.3 and its example in 4.2.2; RFC 6047 section 2.4."""
    mail = read(answer_lines(uid=UID, partstat="DECLINED", sequence=2))

    (one,) = mail.answers
    assert (mail.method, mail.sender, mail.odd) == ("REPLY", CLIENT, "")
    assert (one.uid, one.sequence, one.original) == (UID, 2, None)
    assert one.said == {CLIENT: "DECLINED"}
    assert one.organiser == ORGANISER
    assert one.stamp == datetime(2027, 3, 1, 12, tzinfo=UTC)


def test_letters_of_an_address_do_not_matter() -> None:
    lines = answer_lines(uid=UID)
    lines = [
        one.replace(f"mailto:{CLIENT}", "MAILTO:Guardian@Example.ORG") for one in lines
    ]

    assert read(lines).answers[0].said == {CLIENT: "ACCEPTED"}


@pytest.mark.parametrize("method", ["", "REPLY"])
def test_a_method_named_once_is_enough(method: str) -> None:
    """Some bridges strip the parameter (reported by users of a mail program)."""
    assert read(method=method).method == "REPLY"


def test_two_different_methods_are_odd() -> None:
    """RFC 6047 section 2.4: they are equal."""
    assert read(method="CANCEL").odd == "methods-differ"


def test_without_a_calendar_part_the_file_is_read() -> None:
    assert read(content_type="ics").answers[0].said == {CLIENT: "ACCEPTED"}


@pytest.mark.parametrize(
    "original",
    [
        ":20270306T080000Z",
        ";TZID=Europe/Amsterdam:20270306T090000",
        ";TZID=W. Europe Standard Time:20270306T090000",
        ";TZID=America/New_York:20270306T030000",
    ],
    ids=["utc", "own-zone", "windows-name", "other-zone"],
)
def test_an_occurrence_is_a_moment_however_it_is_written(original: str) -> None:
    """RFC 5545 section 3.8.4.4; programs write their own zone's name."""
    (one,) = read(answer_lines(uid=UID, original=original)).answers

    assert one.original == datetime(2027, 3, 6, 8, tzinfo=UTC)


@pytest.mark.parametrize(
    ("original", "odd"),
    [
        (";TZID=Nowhere/Atall:20270306T090000", "unreadable"),
        (":20270306T090000", "unreadable"),
        (";VALUE=DATE:20270306", "unreadable"),
        (":whenever", "unreadable"),
        (";RANGE=THISANDFUTURE:20270306T080000Z", "this-and-future"),
    ],
    ids=["unknown-zone", "floating", "date", "no-date", "range"],
)
def test_an_occurrence_without_a_sure_moment_is_odd(original: str, odd: str) -> None:
    (one,) = read(answer_lines(uid=UID, original=original)).answers

    assert one.odd == odd


@pytest.mark.parametrize(
    "line",
    ["DTSTAMP:never", "SEQUENCE:-x", "SEQUENCE:99999999999999999999"],
)
def test_a_broken_line_never_raises(line: str) -> None:
    lines = [one for one in answer_lines(uid=UID) if not one.startswith(line[:7])]
    (one,) = read([*lines[:-1], line, lines[-1]]).answers

    assert one.odd == "unreadable" or one.sequence <= 2**31 - 1


def test_a_series_sent_back_whole_has_an_answer_for_each_part() -> None:
    """One mail program sends the event with all its exceptions (reported)."""
    text = calendar_text(
        [
            answer_lines(uid=UID),
            answer_lines(uid=UID, partstat="DECLINED", original=":20270306T080000Z"),
        ]
    )

    answers = read_mail(reply_mail(text)).answers

    assert [one.said[CLIENT] for one in answers] == ["ACCEPTED", "DECLINED"]


def test_a_counter_proposal_keeps_what_was_proposed() -> None:
    """RFC 5546 section 3.2.7."""
    start, end = (
        datetime(2027, 3, 6, 9, tzinfo=UTC),
        datetime(2027, 3, 6, 10, tzinfo=UTC),
    )
    lines = answer_lines(
        uid=UID, start=start, end=end, more=["COMMENT:Later\\, please"]
    )
    mail = read_mail(reply_mail(calendar_text([lines], "COUNTER"), method="COUNTER"))

    (one,) = mail.answers
    assert mail.method == "COUNTER"
    assert one.proposed == (start, end)
    assert one.comment == "Later, please"


def test_a_comment_is_cut_and_cleaned() -> None:
    (one,) = read(answer_lines(uid=UID, more=["COMMENT:" + "\x07x" * 5000])).answers

    assert one.comment == "x" * LONGEST_COMMENT


@pytest.mark.parametrize(
    "calendar",
    [
        b"",
        b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCARD\r\nEND:VCARD\r\n",
        b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR",
        b"\xff\xfe\x00",
        calendar_text([answer_lines(uid=UID)] * (MOST_ANSWERS + 1)).encode(),
        calendar_text([answer_lines(uid=UID)]).encode() * 2,
    ],
    ids=["empty", "bare", "card", "cut", "bytes", "too-many", "two-calendars"],
)
def test_rubbish_is_unreadable_and_raises_nothing(calendar: bytes) -> None:
    assert read_mail(reply_mail(calendar)).odd == "unreadable"


@given(st.binary(max_size=2000))
def test_no_bytes_break_the_reading(raw: bytes) -> None:
    mail = read_mail(raw)

    assert len(mail.key) == 64
    assert read_head(raw).message_id == mail.message_id


@given(st.text(max_size=300), st.text(max_size=100))
def test_no_text_in_a_reply_breaks_the_reading(comment: str, uid: str) -> None:
    lines = answer_lines(uid=uid, more=[f"COMMENT:{comment}"])
    text = calendar_text([lines]).encode("utf-8", "replace")

    assert len(read_mail(reply_mail(text)).key) == 64


def test_a_mail_of_words_has_no_calendar() -> None:
    mail = read_mail(reply_mail(None, headers=[("Auto-Submitted", "auto-replied")]))

    assert (mail.odd, mail.automatic) == ("no-calendar", True)


def test_a_mail_of_too_many_parts_is_not_searched_to_its_end() -> None:
    parts = "".join(f"--x\r\n\r\n{n}\r\n" for n in range(100))
    raw = f"Content-Type: multipart/mixed; boundary=x\r\n\r\n{parts}--x--\r\n".encode()

    assert read_mail(raw).odd == "too-many-parts"


def test_a_report_of_failed_delivery_is_known_as_one() -> None:
    """RFC 3464: a part of type message/delivery-status."""
    raw = (
        b"From: MAILER-DAEMON@example.org\r\n"
        b"Content-Type: multipart/report; boundary=x\r\n\r\n"
        b"--x\r\n\r\nfailed\r\n--x\r\nContent-Type: message/delivery-status\r\n\r\n"
        b"Reporting-MTA: dns; mx.example.org\r\n--x--\r\n"
    )

    assert read_mail(raw).odd == "bounce"


@pytest.mark.parametrize(
    "sender",
    ["a@x.org, b@x.org", "undisclosed", "", "=?broken?="],
    ids=["two", "no-address", "none", "broken"],
)
def test_a_mail_without_one_sender_has_none(sender: str) -> None:
    raw = reply_mail(None).replace(
        b"From: A Guardian <guardian@example.org>", f"From: {sender}".encode()
    )

    assert "@" not in read_mail(raw).sender


def test_the_same_mail_has_the_same_key_though_it_came_another_way() -> None:
    raw = reply_mail(calendar_text([answer_lines(uid=UID)]))

    again = read_mail(b"Received: from elsewhere\r\n" + raw)

    assert again.key == read_mail(raw).key


def test_another_answer_under_the_same_message_id_has_another_key() -> None:
    one = read(answer_lines(uid=UID))
    two = read(answer_lines(uid=UID, partstat="DECLINED"))

    assert one.key != two.key


@pytest.mark.parametrize(
    ("line", "sure"),
    [
        ("mx.school.example.org; dmarc=pass header.from=example.org", True),
        ("mx.school.example.org 1; spf=none; dkim=pass header.d=example.org", True),
        ("mx.school.example.org; dkim=pass header.d=elsewhere.net", False),
        ("mx.school.example.org; dkim=pass header.d=org", False),
        ("mx.school.example.org; dkim=fail header.d=example.org; dmarc=fail", False),
        ("mx.forger.net; dmarc=pass header.from=example.org", False),
        ("", False),
    ],
    ids=[
        "dmarc",
        "dkim",
        "other-domain",
        "top-domain",
        "failed",
        "forged-line",
        "none",
    ],
)
def test_only_the_schools_own_server_vouches_for_a_sender(
    line: str, sure: bool
) -> None:
    """RFC 8601 section 5: lines of other servers are not believed."""
    mail = read(headers=[("Authentication-Results", line)] if line else [])

    assert proved(mail, "mx.school.example.org") is sure


def test_only_the_schools_own_form_of_uid_is_looked_up() -> None:
    assert str(uid_of(UID)) == UID
    assert uid_of("not-ours") is None
