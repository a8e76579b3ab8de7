"""The page of remedies: fault and place chosen, one pressed, the row follows."""

import re

import pytest
from django.test import Client as Browser
from django.utils import timezone

from exercises.geometry.spec import spec_as_data
from school.models import AuditEntry, GridDraft, LessonGrid
from school.queries.grids import overruled_of
from school.services.drafts import start_draft
from school.services.grids import attach_grid
from tests.clock import NOW
from tests.exercises.geometry.specs import oxer, pole, spec, vertical, x
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.exercises import ExerciseFactory, ExerciseRevisionFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

ROW = spec(
    x(),
    vertical("one-stride", ground_line="take-off"),
    oxer("one-stride"),
    approach="canter",
    end=[x(of=0), vertical(of=1, ground_line="take-off", height_cm=80), oxer(of=2)],
)


@pytest.fixture
def grid() -> LessonGrid:
    SchoolFactory(tradition="schooling", hole_cm=10)
    StorePieceFactory(working=40)
    ride = RideFactory(horse__name="Onyx", horse__height_cm=165)
    LineFactory(arena=ride.lesson.arena)
    revision = ExerciseRevisionFactory(
        exercise=ExerciseFactory(slug=ROW.slug), spec=spec_as_data(ROW)
    )
    return attach_grid(lesson=ride.lesson, revision=revision, by=None, now=NOW)


@pytest.fixture
def coach(client: Browser, grid: LessonGrid) -> Browser:
    client.force_login(AccountFactory(person=grid.lesson.instructor.person))
    return client


def url(grid: LessonGrid, more: str = "") -> str:
    return f"/lessons/{grid.lesson_id}/remedies/{more}"


def page(coach: Browser, address: str) -> str:
    return coach.get(address).content.decode().replace("&#x27;", "'")


def test_pain_tack_and_distance_come_first_then_fault_and_place(
    coach: Browser, grid: LessonGrid
) -> None:
    text = page(coach, url(grid))

    assert text.index("First look for pain") < text.index("Where is it seen?")
    assert "Rushing, faster down the line" in text
    assert 'aria-current="true">3. oxer 70 cm' in text


def test_remedies_stand_in_order_with_amount_source_and_work(
    coach: Browser, grid: LessonGrid
) -> None:
    text = page(coach, url(grid, "?fault=rushing&at=1"))

    words = ["Halt or walk", "Trot into", "placing pole", "A plank", "one step shorter"]
    places = [text.index(one) for one in words]
    assert places == sorted(places)
    assert "Gap 1, 15 cm shorter." in text
    assert "read in the source" in text
    assert "Ridden: nothing is moved." in text
    assert "bring 1 plank" in text
    # The start 60 s, a plank fetched 28 s, taped 30 s: two minutes.
    assert "2 min of one person's work: bring 1 plank" in text


def test_where_the_trade_disagrees_both_are_shown(
    coach: Browser, grid: LessonGrid
) -> None:
    text = page(coach, url(grid, "?fault=slow-in-front&at=1"))

    assert text.count("The trade disagrees about the ground line") == 2
    assert "Dutch leaflets" in text


def test_a_remedy_pressed_changes_row_fit_and_drawing_and_is_undone(
    coach: Browser, grid: LessonGrid
) -> None:
    press = {"fault": "rushing", "at": "1", "stage": "0", "n": "4"}

    answer = coach.post(url(grid, "take/"), press)

    assert answer["Location"] == f"{url(grid)}?stage=0&at=1&fault=rushing"
    after = LessonGrid.objects.get()
    before_cm = grid.fitted["gaps"][0]["built_cm"]
    assert after.fitted["gaps"][0]["built_cm"] == before_cm - 15
    assert after.start[1]["at_cm"] == grid.start[1]["at_cm"] - 15
    assert f"{(before_cm - 15) / 100:.2f}" in page(coach, url(grid))
    assert AuditEntry.objects.filter(action="change grid").count() == 1

    coach.post(url(grid, "undo/"), {"at": "1", "stage": "0"})
    assert LessonGrid.objects.get().start == grid.start


def test_everything_a_remedy_does_not_speak_of_stays_where_it_stands(
    coach: Browser, grid: LessonGrid
) -> None:
    coach.post(url(grid, "take/"), {"fault": "knocks-behind", "at": "1", "n": "0"})

    after = LessonGrid.objects.get()
    assert after.start[1]["height_cm"] == grid.start[1]["height_cm"] - 10
    assert [e["at_cm"] for e in after.start] == [e["at_cm"] for e in grid.start]


def test_a_remedy_acts_on_the_stage_that_stands(
    coach: Browser, grid: LessonGrid
) -> None:
    coach.post(
        url(grid, "take/"),
        {"fault": "knocks-behind", "at": "1", "stage": "1", "n": "0"},
    )

    after = LessonGrid.objects.get()
    assert after.start[1]["height_cm"] == 60
    assert after.end[1]["height_cm"] == 70
    assert "What stands now?" in page(coach, url(grid, "?stage=1"))


def test_two_steps_are_taken_and_no_third(coach: Browser, grid: LessonGrid) -> None:
    press = {"fault": "rushing", "at": "1", "n": "4"}
    answers = [coach.post(url(grid, "take/"), press).status_code for _ in range(3)]

    assert answers == [302, 302, 409]
    assert len(LessonGrid.objects.get().changes) == 2
    assert "never more than 2 steps" in page(coach, url(grid, "?fault=rushing&at=1"))


