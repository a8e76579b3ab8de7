import pytest

from scheduling.models import Standing
from scheduling.queries.changeovers import timed_changeovers
from scheduling.services.changeovers import (
    UnableToCorrect,
    UnableToReset,
    correct_standing,
    finish_changeover,
    report_trouble,
    start_changeover,
    tick_move,
)
from school.models import AuditEntry, Lesson
from tests.clock import NOW, at
from tests.factories.arenas import LineFactory
from tests.factories.people import AccountFactory
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.scheduling.days import cross, oxer, pole

pytestmark = pytest.mark.django_db

BEGIN, END = at("09:45"), at("09:56")


@pytest.fixture
def changeover():
    one = ChangeoverFactory(plan=DayPlanFactory(state="published"))
    ChangeoverMoveFactory(changeover=one, position=1, do="strip", was=cross(300))
    ChangeoverMoveFactory(changeover=one, position=2, do="build", now=cross(1240))
    one.moves.filter(position=1).update(now=None)
    return one


@pytest.fixture
def renske():
    return AccountFactory()


def test_starting_keeps_the_moment(changeover, renske):
    assert start_changeover(changeover=changeover, by=renske, now=BEGIN).started_at == (
        BEGIN
    )


def test_starting_twice_keeps_the_first_moment(changeover, renske):
    start_changeover(changeover=changeover, by=renske, now=BEGIN)

    again = start_changeover(changeover=changeover, by=renske, now=END)

    assert again.started_at == BEGIN
    assert AuditEntry.objects.filter(action="start").count() == 1


def test_done_before_start_is_done_and_nothing_is_learned_from_it(changeover, renske):
    done = finish_changeover(changeover=changeover, by=renske, now=END)

    assert (done.started_at, done.done_at) == (END, END)
    assert changeover not in timed_changeovers()


def test_done_told_late_does_not_undo_what_was_seen_since(changeover, renske):
    correct_standing(line=changeover.line, elements=[pole(100)], by=renske, now=END)

    finish_changeover(changeover=changeover, by=renske, now=BEGIN)

    assert Standing.objects.get().elements == [pole(100)]


def test_a_tick_made_after_it_was_taken_back_stays(changeover, renske):
    move = changeover.moves.first()
    tick_move(move=move, ticked=True, by=renske, now=END)

    with pytest.raises(UnableToReset, match="ticked again at"):
        tick_move(move=move, ticked=False, by=renske, now=BEGIN)


def test_done_means_the_line_stands_as_wanted(changeover, renske):
    start_changeover(changeover=changeover, by=renske, now=BEGIN)

    done = finish_changeover(changeover=changeover, by=renske, now=END, note=" ok ")

    standing = Standing.objects.get(line=changeover.line)
    assert (done.done_at, done.note) == (END, "ok")
    assert standing.elements == [cross(1240)]
    assert standing.as_of_at == END


def test_done_ticks_what_was_left_unticked(changeover, renske):
    start_changeover(changeover=changeover, by=renske, now=BEGIN)
    finish_changeover(changeover=changeover, by=renske, now=END)

    assert [move.ticked_at for move in changeover.moves.all()] == [END, END]


def test_done_twice_keeps_the_first_moment(changeover, renske):
    start_changeover(changeover=changeover, by=renske, now=BEGIN)
    finish_changeover(changeover=changeover, by=renske, now=END)

    again = finish_changeover(changeover=changeover, by=renske, now=at("11:00"))

    assert again.done_at == END
    assert AuditEntry.objects.filter(action="finish").count() == 1


def test_a_phone_whose_clock_is_behind_is_never_done_before_it_started(
    changeover, renske
):
    start_changeover(changeover=changeover, by=renske, now=END)

    assert finish_changeover(changeover=changeover, by=renske, now=BEGIN).done_at == END


def test_the_first_tick_starts_the_work(changeover, renske):
    move = tick_move(move=changeover.moves.first(), ticked=True, by=renske, now=BEGIN)

    changeover.refresh_from_db()
    assert (move.ticked_at, move.ticked_by) == (BEGIN, renske)
    assert changeover.started_at == BEGIN


