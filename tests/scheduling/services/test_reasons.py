"""The reasons of a changeover in words."""

import pytest

from scheduling.dayplan.reasons import Instead, Obstacle, Reason, Rule
from scheduling.models import Changeover
from scheduling.services import reasons
from scheduling.services.plans import make_plan
from scheduling.services.reasons import reason_of
from tests.clock import NOW, SATURDAY
from tests.scheduling.rows import small_day

pytestmark = pytest.mark.django_db


def changeover(*, windows: bool = True) -> Changeover:
    small_day(windows=windows)
    plan = make_plan(date=SATURDAY, by=None, now=NOW, seconds=120)
    return plan.changeovers.order_by("starts_at").first()


def said(monkeypatch, one: Changeover, *obstacles: Obstacle, **changes) -> str:
    slot = {"start_min": 600, "arena": f"arena-{one.line.arena_id}", "saved_s": 125}
    instead = Instead(**(slot | {"swapped": None, "obstacles": obstacles} | changes))
    reason = Reason(600, 700, 550, f"lesson-{one.lesson_id}", instead)
    monkeypatch.setattr(reasons.Reasons, "of", lambda self, name: reason)
    return " ".join(reason_of(one))


def test_a_changeover_says_what_it_takes_and_what_suits_best_before_it():
    says = " ".join(reason_of(changeover()))

    assert "on a bare line the same grid would take" in says
    assert "suits best before it is that of Ride of" in says


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (Rule.WINDOW, "may start only from 09:00 to 12:00"),
        (Rule.ARENA, "may not be in that arena"),
        (Rule.PERSON, "is in a closed arena then"),
        (Rule.HORSE, "must rest after it"),
        (Rule.MOVES, "is weighed as 30 s"),
    ],
)
def test_each_rule_is_named(monkeypatch, rule: Rule, words: str):
    one = changeover()
    obstacle = Obstacle(rule, f"lesson-{one.lesson_id}", "closure-0-arena-1")

    says = said(monkeypatch, one, obstacle)

    assert "at 10:00 in Hall the day would need 2 min 5 s less, but" in says
    assert words in says


def test_a_fixed_start_is_named_as_such(monkeypatch):
    one = changeover(windows=False)

    says = said(monkeypatch, one, Obstacle(Rule.WINDOW, f"lesson-{one.lesson_id}"))

    assert "is fixed" in says


def test_an_exchange_names_the_other(monkeypatch):
    one = changeover()
    other = next(x for x in one.plan.lessons.all() if x.lesson_id != one.lesson_id)

    says = said(monkeypatch, one, swapped=f"lesson-{other.lesson_id}")

    assert f"in exchange with {other.lesson.title}" in says
    assert "nothing forbids it" in says


def test_less_than_a_minute_is_not_worth_a_sentence(monkeypatch):
    says = said(monkeypatch, changeover(), saved_s=59)

    assert "would save a minute" in says


def test_a_lesson_that_is_gone_is_said_so(monkeypatch):
    says = said(monkeypatch, changeover(), swapped="lesson-99999")

    assert "a lesson that is gone" in says


def test_a_row_that_stands_alone_names_no_other(monkeypatch):
    one = changeover()
    alone = Reason(600, 700, None, None, None)
    monkeypatch.setattr(reasons.Reasons, "of", lambda self, name: alone)

    assert len(reason_of(one)) == 2
