"""What must not be forgotten: every address has its readers, every page is strict."""

from collections.abc import Iterator
from datetime import timedelta
from html.parser import HTMLParser

import pytest
from django.db import transaction
from django.test import Client as Browser
from django.urls import URLPattern, get_resolver
from django.utils import timezone

from exercises.services import load_library
from school.models import Account, InstructorPaper, OutboxMessage
from school.queries.links import page_url
from school.services.invitations import lesson_changed
from tests.clock import NOW
from tests.factories.drafts import GridDraftFactory
from tests.factories.lessons import RideFactory
from tests.factories.packs import LessonPackFactory
from tests.factories.people import (
    AccountFactory,
    ClientFactory,
    GroundspersonFactory,
    InstructorFactory,
)
from tests.factories.plans import (
    ChangeoverFactory,
    ChangeoverMoveFactory,
    PlanRunFactory,
)
from tests.factories.schools import SchoolFactory
from tests.factories.series import weekly
from tests.factories.terms import TermBreakFactory, TermFactory
from tests.factories.yard import YardRuleFactory, YardWorkFactory

pytestmark = pytest.mark.django_db

ROLES = ("stranger", "client", "groundsperson", "instructor", "manager")

# What each role gets, in the order of ROLES: a stranger is sent to sign in (302)
# or refused by the API (403). POST-only addresses are asked with POST.
GET = {
    "home": (302, 302, 302, 302, 302),
    "sign-in": (200, 200, 200, 200, 200),
    "all-pages": (302, 403, 403, 403, 200),
    "my-lessons": (302, 403, 403, 200, 403),
    "client": (302, 302, 403, 403, 403),
    "replies": (302, 403, 403, 403, 200),
    "waiting": (302, 403, 403, 403, 200),
    "who-fits": (302, 403, 403, 403, 200),
    "clients": (302, 403, 403, 403, 200),
    "riders": (302, 403, 403, 200, 200),
    "rider": (302, 403, 403, 200, 200),
    "client-data": (302, 403, 403, 403, 200),
    "client-file": (302, 403, 403, 403, 200),
    "my-page": (200, 200, 200, 200, 200),
    "my-lesson": (200, 200, 200, 200, 200),
    "my-accept": (200, 200, 200, 200, 200),
    "my-cancel": (200, 200, 200, 200, 200),
    "my-other-time": (200, 200, 200, 200, 200),
    "style": (302, 200, 200, 200, 200),
    "calendars": (302, 200, 200, 200, 200),
    "rules": (302, 403, 403, 403, 200),
    "inspector-register": (302, 403, 403, 403, 200),
    "inspector-register-csv": (302, 403, 403, 403, 200),
    "welfare": (302, 403, 403, 403, 200),
    "heat": (302, 403, 403, 200, 200),
    "yard-work": (302, 403, 403, 403, 200),
    "line-moves": (302, 403, 200, 403, 200),
    "charges": (302, 403, 403, 403, 200),
    "prices": (302, 403, 403, 403, 200),
    "fees": (302, 403, 403, 403, 200),
    "fees-csv": (302, 403, 403, 403, 200),
    "who-came": (302, 403, 403, 403, 200),
    "weekly": (302, 403, 403, 403, 200),
    "carry-over": (302, 403, 403, 403, 200),
    "series": (302, 403, 403, 403, 200),
    "units": (302, 403, 403, 403, 200),
    "tables": (302, 403, 403, 403, 200),
    "report": (302, 403, 403, 403, 200),
    "report-csv": (302, 403, 403, 403, 200),
    "table-file": (302, 403, 403, 403, 404),
    "table-aside": (302, 403, 403, 403, 404),
    "table-written": (302, 403, 403, 403, 200),
    "grids": (302, 403, 403, 200, 200),
    "grid": (302, 403, 403, 403, 403),
    "new-lesson": (302, 403, 403, 403, 200),
    "messages": (302, 403, 403, 403, 200),
    "message": (302, 403, 403, 403, 200),
    "mail-settings": (302, 403, 403, 403, 200),
    "clients-mail": (302, 403, 403, 403, 200),
    "message-texts": (302, 403, 403, 403, 200),
    "message-text": (302, 403, 403, 403, 200),
    "give-back": (302, 403, 403, 403, 200),
    "terms": (302, 403, 403, 403, 200),
    "edit-pack": (302, 403, 403, 403, 200),
    "term": (302, 403, 403, 403, 200),
    "lesson": (302, 403, 200, 200, 200),
    "cures": (302, 403, 403, 403, 404),
    "lesson-remedies": (302, 403, 403, 403, 404),
    "draft-remedies": (302, 403, 403, 403, 403),
    "exercises": (302, 403, 200, 200, 200),
    "exercise": (302, 403, 200, 200, 200),
    "ride-log": (302, 403, 403, 403, 200),
    "horse-history": (302, 403, 403, 200, 200),
    "rider-history": (302, 403, 403, 200, 200),
    "work-register": (302, 403, 403, 200, 200),
    "work-register-csv": (302, 403, 403, 200, 200),
    "choose-work-days": (302, 403, 403, 302, 302),
    "exercise-build-sheet": (302, 403, 200, 200, 200),
    "exercise-build-sheet-pdf": (302, 403, 200, 200, 200),
    "lesson-build-sheet": (302, 403, 302, 302, 302),
    "lesson-build-sheet-pdf": (302, 403, 302, 302, 302),
    "exercise-stages": (302, 403, 200, 200, 200),
    "lesson-stages": (302, 403, 404, 404, 404),
    "day": (302, 403, 200, 200, 200),
    "day-news": (302, 403, 403, 403, 204),
    "week-news": (302, 403, 403, 403, 204),
    "week": (302, 403, 200, 200, 200),
    "board-lesson": (302, 403, 403, 403, 200),
    "match-day": (302, 403, 403, 403, 200),
    "match-lesson": (302, 403, 403, 403, 200),
    "rider-horses": (302, 403, 403, 403, 200),
    "out": (302, 403, 403, 403, 200),
    "touched": (302, 403, 403, 403, 200),
    "planner": (302, 403, 403, 403, 200),
    "what-if": (302, 403, 403, 403, 200),
    "why": (302, 403, 403, 403, 200),
    "changeover": (302, 403, 200, 200, 200),
    "find-time": (302, 403, 403, 403, 200),
    "run": (302, 403, 403, 403, 302),
    "day-links": (302, 403, 200, 403, 200),
    "day-link": (404, 404, 404, 404, 404),
    "standing": (302, 403, 200, 200, 200),
    "cups": (302, 403, 200, 403, 200),
    "store": (302, 403, 200, 403, 200),
    "resets": (302, 403, 200, 200, 200),
    "trouble-photo": (302, 403, 404, 404, 404),
    "resets-today": (302, 403, 302, 302, 302),
    "resets-worker": (200, 200, 200, 200, 200),
    "resets-pdf": (302, 403, 200, 200, 200),
    "api-lessons": (403, 403, 200, 200, 200),
    "api-lesson": (403, 403, 200, 200, 200),
    "api-day-plan": (403, 403, 200, 200, 200),
    "api-resets": (403, 403, 200, 403, 200),
    "api-run": (403, 403, 200, 200, 200),
    "personal-feed": (404, 404, 404, 404, 404),
    "handling": (302, 403, 403, 403, 200),
    "carrying": (302, 403, 403, 403, 200),
    "groundsperson-feed": (404, 404, 404, 404, 404),
}
POST = {
    "paper-off": (302, 403, 403, 403, 302),
    "try-booking": (302, 403, 403, 403, 200),
    "note-came": (302, 403, 403, 403, 409),
    "end-lesson": (302, 403, 403, 403, 409),
    "lesson-goes-on": (302, 403, 403, 403, 302),
    "start-grid": (302, 403, 403, 302, 302),
    "edit-grid": (302, 403, 403, 403, 403),
    "undo-grid": (302, 403, 403, 403, 403),
    "redo-grid": (302, 403, 403, 403, 403),
    "keep-grid": (302, 403, 403, 403, 403),
    "drop-grid": (302, 403, 403, 403, 403),
    "sign-out": (302, 302, 302, 302, 302),
    "map-table": (302, 403, 403, 403, 404),
    "bring-table": (302, 403, 403, 403, 404),
    "forget-table": (302, 403, 403, 403, 302),
    "make-calendar": (302, 200, 403, 403, 403),
    "withdraw-calendar": (302, 404, 404, 404, 404),
    "send-again": (302, 403, 403, 403, 302),
    "write-to": (302, 403, 403, 403, 302),
    "board-try": (302, 403, 403, 403, 200),
    "board-change": (302, 403, 403, 403, 409),
    "back": (302, 403, 403, 403, 302),
    "board-undo": (302, 403, 403, 403, 302),
    "book-asked": (302, 403, 403, 403, 302),
    "ask-level": (302, 403, 403, 403, 302),
    "ask-clear": (302, 403, 403, 403, 302),
    "attach-grid": (302, 403, 403, 403, 409),
    "new-break": (302, 403, 403, 403, 409),
    "lift-break": (302, 403, 403, 403, 302),
    "detach-grid": (302, 403, 403, 403, 302),
    "plan-yard-work": (302, 403, 403, 403, 409),
    "plan-yard-rule": (302, 403, 403, 403, 409),
    "set-line-move": (302, 403, 403, 403, 409),
    "end-line-move": (302, 403, 403, 403, 302),
    "say-line-place": (302, 403, 409, 403, 409),
    "set-evening-strip": (302, 403, 403, 403, 302),
    "set-yard-minutes": (302, 403, 403, 403, 409),
    "call-off-yard-work": (302, 403, 403, 403, 302),
    "end-yard-rule": (302, 403, 403, 403, 302),
    "change-series": (302, 403, 403, 403, 409),
    "take-cure": (302, 403, 403, 403, 404),
    "take-librarys": (302, 403, 403, 302, 302),
    "keep-ours": (302, 403, 403, 302, 302),
    "take-remedy": (302, 403, 403, 403, 404),
    "undo-remedy": (302, 403, 403, 403, 404),
    "take-draft-remedy": (302, 403, 403, 403, 403),
    "ask-run": (302, 403, 403, 403, 302),
    "stop-run": (302, 403, 403, 403, 302),
    "publish-plan": (302, 403, 403, 403, 302),
    "start-changeover": (302, 403, 302, 403, 302),
    "finish-changeover": (302, 403, 302, 403, 302),
    "correct-standing": (302, 403, 409, 403, 409),
    "report-trouble": (302, 403, 302, 403, 302),
    "start-yard-work": (302, 403, 302, 403, 302),
    "finish-yard-work": (302, 403, 302, 403, 302),
    "yard-trouble": (302, 403, 302, 403, 302),
    "use-handling": (302, 403, 403, 403, 302),
    "api-presses": (403, 403, 415, 403, 415),
    "tick-move": (302, 403, 302, 403, 302),
    "settle-reply": (302, 403, 403, 403, 404),
    "rider-facts": (302, 403, 403, 403, 409),
    "give-consent": (302, 403, 403, 403, 409),
    "second-guardian": (302, 403, 403, 403, 409),
    "no-second-guardian": (302, 403, 403, 403, 302),
    "withdraw-consent": (302, 403, 403, 403, 409),
    "stop-rider": (302, 403, 403, 409, 409),
    "lift-stop": (302, 403, 403, 403, 409),
    "sign-level": (302, 403, 403, 409, 403),
    "client-export": (302, 403, 403, 403, 200),
    "everything-written": (302, 403, 403, 403, 200),
    "client-erase": (302, 403, 403, 403, 409),
    "add-pack": (302, 403, 403, 403, 409),
    "add-credit": (302, 403, 403, 403, 409),
    "close-links": (302, 403, 403, 403, 302),
    "offer-to": (302, 403, 403, 403, 409),
    "offer-place": (302, 403, 403, 403, 404),
    "my-offer-take": (409, 409, 409, 409, 409),
    "my-offer-decline": (409, 409, 409, 409, 409),
    "my-consent": (409, 409, 409, 409, 409),
    "my-consent-given": (302, 302, 302, 302, 302),
    "my-calendar": (200, 200, 200, 200, 200),
    "my-calendar-all": (302, 302, 302, 302, 302),
    "my-calendar-withdraw": (302, 302, 302, 302, 302),
    "my-wish": (409, 409, 409, 409, 409),
    "my-wish-withdraw": (302, 302, 302, 302, 302),
}


