"""Pages of grids in the making: what is pressed is done, said and kept."""

import re
from typing import Any

import pytest
from django.test import Client as Browser

from exercises.models import Exercise
from exercises.services import load_library
from school.convert import history_of
from school.models import GridDraft, Lesson, School
from tests.clock import NOW
from tests.factories.arenas import LineFactory, StorePieceFactory
from tests.factories.drafts import GridDraftFactory
from tests.factories.lessons import RideFactory
from tests.factories.people import AccountFactory, InstructorFactory
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Browser) -> Browser:
    SchoolFactory()
    load_library(now=NOW)
    client.force_login(AccountFactory(person=InstructorFactory().person))
    return client


def begin(browser: Browser, slug: str = "placing-pole-double") -> GridDraft:
    browser.post("/grids/start/", {"exercise": slug})
    return GridDraft.objects.get()


def press(browser: Browser, draft: GridDraft, do: str, what: str = "edit", **more: Any):
    draft.refresh_from_db()
    data = {"version": draft.version, "stage": 0, "size_cm": 165, "do": do} | more
    response = browser.post(f"/grids/{draft.pk}/{what}/", data, follow=True)
    return response, response.content.decode()


def undoes(draft: GridDraft) -> str:
    draft.refresh_from_db()
    return history_of(draft).undoes


def test_an_exercise_offers_to_be_changed_and_the_list_a_new_grid(
    browser: Browser,
) -> None:
    assert (
        "Change this one"
        in browser.get("/exercises/placing-pole-double/").content.decode()
    )
    assert "New grid" in browser.get("/exercises/").content.decode()


def test_what_is_begun_is_found_again_as_it_was_left(browser: Browser) -> None:
    draft = begin(browser)
    press(browser, draft, "height", at=1, by_cm=5)
    browser.logout()
    browser.force_login(draft.account)

    listed = browser.get("/grids/").content.decode()
    page = browser.get(f"/grids/{draft.pk}/").content.decode()

    assert draft.name in listed
    assert "Last: First fence up 5 cm" in page
    assert page.count("<svg") == 2


ELEMENT = {
    "at": 1,
    "kind": "cross",
    "height": "40 cm",
    "ground_line": "none",
}


@pytest.mark.parametrize(
    ("do", "more", "says"),
    [
        ("height", {"at": 1, "by_cm": -5}, "First fence down 5 cm"),
        ("element", ELEMENT | {"height": "0.60 m"}, "First fence up 20 cm"),
        ("element", ELEMENT | {"kind": "oxer"}, "First fence is now an oxer"),
        (
            "element",
            ELEMENT | {"ground_line": "both", "guides": "on"},
            "First fence with a ground line on both sides; "
            "First fence with guide rails",
        ),
        (
            "element",
            ELEMENT | {"kind": "oxer", "spread": "90", "ascending": "on"},
            "First fence is now an oxer; First fence 50 cm wider; "
            "First fence ascending",
        ),
        ("gap", {"at": 2, "gap": "bounce", "length": "5.70 m", "was": "5.70 m"},
         "Gap before the third element meant as a bounce"),
        ("gap", {"at": 2, "gap": "one-stride", "length": "6.2", "was": "5.70 m"},
         "Gap before the third element is 6.20 m"),
        ("gap", {"at": 2, "gap": "measure", "length": "5.70 m", "was": "5.70 m"},
         "Gap before the third element is 5.70 m"),
        ("add", {"at": 3, "kind": "oxer"}, "An oxer added at the end of the row"),
        ("remove", {"at": 0}, "Pole taken out"),
        ("earlier", {"at": 2}, "Second fence moved earlier, now second in the row"),
        ("later", {"at": 0}, "Pole moved later, now second in the row"),
        ("passes", {"passes": "4"}, "The row as built ridden 4 times"),
        (
            "row",
            {"name": "Our double", "aim": "Go up", "level": "advanced",
             "approach": "canter", "both_ways": "on"},
            "Called Our double; Now for advanced riders; Ridden into in canter; "
            "Ridden both ways",
        ),
    ],
)  # fmt: skip
def test_what_is_pressed_is_done_and_said(
    browser: Browser, do: str, more: dict, says: str
) -> None:
    draft = begin(browser)

    press(browser, draft, do, **more)

    assert undoes(draft) == says


