"""Cups counted back: what is missing is not planned with."""

import pytest

from scheduling.convert.days import day_document
from scheduling.models import Standing
from scheduling.queries.days import day_rows
from scheduling.services.cups import UnableToCount, count_cups, cups_now, cups_of
from school.models import AuditEntry, StorePiece
from tests.clock import NOW, SATURDAY
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, oxer, vertical

pytestmark = pytest.mark.django_db


@pytest.fixture
def pail() -> StorePiece:
    """A pail of 40 cups, of which a cross and a two-railed vertical have six."""
    SchoolFactory()
    Standing.objects.create(
        line=LineFactory(), elements=[cross(300), vertical(900, 80)], as_of_at=NOW
    )
    return StorePieceFactory(piece="cup", working=40, broken=3, weight_g=400)


def count(counted: int, expected: int = 34) -> int:
    return count_cups(counted=counted, expected=expected, by=None, now=NOW)


def test_cups_go_by_the_handbook() -> None:
    # Two a pole in cups on a vertical, two in all on a cross: the project's handbook
    # (widely taught). An oxer of one rail has two in front and two safety cups behind.
    assert cups_of([cross(0)]) == 2
    assert cups_of([vertical(0, 80)]) == 4
    assert cups_of([oxer(0, height_cm=60)]) == 4


def test_what_does_not_stand_should_be_in_the_pail(pail: StorePiece) -> None:
    now = cups_now()

    assert (now.working, now.broken, now.pail) == (40, 3, 34)
    assert [on for _, on in now.on_lines] == [6]


def test_a_count_that_comes_out_changes_nothing(pail: StorePiece) -> None:
    assert count(34) == 0

    assert not AuditEntry.objects.exists()


def test_what_is_missing_is_no_longer_planned_with(pail: StorePiece) -> None:
    assert count(31) == 3

    pail.refresh_from_db()
    assert (pail.working, pail.broken) == (37, 6)
    assert day_document(day_rows(SATURDAY))["stock"]["cup"] == 37


def test_the_same_count_twice_is_taken_once(pail: StorePiece) -> None:
    count(31)

    assert count(31) == 0

    pail.refresh_from_db()
    assert pail.working == 37
    assert AuditEntry.objects.filter(action="count cups").count() == 1


def test_what_is_found_again_is_planned_with_again(pail: StorePiece) -> None:
    assert count(36) == -2

    pail.refresh_from_db()
    assert (pail.working, pail.broken) == (42, 1)


def test_more_than_ever_was_puts_the_book_right(pail: StorePiece) -> None:
    count(44)

    pail.refresh_from_db()
    assert (pail.working, pail.broken) == (50, 0)


def test_what_is_missing_is_taken_from_where_most_are(pail: StorePiece) -> None:
    other = StorePieceFactory(piece="cup", place="hall", working=10, weight_g=400)

    count(0, expected=44)

    pail.refresh_from_db()
    other.refresh_from_db()
    assert (pail.working, other.working) == (0, 6)


def test_a_count_of_another_pail_is_asked_again(pail: StorePiece) -> None:
    with pytest.raises(UnableToCount, match="34 should be in the pail"):
        count(30, expected=38)


@pytest.mark.parametrize("counted", [-1, 10_001])
def test_a_number_that_is_none_is_refused(pail: StorePiece, counted: int) -> None:
    with pytest.raises(UnableToCount):
        count(counted)


def test_without_cups_in_the_book_there_is_nothing_to_count() -> None:
    with pytest.raises(UnableToCount, match="no cups in its book"):
        count(4, expected=0)
