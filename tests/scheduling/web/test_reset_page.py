"""The reset list as a page: what it says of changes, and works without a script."""

from datetime import timedelta
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.utils import timezone
from PIL import Image

from scheduling.models import Changeover, DayPlan, Press
from school.models import Account, Lesson
from tests.clock import NOW, SATURDAY, at
from tests.factories.lessons import LessonFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    DayPlanFactory,
    PressFactory,
)
from tests.factories.schools import SchoolFactory
from tests.scheduling.days import cross, oxer

pytestmark = pytest.mark.django_db
RESETS = f"/resets/{SATURDAY.isoformat()}/"
DAY = f"/day/{SATURDAY.isoformat()}/"


@pytest.fixture
def renske(client: Browser) -> Account:
    SchoolFactory()
    person = GroundspersonFactory(person__first_name="Renske").person
    account = AccountFactory(person=person)
    client.force_login(account)
    return account


@pytest.fixture
def one(renske: Account) -> Changeover:
    plan = DayPlanFactory(state="published", published_at=NOW)
    made = ChangeoverFactory(plan=plan, lesson__title="Pony group")
    ChangeoverMoveFactory(changeover=made, position=1, now=cross(300))
    return made


def cancel(lesson: Lesson) -> None:
    Lesson.objects.filter(pk=lesson.pk).update(
        state="cancelled", state_reason="ill", state_at=at("09:40")
    )


def test_a_cancelled_lesson_stays_in_its_place_and_says_since_when(
    client: Browser, one: Changeover
) -> None:
    cancel(one.lesson)

    page = client.get(RESETS).content.decode()

    assert "Nothing to do any more" in page
    assert "Pony group was cancelled at 09:40: nothing need be built" in page
    assert "say what stands" not in page
    Changeover.objects.update(started_at=at("09:30"))
    assert "say what stands" in client.get(RESETS).content.decode()


def test_a_plan_published_anew_says_what_is_otherwise(
    client: Browser, one: Changeover
) -> None:
    DayPlan.objects.update(state="replaced")
    new = ChangeoverFactory(
        plan=DayPlanFactory(state="published", published_at=at("08:10")),
        lesson=one.lesson,
        line=one.line,
        uid=one.uid,
        starts_at=at("09:40"),
    )
    ChangeoverMoveFactory(changeover=new, position=1, now=oxer(300))

    page = client.get(RESETS).content.decode()

    assert "The plan was changed at 08:10" in page
    assert "Changed at 08:10" in page
    assert page.count("Now 09:40 to 09:57 instead of 09:45 to 09:57.") == 2


def test_a_form_pressed_on_an_old_page_is_taken_in_the_new_plan(
    client: Browser, one: Changeover
) -> None:
    DayPlan.objects.update(state="replaced")
    new = ChangeoverFactory(
        plan=DayPlanFactory(state="published"), lesson=one.lesson, line=one.line
    )
    move = ChangeoverMoveFactory(changeover=new, position=1, now=cross(300))

    client.post(f"/moves/{one.moves.get().pk}/tick/", {"ticked": "1"})

    press = Press.objects.get()
    # The day of the list is over by the machine's clock, or it is yet to come.
    if press.outcome == "taken":
        move.refresh_from_db()
        assert move.ticked_at is not None
    assert press.changeover == new


def test_what_a_form_pressed_too_late_is_kept_and_seen_by_the_manager(
    client: Browser, one: Changeover
) -> None:
    cancel(one.lesson)
    answer = client.post(
        f"/changeovers/{one.pk}/trouble/", {"what": "The ground", "says": "deep"}
    )

    page = client.get(answer["Location"]).content.decode()

    assert "It is kept as a note." in page
    client.force_login(AccountFactory(manager=True, person=None))
    day = client.get(DAY).content.decode()
    assert "kept as a note: 1" in day
    assert "Trouble: The ground: deep" in day


def folded(page: str) -> list[bool]:
    """Say of each changeover, in order, whether its work is folded."""
    return [not rest.startswith(" open") for rest in page.split('class="the-work"')[1:]]


def test_now_next_and_what_is_under_way_are_open_and_the_rest_is_folded(
    client: Browser, one: Changeover
) -> None:
    for hour in (11, 12, 13, 14):
        ChangeoverFactory(
            plan=one.plan, starts_at=at(f"{hour}:00"), ends_at=at(f"{hour}:10")
        )
    Changeover.objects.filter(pk=one.pk).update(
        started_at=at("09:45"), done_at=at("09:50")
    )
    Changeover.objects.filter(starts_at=at("14:00")).update(started_at=at("09:50"))

    page = client.get(RESETS).content.decode()

    assert folded(page) == [True, False, False, True, False]