def patterns() -> dict[str, URLPattern]:
    found: dict[str, URLPattern] = {}

    def walk(resolver) -> None:
        for one in resolver.url_patterns:
            if isinstance(one, URLPattern):
                assert one.name, f"{one.pattern} needs a name"
                assert one.name not in found, f"{one.name} is there twice"
                found[one.name] = one
            else:
                walk(one)

    walk(get_resolver())
    return found


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker) -> Iterator[dict[str, str]]:
    """One world for all: each test is a savepoint of one transaction, rolled back."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield things()
        transaction.set_rollback(True)


def things() -> dict[str, str]:
    """One of each thing, and the address of every page about it."""
    SchoolFactory()
    load_library(now=NOW)
    ride = RideFactory(lesson__starts_at=timezone.now() + timedelta(days=2))
    lesson_changed(lesson=ride.lesson, now=NOW)
    message = OutboxMessage.objects.get()
    changeover = ChangeoverFactory(
        lesson=ride.lesson,
        plan__state="published",
        plan__date=ride.lesson.starts_at.date(),
    )
    move = ChangeoverMoveFactory(changeover=changeover)
    harrow = YardWorkFactory(rule=YardRuleFactory(), date=ride.lesson.starts_at.date())
    day = ride.lesson.starts_at.date().isoformat()
    draft = GridDraftFactory()
    series = weekly()
    term = TermFactory()
    paper = InstructorPaper.objects.create(
        instructor=ride.lesson.instructor, name="First aid", expires_date="2099-01-01"
    )
    TermBreakFactory(term=term)
    pack = LessonPackFactory(client=ride.rider.client)
    run = PlanRunFactory(date=ride.lesson.starts_at.date())
    mine = page_url(ride.rider.client, now=timezone.now()).partition("/my/")[2]
    lesson = f"/my/{mine}lessons/{ride.lesson_id}/"
    return {
        "replies": "/replies/",
        "settle-reply": "/replies/1/settle/",
        "waiting": "/waiting/",
        "clients": "/clients/",
        "client-file": f"/clients/{ride.rider.client_id}/",
        "client-data": f"/clients/{ride.rider.client_id}/data/",
        "client-export": f"/clients/{ride.rider.client_id}/data/export/",
        "client-erase": f"/clients/{ride.rider.client_id}/data/erase/",
        "add-pack": f"/clients/{ride.rider.client_id}/packs/",
        "add-credit": f"/clients/{ride.rider.client_id}/credits/",
        "close-links": f"/clients/{ride.rider.client_id}/links/close/",
        "riders": "/riders/",
        "rider": f"/riders/{ride.rider_id}/",
        "rider-facts": f"/riders/{ride.rider_id}/facts/",
        "second-guardian": f"/riders/{ride.rider_id}/second-guardian/",
        "no-second-guardian": f"/riders/{ride.rider_id}/second-guardian/end/",
        "give-consent": f"/riders/{ride.rider_id}/consents/",
        "withdraw-consent": f"/riders/{ride.rider_id}/consents/withdraw/",
        "stop-rider": f"/riders/{ride.rider_id}/stop/",
        "lift-stop": f"/riders/{ride.rider_id}/lift/",
        "sign-level": f"/riders/{ride.rider_id}/level/",
        "who-fits": f"/lessons/{ride.lesson_id}/waiting/",
        "offer-to": f"/lessons/{ride.lesson_id}/waiting/offer/",
        "offer-place": "/waiting/1/offer/",
        "my-offer-take": f"/my/{mine}offers/1/take/",
        "my-offer-decline": f"/my/{mine}offers/1/decline/",
        "my-consent": f"/my/{mine}consents/1/renew/",
        "my-consent-given": f"/my/{mine}riders/1/consent/",
        "my-calendar": f"/my/{mine}calendar/",
        "my-calendar-all": f"/my/{mine}calendar/all/",
        "my-calendar-withdraw": f"/my/{mine}calendar/1/withdraw/",
        "my-page": f"/my/{mine}",
        "my-wish": f"/my/{mine}wishes/",
        "my-wish-withdraw": f"/my/{mine}wishes/1/withdraw/",
        "my-lesson": lesson,
        "my-accept": f"{lesson}accept/",
        "my-cancel": f"{lesson}cancel/",
        "my-other-time": f"{lesson}other-time/",
        "home": "/",
        "sign-in": "/sign-in/",
        "sign-out": "/sign-out/",
        "all-pages": "/all-pages/",
        "my-lessons": "/my-lessons/",
        "client": "/my-riders/",
        "style": "/style/",
        "calendars": "/calendars/",
        "make-calendar": "/calendars/make/",
        "withdraw-calendar": "/calendars/1/withdraw/",
        "rules": "/settings/rules/",
        "inspector-register": "/registers/incidents/",
        "paper-off": f"/registers/papers/{paper.pk}/off/",
        "inspector-register-csv": "/registers/horses.csv",
        "welfare": "/settings/horses-work/",
        "heat": "/heat/",
        "yard-work": "/yard-work/",
        "plan-yard-work": "/yard-work/once/",
        "plan-yard-rule": "/yard-work/weekly/",
        "line-moves": "/yard-work/lines/",
        "set-line-move": f"/yard-work/lines/{changeover.line_id}/",
        "end-line-move": f"/yard-work/lines/{changeover.line_id}/end/",
        "say-line-place": f"/yard-work/lines/{changeover.line_id}/lies/",
        "set-evening-strip": "/yard-work/evening/",
        "set-yard-minutes": "/yard-work/minutes/",
        "start-yard-work": f"/yard-work/{harrow.pk}/start/",
        "finish-yard-work": f"/yard-work/{harrow.pk}/done/",
        "yard-trouble": f"/yard-work/{harrow.pk}/trouble/",
        "call-off-yard-work": f"/yard-work/{harrow.pk}/off/",
        "end-yard-rule": f"/yard-work/weekly/{harrow.rule_id}/end/",
        "charges": "/settings/missed-lessons/",
        "prices": "/settings/prices/",
        "fees": "/fees/",
        "fees-csv": "/fees.csv",
        "who-came": f"/lessons/{ride.lesson_id}/who-came/",
        "note-came": f"/rides/{ride.pk}/note/no-show/",
        "end-lesson": f"/lessons/{ride.lesson_id}/end/",
        "lesson-goes-on": f"/lessons/{ride.lesson_id}/goes-on/",
        "weekly": "/weekly/",
        "series": f"/weekly/{series.pk}/",
        "change-series": f"/weekly/{series.pk}/leave/",
        "units": "/settings/units/",
        "tables": "/tables/",
        "report": "/reports/arena-use/",
        "report-csv": "/reports/arena-use.csv",
        "table-file": "/tables/1/",
        "everything-written": "/tables/everything/",
        "table-aside": "/tables/1/to-mend.csv",
        "table-written": "/tables/people.csv",
        "map-table": "/tables/1/columns/",
        "bring-table": "/tables/1/bring-in/",
        "forget-table": "/tables/1/forget/",
        "grids": "/grids/",
        "grid": f"/grids/{draft.pk}/",
        "start-grid": "/grids/start/",
        "edit-grid": f"/grids/{draft.pk}/edit/",
        "undo-grid": f"/grids/{draft.pk}/undo/",
        "redo-grid": f"/grids/{draft.pk}/redo/",
        "keep-grid": f"/grids/{draft.pk}/keep/",
        "drop-grid": f"/grids/{draft.pk}/drop/",
        "new-lesson": "/lessons/new/",
        "messages": "/messages/",
        "message": f"/messages/{message.pk}/",
        "send-again": f"/messages/{message.pk}/again/",
        "mail-settings": "/messages/settings/",
        "clients-mail": "/messages/clients/",
        "write-to": f"/messages/clients/{ride.rider.client_id}/",
        "message-texts": "/messages/texts/",
        "message-text": "/messages/texts/invite/de/",
        "lesson": f"/lessons/{ride.lesson_id}/",
        "book-asked": f"/lessons/{ride.lesson_id}/book/",
        "ask-clear": f"/lessons/{ride.lesson_id}/clear/",
        "ask-level": f"/lessons/{ride.lesson_id}/level/",
        "attach-grid": f"/lessons/{ride.lesson_id}/grid/",
        "detach-grid": f"/lessons/{ride.lesson_id}/grid/remove/",
        "give-back": f"/rides/{ride.pk}/give-back/",
        "terms": "/terms/",
        "edit-pack": f"/packs/{pack.pk}/",
        "term": f"/terms/{term.pk}/",
        "new-break": f"/terms/{term.pk}/breaks/",
        "lift-break": f"/terms/breaks/{term.breaks.get().pk}/lift/",
        "carry-over": f"/terms/{term.pk}/carry-over/",
        "cures": f"/lessons/{ride.lesson_id}/cures/",
        "lesson-remedies": f"/lessons/{ride.lesson_id}/remedies/",
        "take-remedy": f"/lessons/{ride.lesson_id}/remedies/take/",
        "undo-remedy": f"/lessons/{ride.lesson_id}/remedies/undo/",
        "draft-remedies": f"/grids/{draft.pk}/remedies/",
        "take-draft-remedy": f"/grids/{draft.pk}/remedies/take/",
        "take-cure": f"/lessons/{ride.lesson_id}/cures/take/",
        "exercises": "/exercises/",
        "exercise": "/exercises/bounce-pair/",
        "ride-log": f"/lessons/{ride.lesson_id}/log/",
        "horse-history": f"/horses/{ride.horse_id}/history/",
        "rider-history": f"/riders/{ride.rider_id}/history/",
        "work-register": f"/register/{day}/",
        "work-register-csv": f"/register/{day}.csv",
        "choose-work-days": f"/register/?first={day}",
        "exercise-build-sheet": "/exercises/bounce-pair/build-sheet/",
        "exercise-build-sheet-pdf": "/exercises/bounce-pair/build-sheet.pdf",
        "lesson-build-sheet": f"/lessons/{ride.lesson_id}/build-sheet/",
        "lesson-build-sheet-pdf": f"/lessons/{ride.lesson_id}/build-sheet.pdf",
        "exercise-stages": "/exercises/bounce-pair/stages/",
        "lesson-stages": f"/lessons/{ride.lesson_id}/stages/",
        "take-librarys": "/exercises/bounce-pair/take-librarys/",
        "keep-ours": "/exercises/bounce-pair/keep-ours/",
        "day": f"/day/{day}/",
        "day-news": f"/day/{day}/news/",
        "week-news": f"/week/{day}/news/",
        "week": f"/week/{day}/",
        "board-lesson": f"/board/lessons/{ride.lesson_id}/",
        "board-try": f"/board/lessons/{ride.lesson_id}/try/",
        "board-change": f"/board/lessons/{ride.lesson_id}/change/",
        "board-undo": "/board/undo/",
        "out": "/out/",
        "touched": f"/out/touched/?what=instructor-{ride.lesson.instructor_id}"
        f"&day={day}&reason=sick",
        "back": "/out/arena/1/back/",
        "match-day": f"/day/{day}/horses/",
        "match-lesson": f"/lessons/{ride.lesson_id}/horses/",
        "rider-horses": f"/riders/{ride.rider_id}/horses/",
        "planner": f"/planner/{day}/",
        "what-if": f"/planner/{day}/what-if/",
        "why": f"/planner/{day}/why/",
        "changeover": f"/changeovers/{changeover.pk}/",
        "find-time": "/find-a-time/",
        "try-booking": "/lessons/new/try/",
        "ask-run": f"/planner/{day}/ask/order/",
        "run": f"/runs/{run.pk}/",
        "stop-run": f"/runs/{run.pk}/stop/",
        "publish-plan": f"/plans/{changeover.plan_id}/publish/",
        "day-links": "/resets-elsewhere/",
        "day-link": "/today/unknown/",
        "cups": "/cups/",
        "store": "/store/",
        "standing": "/standing/",
        "correct-standing": f"/standing/{changeover.line_id}/",
        "resets": f"/resets/{day}/",
        "trouble-photo": "/photos/00000000-0000-4000-8000-000000000000/",
        "resets-today": "/resets/today/",
        "resets-worker": "/resets-worker.js",
        "resets-pdf": f"/resets/{day}/list.pdf",
        "handling": "/handling-times/",
        "carrying": "/carrying/",
        "use-handling": "/handling-times/use/",
        "start-changeover": f"/changeovers/{changeover.pk}/start/",
        "finish-changeover": f"/changeovers/{changeover.pk}/done/",
        "report-trouble": f"/changeovers/{changeover.pk}/trouble/",
        "tick-move": f"/moves/{move.pk}/tick/",
        "personal-feed": "/agenda/client/unknown.ics",
        "groundsperson-feed": "/agenda/groundsperson/unknown.ics",
        "api-lessons": f"/api/lessons/?date={day}",
        "api-lesson": f"/api/lessons/{ride.lesson_id}/",
        "api-run": f"/api/runs/{run.pk}/",
        "api-resets": f"/api/days/{day}/resets/",
        "api-presses": "/api/presses/",
        "api-day-plan": f"/api/days/{day}/plan/",
    }


def account(role: str) -> Account:
    if role == "manager":
        return AccountFactory(manager=True, person=None)
    holder = {
        "client": ClientFactory,
        "groundsperson": GroundspersonFactory,
        "instructor": InstructorFactory,
    }[role]()
    return AccountFactory(person=holder.person)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", sorted(GET | POST))
def test_each_role_gets_what_it_may(
    client: Browser, world: dict[str, str], name: str, role: str
) -> None:
    if role != "stranger":
        client.force_login(account(role))
    expected = (GET | POST)[name][ROLES.index(role)]

    ask = client.get if name in GET else client.post
    response = ask(world[name], {"kind": "client"} if name == "make-calendar" else {})

    assert response.status_code == expected
    free = name == "sign-out" or world[name].startswith("/my/")
    if role == "stranger" and expected == 302 and not free:
        assert response["Location"].startswith("/sign-in/")


def test_every_address_is_in_the_table() -> None:
    assert set(patterns()) == set(GET) | set(POST)


class Strict(HTMLParser):
    """Collects what a strict content-security policy forbids."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []
        self.in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = {name for name, _ in attrs}
        self.bad += [f"{tag} {n}" for n in names if n == "style" or n.startswith("on")]
        if tag == "style":
            self.bad.append("style element")
        self.in_script = tag == "script" and "src" not in names

    def handle_data(self, data: str) -> None:
        if self.in_script and data.strip():
            self.bad.append("inline script")

    def handle_endtag(self, tag: str) -> None:
        self.in_script = False


PAGES = sorted(
    name
    for name in GET
    if not name.startswith("api")
    and not name.endswith("worker")
    and "feed" not in name
    and "pdf" not in name
)
# Each as every role sees it that may, and what a role gets that may not.
SEEN = [
    (name, role)
    for name in PAGES
    for role, status in zip(ROLES, GET[name], strict=True)
    if role != "stranger" and (status == 200 or (name, role) == ("rules", "client"))
]


@pytest.mark.parametrize(("name", "role"), SEEN)
def test_no_page_needs_an_exception_from_the_policy(
    client: Browser, world: dict[str, str], name: str, role: str
) -> None:
    client.force_login(account(role))

    response = client.get(world[name])

    strict = Strict()
    strict.feed(response.content.decode())
    assert strict.bad == []
    policy = response["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