@pytest.mark.parametrize(
    ("do", "more", "says"),
    [
        ("turn", {}, "then turn the row round."),
        ("gap", {"at": 2, "gap": "one-stride", "length": "0", "was": "x"},
         "0.00 m is too short for the gap before the third element"),
        ("gap", {"at": 2, "gap": "one-stride", "length": "40 m", "was": "x"},
         "40.00 m is too long for the gap before the third element"),
        ("gap", {"at": 2, "gap": "one-stride", "length": "far", "was": "x"},
         "is no length; write 6.20 m"),
        ("gap", {"at": 2, "gap": "one-stride", "length": "", "was": "x"},
         "Write how long the gap before the third element is"),
        ("element", ELEMENT | {"height": "180"}, "180 cm is too high for the first"),
        ("element", ELEMENT | {"height": "high"}, "is no height; write 80 cm"),
        ("element", ELEMENT | {"kind": "ditch"}, "A field holds what it should not"),
        ("remove", {"at": "x"}, "A field holds what it should not"),
        ("row", {"name": "A row", "aim": "Go up", "level": "none",
                 "approach": "trot"}, "That change is not understood"),
        ("fly", {}, "That change is not understood"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words_and_nothing_is_lost(
    browser: Browser, do: str, more: dict, says: str
) -> None:
    draft = begin(browser)
    press(browser, draft, "height", at=1, by_cm=5)

    response, page = press(browser, draft, do, **more)

    assert response.status_code == 409
    assert says in page
    assert undoes(draft) == "First fence up 5 cm"


def test_a_row_meant_for_both_ways_is_turned_round(browser: Browser) -> None:
    draft = begin(browser, "both-ways-row")

    press(browser, draft, "turn")

    assert undoes(draft) == "Row turned round: ridden from the other end"


def test_how_often_a_stage_is_ridden_is_set(browser: Browser) -> None:
    draft = begin(browser)

    press(browser, draft, "passes", stage=1, passes=5)

    draft.refresh_from_db()
    assert history_of(draft).spec.stages[0].passes == 5
    shown = browser.get(f"/grids/{draft.pk}/?stage=1").content.decode()
    assert "<option selected>5</option>" in shown


def test_a_step_is_undone_and_done_again(browser: Browser) -> None:
    draft = begin(browser)
    press(browser, draft, "height", at=1, by_cm=5)

    press(browser, draft, "", "undo")
    draft.refresh_from_db()
    undone = history_of(draft)
    press(browser, draft, "", "redo")

    assert (undone.undoes, undone.redoes) == ("", "First fence up 5 cm")
    assert undoes(draft) == "First fence up 5 cm"


def test_a_second_window_is_told_what_the_first_changed(browser: Browser) -> None:
    draft = begin(browser)
    press(browser, draft, "height", at=1, by_cm=5)

    response, page = press(browser, draft, "height", at=1, by_cm=5, version=1)
    odd, _ = press(browser, draft, "height", at=1, by_cm=5, version="x")

    assert response.status_code == 409
    assert "changed in another window: First fence up 5 cm." in page
    assert odd.status_code == 409
    assert GridDraft.objects.get().version == 2


def test_htmx_gets_the_changing_part_alone(browser: Browser) -> None:
    draft = begin(browser)
    data = {"version": 1, "stage": 0, "do": "height", "at": 1, "by_cm": 5}
    address = f"/grids/{draft.pk}/edit/"

    done = browser.post(address, data, headers={"hx-request": "true"})
    refused = browser.post(address, data, headers={"hx-request": "true"})
    same = browser.post(
        address, data | {"version": 2, "by_cm": 0}, headers={"hx-request": "true"}
    )

    assert done.content.decode().startswith('<div id="editor"')
    assert "First fence up 5 cm" in done.content.decode()
    assert refused.status_code == 200
    assert "changed in another window" in refused.content.decode()
    assert "Nothing to change." in same.content.decode()


def test_a_stage_is_looked_at_changed_and_added(browser: Browser) -> None:
    draft = begin(browser, "poles-to-oxer")
    stages = len(history_of(draft).spec.stages)

    press(browser, draft, "height", at=2, by_cm=5, stage=stages + 1)
    page = browser.get(f"/grids/{draft.pk}/?stage={stages + 1}").content.decode()
    new = browser.get(f"/grids/{draft.pk}/?stage={stages + 2}").content.decode()
    far = browser.get(f"/grids/{draft.pk}/?stage=99&size_cm=7").content.decode()
    draft.refresh_from_db()
    press(browser, draft, "remove-stage", stage=stages + 1)

    assert "changes here" in page
    assert "Take out" not in page
    assert "it becomes a new stage" in new
    assert "Take out" in far
    assert undoes(draft) == f"Stage {stages + 1} left out"


def test_what_a_stage_adds_stands_where_it_is_ridden(browser: Browser) -> None:
    draft = begin(browser)
    spec = draft.steps[0]["spec"]
    spec["stages"] = [
        {
            "says": "One more",
            "changes": [{"kind": "pole", "gap": "landing", "after": 1}],
        }
    ]
    draft.save()

    page = browser.get(f"/grids/{draft.pk}/?stage=1").content.decode()

    places = [page.index(f'id="element-{slot}"') for slot in (0, 1, 3, 2)]
    assert places == sorted(places)


def test_the_row_is_judged_against_lines_and_store(browser: Browser) -> None:
    LineFactory(length_cm=2000, name="Short")
    StorePieceFactory(piece="wing", working=1)
    draft = begin(browser)

    page = browser.get(f"/grids/{draft.pk}/?size_cm=128").content.decode()

    assert "more than the store has" in page
    assert '<option value="128" selected>' in page


def test_lengths_are_shown_and_read_in_the_schools_units(browser: Browser) -> None:
    School.objects.update(
        length_unit="feet", height_unit="holes", horse_unit="hands", hole_cm=10
    )
    draft = begin(browser)

    page = browser.get(f"/grids/{draft.pk}/").content.decode()
    press(browser, draft, "element", **ELEMENT | {"height": "hole 5"})

    assert "hole 3 (40 cm)" in page
    assert " ft " in page
    assert "16.1 hh" in page
    assert undoes(draft) == "First fence up 2 holes"


def test_a_grid_is_kept_as_the_schools_own_or_put_away(browser: Browser) -> None:
    draft = begin(browser)
    press(browser, draft, "height", at=1, by_cm=5)

    _, kept = press(browser, draft, "", "keep")
    again = begin(browser)
    _, dropped = press(browser, again, "", "drop")

    assert "is kept as the school&#x27;s own, revision 2" in kept
    assert "is put away; nothing else has changed." in dropped
    assert not GridDraft.objects.exists()


def test_a_new_grid_is_kept_only_with_a_name(browser: Browser) -> None:
    draft = begin(browser, "")

    response, page = press(browser, draft, "", "keep")
    press(browser, draft, "row", name="Our own row", aim="Go up", level="novice",
          approach="trot")  # fmt: skip
    press(browser, draft, "", "keep", as_new="on")

    assert response.status_code == 409
    assert "Give the grid a name first" in page
    assert Exercise.objects.get(slug="our-own-row").own


def test_keeping_after_somebody_else_asks_to_look_first(browser: Browser) -> None:
    draft = begin(browser)
    other = GridDraftFactory(exercise=draft.exercise, revision=draft.revision)
    browser.force_login(other.account)
    other.account.is_manager = True
    other.account.save()
    press(browser, other, "", "keep")
    browser.force_login(draft.account)

    response, page = press(browser, draft, "", "keep")
    _, kept = press(browser, draft, "", "keep", seen=2)

    assert response.status_code == 409
    assert 'name="seen" value="2"' in page
    assert "revision 3" in kept


def test_a_grid_put_away_in_another_window_leads_back_to_the_list(
    browser: Browser,
) -> None:
    draft = begin(browser)
    page = browser.get(f"/grids/{draft.pk}/")
    GridDraft.objects.all().delete()

    assert page.status_code == 200
    assert browser.get(f"/grids/{draft.pk}/").status_code == 404


@pytest.fixture
def teacher(browser: Browser) -> Lesson:
    """A lesson of two horses, whose instructor is signed in."""
    ride = RideFactory(horse__name="Onyx", horse__height_cm=168, lesson__title="Jump")
    RideFactory(lesson=ride.lesson, horse__name="Mote", horse__height_cm=118)
    LineFactory(arena=ride.lesson.arena)
    browser.force_login(AccountFactory(person=ride.lesson.instructor.person))
    return ride.lesson


def test_a_grid_made_in_a_lesson_is_fitted_to_its_horses(
    browser: Browser, teacher: Lesson
) -> None:
    offered = browser.get(f"/lessons/{teacher.pk}/").content.decode()
    browser.post("/grids/start/", {"lesson": teacher.pk})
    draft = GridDraft.objects.get()
    press(browser, draft, "add", at=2, kind="vertical")

    page = browser.get(f"/grids/{draft.pk}/").content.decode()

    assert "Make a new grid" in offered
    assert "Fitted to <strong>Onyx, Mote</strong> of Jump." in page
    assert '<span class="tag bad">Onyx ' in page
    assert "Use it in Jump" in page
    assert "For Jump." in browser.get("/grids/").content.decode()


def test_a_lessons_grid_is_changed_and_what_does_not_fit_needs_a_reason(
    browser: Browser, teacher: Lesson
) -> None:
    browser.post("/grids/start/", {"lesson": teacher.pk})
    draft = GridDraft.objects.get()
    press(browser, draft, "add", at=2, kind="vertical")
    press(browser, draft, "row", name="Our own row", aim="Go up", level="novice",
          approach="trot")  # fmt: skip

    response, refused = press(browser, draft, "", "keep")
    subjects = re.findall('name="reason:([^"]+)"', refused)
    _, page = press(
        browser,
        draft,
        "",
        "keep",
        **{f"reason:{one}": "as last week" for one in subjects},
    )

    assert response.status_code == 409
    assert "The grid does not fit Jump" in refused
    assert "grid is changed." in page
    assert "Our own row" in page
    assert "Change this one" in page


def test_a_lesson_without_horses_says_so_and_can_be_drawn_all_the_same(
    browser: Browser, teacher: Lesson
) -> None:
    RideFactory(lesson=teacher, horse=None, rider__person__first_name="Mira")
    browser.post("/grids/start/", {"lesson": teacher.pk})

    page = browser.get(f"/grids/{GridDraft.objects.get().pk}/").content.decode()

    assert "Give Mira a horse first" in page
    assert page.count("<svg") == 2


def test_a_lessons_grid_is_its_own_instructors(
    browser: Browser, teacher: Lesson
) -> None:
    browser.post("/grids/start/", {"lesson": teacher.pk})
    other = AccountFactory(person=InstructorFactory().person)
    mine = GridDraftFactory(account=other, lesson=teacher)
    browser.force_login(other)

    assert browser.post("/grids/start/", {"lesson": teacher.pk}).status_code == 403
    assert browser.post("/grids/start/", {"lesson": 999}).status_code == 404
    assert browser.get(f"/grids/{mine.pk}/").status_code == 403


def test_a_grid_is_begun_only_from_what_there_is(browser: Browser) -> None:
    Exercise.objects.create(slug="empty-one", name="Empty")

    for slug in ("unknown", "empty-one"):
        assert browser.post("/grids/start/", {"exercise": slug}).status_code == 404


@pytest.mark.parametrize("n", [1, 3])
def test_the_list_takes_a_constant_number_of_queries(
    browser: Browser, django_assert_num_queries, n: int
) -> None:
    account = AccountFactory(manager=True)
    for exercise in Exercise.objects.order_by("pk")[:n]:
        GridDraftFactory(account=account, exercise=exercise, revision=exercise.current)
    browser.force_login(account)

    with django_assert_num_queries(8):
        browser.get("/grids/")


@pytest.mark.parametrize("n", [1, 3])
def test_the_page_takes_a_constant_number_of_queries(
    browser: Browser, django_assert_num_queries, n: int
) -> None:
    draft = begin(browser)
    for _ in range(n):
        LineFactory()
        StorePieceFactory(place=f"place {_}")

    with django_assert_num_queries(11):
        browser.get(f"/grids/{draft.pk}/")
