"""The reset list's two addresses for a phone."""

from base64 import b64encode
from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client as Browser
from django.utils import timezone
from PIL import Image

from scheduling.models import Changeover, Press
from scheduling.services.presses import take_press
from school.models import Account
from school.queries.day_links import mark_of
from tests.factories.people import AccountFactory, GroundspersonFactory
from tests.factories.plans import (
    ChangeoverMoveFactory,
    DayPlanFactory,
)
from tests.factories.schools import SchoolFactory

pytestmark = pytest.mark.django_db

PRESSES = "/api/presses/"
MINUTE = 60_000


@pytest.fixture
def today() -> Changeover:
    SchoolFactory()
    plan = DayPlanFactory(state="published", date=timezone.localdate())
    return ChangeoverMoveFactory(changeover__plan=plan).changeover


@pytest.fixture
def renske(client: Browser) -> Account:
    person = GroundspersonFactory(person__first_name="Renske").person
    account = AccountFactory(person=person)
    client.force_login(account)
    return account


def now_ms() -> int:
    return int(timezone.now().timestamp() * 1000)


def press(one: Changeover, does: str = "start", **other: Any) -> dict[str, Any]:
    return {
        "uid": str(uuid4()),
        "phone": str(uuid4()),
        "number": 1,
        "does": does,
        "changeover": one.pk,
        "at": now_ms(),
    } | other


def send(client: Browser, *presses: Any, sent_at: int | None = None):
    body = {"sent_at": sent_at or now_ms(), "presses": list(presses)}
    return client.post(PRESSES, body, content_type="application/json")


def test_each_press_is_answered(client: Browser, renske: Account, today) -> None:
    asked = press(today, "done")

    answer = send(client, asked).json()["answers"]

    assert answer == [
        {
            "uid": asked["uid"],
            "outcome": "taken",
            "says": "It was not started first, so its time is not counted.",
            "did": "Done",
        }
    ]
    assert Press.objects.get().by == renske


def test_numbers_decide_the_order(client: Browser, renske: Account, today) -> None:
    send(client, press(today, "done", number=2), press(today, number=1))

    assert [one.outcome for one in Press.objects.order_by("pk")] == ["taken"] * 2
    assert [one.does for one in Press.objects.order_by("pk")] == ["start", "done"]


def test_a_clock_wrong_by_hours_is_put_right(
    client: Browser, renske: Account, today
) -> None:
    wrong = now_ms() + 5 * 60 * MINUTE

    send(client, press(today, at=wrong - 30 * MINUTE), sent_at=wrong)

    ago = timezone.now() - Press.objects.get().pressed_at
    assert timedelta(minutes=29) < ago < timedelta(minutes=31)


@pytest.mark.parametrize("at", [-(10**18), 10**18, 0])
def test_a_clock_that_shows_no_year_of_ours_is_taken(
    client: Browser, renske: Account, today, at: int
) -> None:
    assert send(client, press(today, at=at)).status_code == 200


def test_who_pressed_is_who_had_the_phone_then(
    client: Browser, renske: Account, today
) -> None:
    okke = AccountFactory(person=GroundspersonFactory().person)

    send(client, press(today, who=mark_of(okke)), press(today, "done", who="forged"))

    assert [one.by for one in Press.objects.order_by("does")] == [renske, okke]


def test_what_can_not_be_read_holds_up_nothing(
    client: Browser, renske: Account, today
) -> None:
    answers = send(
        client,
        "nonsense",
        press(today, "kick"),
        press(today),
        {**press(today), "changeover": today.pk + 99},
    ).json()["answers"]

    assert [one["outcome"] for one in answers] == ["unread"] * 2 + ["taken", "unread"]
    assert "not known here" in answers[3]["says"]


@pytest.mark.parametrize("body", [{}, {"sent_at": 1, "presses": []}])
def test_an_empty_batch_is_refused(client: Browser, renske: Account, body) -> None:
    answer = client.post(PRESSES, body, content_type="application/json")

    assert answer.status_code == 400
    assert answer.json()["code"] == "invalid"


def test_a_form_of_another_site_sends_nothing(renske: Account, today) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(renske)

    assert send(browser, press(today)).status_code == 403
    token = browser.get(f"/api/days/{today.plan.date}/resets/").json()["token"]
    body = {"sent_at": now_ms(), "presses": [press(today)]}
    answer = browser.post(
        PRESSES, body, content_type="application/json", headers={"X-CSRFToken": token}
    )
    assert answer.status_code == 200


def test_news_are_told_of_the_list_in_the_hand(
    client: Browser, renske: Account, today
) -> None:
    url = f"/api/days/{today.plan.date}/resets/"

    newest, held = client.get(url), client.get(url, {"plan": today.plan_id})

    assert newest["Cache-Control"] == "no-store"
    assert newest.json()["rows"] == held.json()["rows"]
    assert abs(newest.json()["now"] - now_ms()) < MINUTE
    assert client.get("/api/days/never/resets/").status_code == 404


def test_a_photo_comes_with_the_presses(
    client: Browser, renske: Account, today, settings, tmp_path
) -> None:
    settings.PHOTO_DIR = tmp_path
    file = BytesIO()
    Image.new("RGB", (8, 8)).save(file, "JPEG")
    url = "data:image/jpeg;base64," + b64encode(file.getvalue()).decode()

    answers = send(
        client,
        press(today, "photo", photo=url, number=1),
        press(today, "photo", photo="data:image/jpeg;base64,%%%", number=2),
    ).json()["answers"]

    assert [one["outcome"] for one in answers] == ["taken", "unread"]
    assert [one.suffix for one in tmp_path.iterdir()] == [".jpg"]


def break_on(monkeypatch, does: str) -> None:
    """Let the server fail on one kind of press, as a fault of ours would."""

    def take(*, sent, by, now):
        if sent.does == does:
            raise RuntimeError("a fault")
        return take_press(sent=sent, by=by, now=now)

    monkeypatch.setattr("scheduling.api.resets.take_press", take)


def test_what_fails_holds_up_what_was_pressed_after_it_until_it_is_set_aside(
    client: Browser, renske: Account, today, monkeypatch
) -> None:
    break_on(monkeypatch, "trouble")
    first, after = press(today, number=1), press(today, "done", number=3)
    trouble = press(today, "trouble", what="The ground", says="deep", number=2)

    answers = send(client, first, trouble, after).json()["answers"]
    assert [one["uid"] for one in answers] == [first["uid"]]
    answers = send(client, trouble | {"tries": 4}, after).json()["answers"]
    assert answers == []

    answers = send(client, trouble | {"tries": 5}, after).json()["answers"]

    assert [one["outcome"] for one in answers] == ["kept", "taken"]
    kept = Press.objects.get(outcome="kept")
    assert kept.did == "Trouble: The ground: deep"
    assert "could not be taken here" in kept.says
    client.force_login(AccountFactory(manager=True, person=None))
    day = client.get(f"/day/{today.plan.date}/").content.decode()
    assert "kept as a note: 1" in day
    assert "The ground: deep" in day


def test_what_is_set_aside_twice_is_one_note(
    client: Browser, renske: Account, today
) -> None:
    one = press(today, tries=5)

    first, again = send(client, one).json(), send(client, one).json()

    assert first["answers"] == again["answers"]
    assert Press.objects.count() == 1


def test_a_press_on_no_known_list_can_not_be_set_aside(
    client: Browser, renske: Account, today
) -> None:
    (answer,) = send(client, press(today, tries=5, changeover=99)).json()["answers"]

    assert answer["outcome"] == "unread"
