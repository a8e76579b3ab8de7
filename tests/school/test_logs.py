import logging

from school.logs import HideFeedTokens


def said(message: str, *args: object) -> str:
    record = logging.LogRecord("x", logging.INFO, "x", 1, message, args, None)
    assert HideFeedTokens().filter(record)
    return record.getMessage()


def test_a_calendar_address_is_logged_without_its_secret() -> None:
    words = said("%s: %s", "Not Found", "/agenda/client/s3cr3t-token.ics")

    assert words == "Not Found: /agenda/client/…"


def test_other_addresses_are_logged_whole() -> None:
    assert said("Not Found: %s", "/lessons/7/") == "Not Found: /lessons/7/"


def test_a_link_for_a_day_is_logged_without_its_secret() -> None:
    assert said("Not Found: %s", "/today/WzE.s1g/") == "Not Found: /today/…/"


def test_a_signed_link_is_logged_without_its_secret() -> None:
    words = said("Not Found: %s", "/my/WzEsMCwwLDE4M.s1gnature/lessons/7/")

    assert words == "Not Found: /my/…/lessons/7/"