def test_ticking_twice_keeps_the_first_moment(changeover, renske):
    move = changeover.moves.first()
    tick_move(move=move, ticked=True, by=renske, now=BEGIN)

    assert tick_move(move=move, ticked=True, by=renske, now=END).ticked_at == BEGIN


def test_a_tick_can_be_taken_back(changeover, renske):
    move = changeover.moves.first()
    tick_move(move=move, ticked=True, by=renske, now=BEGIN)

    again = tick_move(move=move, ticked=False, by=renske, now=END)

    assert (again.ticked_at, again.ticked_by) == (None, None)
    assert AuditEntry.objects.filter(action="untick").count() == 1


def test_a_done_changeover_keeps_its_ticks(changeover, renske):
    start_changeover(changeover=changeover, by=renske, now=BEGIN)
    finish_changeover(changeover=changeover, by=renske, now=END)

    with pytest.raises(UnableToReset, match="is done"):
        tick_move(move=changeover.moves.first(), ticked=False, by=renske, now=END)


def test_an_old_list_is_refused(renske):
    old = ChangeoverFactory(plan=DayPlanFactory(state="replaced"))

    with pytest.raises(UnableToReset, match="Open the reset list again"):
        start_changeover(changeover=old, by=renske, now=BEGIN)


def test_nothing_is_built_for_a_cancelled_lesson(changeover, renske):
    Lesson.objects.filter(pk=changeover.lesson_id).update(
        state="cancelled", state_reason="ill"
    )

    with pytest.raises(UnableToReset, match="was cancelled"):
        start_changeover(changeover=changeover, by=renske, now=BEGIN)


def test_trouble_is_kept_and_written_down_once(changeover, renske):
    for says, now in ((" a wing broke ", BEGIN), ("a  wing broke", END)):
        one = report_trouble(
            changeover=changeover, what="", says=says, by=renske, now=now
        )

    assert one.note == "a wing broke"
    assert AuditEntry.objects.filter(action="trouble").count() == 1


def test_trouble_needs_words(changeover, renske):
    with pytest.raises(UnableToReset, match="what is the trouble"):
        report_trouble(changeover=changeover, what="", says="  ", by=renske, now=BEGIN)


def test_what_really_stands_is_kept_in_the_order_of_the_datum(renske):
    line = LineFactory()

    standing = correct_standing(
        line=line, elements=[oxer(2000), pole(100)], by=renske, now=NOW
    )

    assert [one["at_cm"] for one in standing.elements] == [100, 2000]
    assert standing.corrected_by == renske


def test_a_correction_sent_twice_is_written_down_once(renske):
    line = LineFactory()
    for now in (BEGIN, END):
        standing = correct_standing(line=line, elements=[pole(100)], by=renske, now=now)

    assert standing.as_of_at == BEGIN
    assert AuditEntry.objects.filter(action="correct").count() == 1


def test_a_correction_keeps_what_was_known_before(renske):
    line = LineFactory()
    correct_standing(line=line, elements=[pole(100)], by=renske, now=BEGIN)
    correct_standing(line=line, elements=[], by=renske, now=END)

    entry = AuditEntry.objects.filter(action="correct").order_by("pk").last()
    assert entry.before == {"elements": [pole(100)]}


@pytest.mark.parametrize(
    ("element", "says"),
    [
        ({"kind": "pole", "at_cm": 100, "colour": "red"}, "does not have 'colour'"),
        ({"kind": "pole", "at_cm": 100, "faces": "left"}, "up or down"),
        ({"kind": "wall", "at_cm": 100}, "a kind and its place"),
        ({"kind": "pole"}, "a kind and its place"),
        ({"kind": "cross", "at_cm": 100}, "needs a height"),
        ({"kind": "pole", "at_cm": 9000}, "beyond the end"),
        ({"kind": "pole", "at_cm": -5}, "beyond the end"),
    ],
    ids=["key", "faces", "kind", "place", "height", "far", "before"],
)
def test_a_correction_that_can_not_stand_is_refused(element, says, renske):
    with pytest.raises(UnableToCorrect, match=says):
        correct_standing(line=LineFactory(), elements=[element], by=renske, now=NOW)