def test_what_came_of_a_press_is_said_once(client: Browser, one: Changeover) -> None:
    client.post(f"/changeovers/{one.pk}/done/")

    assert "its time is not counted" in client.get(RESETS).content.decode()
    assert "its time is not counted" not in client.get(RESETS).content.decode()


def test_the_day_says_how_far_each_changeover_is(
    client: Browser, one: Changeover
) -> None:
    Changeover.objects.update(started_at=at("09:46"))

    assert "Started 09:46, 0 of 1 steps" in client.get(DAY).content.decode()


def test_a_phone_knows_when_an_arena_is_ridden(
    client: Browser, one: Changeover
) -> None:
    LessonFactory(
        title="Cobs",
        arena=one.line.arena,
        starts_at=at("08:00"),
        ends_at=at("09:00"),
        instructor__person__first_name="Ines",
    )

    page = client.get(RESETS).content.decode()

    assert "is booked for Cobs until 09:00 (Ines)" in page
    assert str(int(at("08:00").timestamp() * 1000)) in page


def test_another_days_list_leads_to_todays(client: Browser, one: Changeover) -> None:
    today = timezone.localdate().isoformat()

    assert "This is not today" in client.get(RESETS).content.decode()
    assert client.get("/resets/today/")["Location"] == f"/resets/{today}/"
    assert "This is not today" not in client.get(f"/resets/{today}/").content.decode()


def test_the_worker_may_see_the_list_and_is_asked_for_anew(client: Browser) -> None:
    answer = client.get("/resets-worker.js")

    assert answer["Service-Worker-Allowed"] == "/"
    assert answer["Cache-Control"] == "no-cache"
    assert answer["Content-Type"].startswith("text/javascript")
    assert "ResetQueue" in answer.content.decode()


def test_the_list_takes_as_many_queries_for_three_as_for_one(
    client: Browser, one: Changeover, django_assert_max_num_queries
) -> None:
    former = DayPlanFactory(state="replaced", published_at=NOW - timedelta(hours=1))
    ChangeoverFactory(plan=former)
    with django_assert_max_num_queries(40) as first:
        client.get(RESETS)
    for _ in range(2):
        more = ChangeoverFactory(plan=one.plan, who=GroundspersonFactory())
        ChangeoverMoveFactory(changeover=more)
        PressFactory(uid=uuid4(), outcome="kept", says="too late", changeover=more)

    with django_assert_max_num_queries(40) as again:
        client.get(RESETS)

    assert len(again) == len(first)


def png() -> bytes:
    file = BytesIO()
    Image.new("RGB", (8, 8), "brown").save(file, "PNG")
    return file.getvalue()


def with_photo(client: Browser, one: Changeover, data: bytes):
    photo = SimpleUploadedFile("cups.png", data, "image/png")
    says = {"what": "A piece is broken", "says": "two cups", "photo": photo}
    return client.post(f"/changeovers/{one.pk}/trouble/", says)


def test_a_photo_is_seen_by_staff_and_by_nobody_else(
    client: Browser, one: Changeover, settings, tmp_path: Path
) -> None:
    settings.PHOTO_DIR = tmp_path
    with_photo(client, one, png())
    url = f"/photos/{Press.objects.get(does='photo').uid}/"

    for page in (RESETS, DAY):
        assert url in client.get(page).content.decode()
    client.force_login(AccountFactory(person=InstructorFactory().person))
    answer = client.get(url)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Cache-Control"].startswith("private")
    client.force_login(AccountFactory(person=ClientFactory().person))
    assert client.get(url).status_code == 403
    client.logout()
    assert client.get(url)["Location"].startswith("/sign-in/")


def test_words_are_kept_though_their_photo_is_none(
    client: Browser, one: Changeover, settings, tmp_path: Path
) -> None:
    settings.PHOTO_DIR = tmp_path
    answer = with_photo(client, one, b"not a photo")

    page = client.get(answer["Location"]).content.decode()
    assert "This photo can&#x27;t be read" in page
    assert "A piece is broken: two cups" in page
    assert not Press.objects.filter(does="photo").exists()
