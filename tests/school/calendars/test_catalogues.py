"""Translations: complete, with the same names in braces, and compiled."""

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

from school.enums import Language

SCHOOL = Path(__file__).parents[3] / "school"
KEYWORDS = {"_": None, "gettext": None, "ngettext": (1, 2), "pgettext": ((1, "c"), 2)}
OTHERS = [one.value for one in Language if one != Language.ENGLISH]

Key = tuple[str | None, str]


def texts() -> set[Key]:
    """Return every text that is marked for translation, with its context."""
    found = extract_from_dir(SCHOOL / "calendars", keywords=KEYWORDS)
    return {
        (context, one if isinstance(one, str) else one[0])
        for _, _, one, _, context in found
    }


def catalogue(language: str, kind: str) -> Catalog:
    path = SCHOOL / "locale" / language / "LC_MESSAGES" / f"django.{kind}"
    with path.open("rb") as file:
        return read_po(file, locale=language) if kind == "po" else read_mo(file)


def _text(context: str | bytes | None) -> str | None:
    return context.decode() if isinstance(context, bytes) else context


def entries(language: str, kind: str) -> dict[Key, tuple[str, ...]]:
    return {
        (_text(one.context), one.id if isinstance(one.id, str) else one.id[0]): (
            (one.string,) if isinstance(one.string, str) else tuple(one.string)
        )
        for one in catalogue(language, kind)
        if one.id
    }


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_is_translated_and_none_is_left_over(language: str) -> None:
    translated = {key for key, words in entries(language, "po").items() if all(words)}

    assert translated == texts()


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_has_the_names_of_its_text(language: str) -> None:
    for (_, text), words in entries(language, "po").items():
        names = set(re.findall(r"\{\w+\}", text))
        assert all(set(re.findall(r"\{\w+\}", one)) == names for one in words), text


@pytest.mark.parametrize("language", OTHERS)
def test_the_compiled_catalogue_is_that_of_the_source(language: str) -> None:
    assert entries(language, "mo") == entries(language, "po")