def test_a_distance_out_of_the_band_is_kept_as_the_remedys(
    coach: Browser, grid: LessonGrid
) -> None:
    for at in ("1", "2"):
        for _ in range(2):
            coach.post(url(grid, "take/"), {"fault": "rushing", "at": at, "n": "4"})

    after = LessonGrid.objects.get()
    assert [gap["horses"][0]["inside"] for gap in after.fitted["gaps"]] == [False] * 2
    (one,) = overruled_of(after)
    assert (one.subject, one.reason) == (
        "distances for Onyx",
        "Remedy for: rushing, faster down the line",
    )


def test_a_remedy_during_the_lesson_is_taken(coach: Browser, grid: LessonGrid) -> None:
    type(grid.lesson).objects.update(state="running")

    coach.post(url(grid, "take/"), {"fault": "knocks-behind", "at": "1", "n": "0"})

    assert len(LessonGrid.objects.get().changes) == 1


def test_after_the_lesson_its_grid_stays(coach: Browser, grid: LessonGrid) -> None:
    coach.post(url(grid, "take/"), {"fault": "knocks-behind", "at": "1", "n": "0"})
    type(grid.lesson).objects.update(state="done")

    shown = coach.get(url(grid))
    undone = coach.post(url(grid, "undo/"))

    assert (shown.status_code, undone.status_code) == (409, 409)
    assert "its grid stays" in shown.content.decode()


@pytest.mark.parametrize("n", ["0", "99", "x"])
def test_what_is_no_change_is_refused_in_words(
    coach: Browser, grid: LessonGrid, n: str
) -> None:
    answer = coach.post(url(grid, "take/"), {"fault": "rushing", "at": "1", "n": n})

    assert answer.status_code == 409
    assert LessonGrid.objects.get().changes == []


def test_an_unknown_fault_is_not_found(coach: Browser, grid: LessonGrid) -> None:
    assert coach.post(url(grid, "take/"), {"fault": "hiccups"}).status_code == 404


def test_an_unknown_place_is_the_last_element(coach: Browser, grid: LessonGrid) -> None:
    text = page(coach, url(grid, "?at=77&stage=9"))

    assert 'aria-current="true">3. oxer' in text


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_takes_the_same_queries_for_any_ride(
    coach: Browser, grid: LessonGrid, count: int, django_assert_num_queries
) -> None:
    for n in range(count):
        RideFactory(lesson=grid.lesson, horse__name=f"Other {n}", horse__height_cm=165)

    with django_assert_num_queries(17):
        coach.get(url(grid, "?fault=rushing&at=1"))


@pytest.fixture
def draft(client: Browser) -> GridDraft:
    SchoolFactory()
    exercise = ExerciseFactory(slug=ROW.slug)
    exercise.current = ExerciseRevisionFactory(
        exercise=exercise, spec=spec_as_data(ROW)
    )
    exercise.save()
    account = AccountFactory(manager=True, person=None)
    client.force_login(account)
    return start_draft(by=account, now=timezone.now(), exercise=exercise)


def test_a_grid_in_the_making_takes_a_remedy_as_one_step(
    client: Browser, draft: GridDraft
) -> None:
    address = f"/grids/{draft.pk}/remedies/"
    press = {"fault": "rushing", "at": "1", "n": "3", "version": "1"}

    assert "Trot into the row." in page(client, f"{address}?fault=rushing&at=1")
    client.post(f"{address}take/", press)

    after = GridDraft.objects.get()
    assert len(after.steps) == 2
    assert [e["kind"] for e in after.steps[1]["spec"]["elements"]] == [
        "cross",
        "plank",
        "vertical",
        "oxer",
    ]
    client.post(f"/grids/{draft.pk}/undo/", {"version": after.version})
    assert GridDraft.objects.get().at == 0


def test_an_older_page_of_a_grid_in_the_making_is_refused(
    client: Browser, draft: GridDraft
) -> None:
    press = {"fault": "rushing", "at": "1", "n": "3", "version": "9"}

    answer = client.post(f"/grids/{draft.pk}/remedies/take/", press)

    assert answer.status_code == 409
    assert len(GridDraft.objects.get().steps) == 1


def test_what_is_not_there_is_not_found(client: Browser, draft: GridDraft) -> None:
    assert client.get("/grids/9999/remedies/").status_code == 404
    wrong = {"fault": "hiccups"}
    assert client.post(f"/grids/{draft.pk}/remedies/take/", wrong).status_code == 404


def test_a_pole_before_the_row_moves_nothing_else(
    coach: Browser, grid: LessonGrid
) -> None:
    coach.post(url(grid, "take/"), {"fault": "rushing", "at": "1", "n": "1"})
    text = page(coach, url(grid, "?fault=rushing&at=1"))

    assert "1 min" not in text
    assert "2 min of one person's work: bring 1 pole" in text


def test_only_poles_have_no_fence_to_help(client: Browser, draft: GridDraft) -> None:
    poles = spec(pole(), pole("trot-poles"))
    draft.steps = [{"spec": spec_as_data(poles), "says": ""}]
    draft.save()

    text = page(client, f"/grids/{draft.pk}/remedies/?fault=flat&at=1")

    assert "Not here: Element 2 (pole) is no fence." in text


def test_a_log_leads_to_the_element_of_the_row_as_it_was_ridden(
    coach: Browser, grid: LessonGrid
) -> None:
    page = coach.get(
        f"/lessons/{grid.lesson_id}/remedies/?fault=knocks-behind&element=2"
    ).content.decode()

    here = re.findall(r'aria-current="true">(\d+)\. ', page)
    assert "2" in here
    assert "Knocks behind: smallest change first" in page
