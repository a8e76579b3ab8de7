"""Builds the invented school in the records, each part once.

Every part is one transaction and looks first whether it is there, so a run
that was killed is taken up by the next, and a second run adds nothing.
"""

import hashlib
import hmac
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from exercises.models import Exercise, ExerciseRevision
from exercises.services import load_library
from scheduling.models import DayPlan, Standing
from scheduling.queries.plans import published_plan
from scheduling.services.plans import make_plan, publish_plan
from school.enums import ConsentKind
from school.models import (
    Account,
    Arena,
    Client,
    Consent,
    Groundsperson,
    Horse,
    Instructor,
    InstructorHours,
    KeepingPlace,
    Lesson,
    LevelSigning,
    Line,
    Person,
    Rider,
    School,
    StorePiece,
)
from school.models.people import EVERY_DAY
from school.queries.lessons import day_bounds
from school.services.booking import book_lesson
from school.services.consents import LASTS
from school.services.grids import attach_grid

Scenario = dict[str, Any]

SATURDAY = 5
DOMAIN = "example.org"
PLAN_S = 60.0
"""Seconds the demo's plan may take; it is usually proved in a few."""


class UnableToDemo(ValueError):
    """Why the demo is not built here, in plain words."""


def demo_date(today: date) -> date:
    """Return the next Saturday that is at least a week away."""
    first = today + timedelta(days=7)
    return first + timedelta(days=(SATURDAY - first.weekday()) % 7)


def build_school(scenario: Scenario, today: date, now: datetime) -> School:
    """Build the school with its arenas, horses and people; or find it."""
    with transaction.atomic():
        known = School.objects.first()
        if known is not None:
            if known.name != scenario["name"]:
                raise UnableToDemo(
                    f"{known.name} already lives in this database. Run the demo with "
                    "SCHOOL_VAR set to an empty folder."
                )
            return known
        load_library(now=now)
        school = School.objects.create(
            pk=1,
            name=scenario["name"],
            zone=scenario["zone"],
            organiser_email=scenario["organiser_email"],
            place_every_cm=scenario["place_every_cm"],
            house_rules=scenario["house_rules"],
            local_bodies=scenario["local_bodies"],
            collect_min=0,  # who looks at the demo sees its mails at once
        )
        _build_places(scenario, now)
        _build_staff(scenario)
        _build_horses(scenario, school, today)
        _build_clients(scenario, today)
        return school


def _build_places(scenario: Scenario, now: datetime) -> None:
    for data in scenario["arenas"]:
        arena = Arena.objects.create(
            **{key: value for key, value in data.items() if key != "lines"}
            | {
                "opens_at": time.fromisoformat(data["opens_at"]),
                "closes_at": time.fromisoformat(data["closes_at"]),
            }
        )
        for line in data["lines"]:
            Line.objects.create(arena=arena, **line)
    for data in scenario["standing"]:
        Standing.objects.create(
            line=Line.objects.get(name=data["line"]),
            elements=data["elements"],
            as_of_at=now,
        )
    for data in scenario["store"]:
        beside = Arena.objects.filter(name=data.get("arena")).first()
        place, _ = KeepingPlace.objects.get_or_create(
            name=data["place"], defaults={"arena": beside}
        )
        held = {key: value for key, value in data.items() if key != "arena"}
        StorePiece.objects.create(**held | {"place": place})


def _build_staff(scenario: Scenario) -> None:
    for data in scenario["instructors"]:
        instructor = Instructor.objects.create(
            person=_person(data),
            level=data["level"],
            highest_fence_cm=data["highest_fence_cm"],
            group_limit=data["group_limit"],
        )
        for weekday in range(7):
            InstructorHours.objects.create(
                instructor=instructor,
                weekday=weekday,
                from_at=time.fromisoformat(data["from_at"]),
                to_at=time.fromisoformat(data["to_at"]),
            )
    for data in scenario["groundspeople"]:
        person = _person(data)
        Groundsperson.objects.create(
            person=person,
            works_from=time.fromisoformat(data["works_from"]),
            works_to=time.fromisoformat(data["works_to"]),
            alone_days=EVERY_DAY if data["alone"] else 0,
        )
    _account(_person(scenario["manager"]), is_manager=True)
    for holder in (Instructor, Groundsperson):
        _account(holder.objects.order_by("pk")[0].person)


def _build_horses(scenario: Scenario, school: School, today: date) -> None:
    for data in scenario["horses"]:
        born = _born(data["age"], today)
        Horse.objects.create(
            **{key: value for key, value in data.items() if key != "age"},
            born_date=born,
            bookable_from_date=born.replace(
                year=born.year + school.min_horse_age_years
            ),
        )


def _build_clients(scenario: Scenario, today: date) -> None:
    signed_by = Instructor.objects.order_by("pk")[0]
    for data in scenario["clients"]:
        person = _person(data)
        client = Client.objects.create(person=person)
        for rider in data.get("riders", [data]):
            child = "last_name" not in rider
            made = Rider.objects.create(
                person=_person(rider | {"last_name": data["last_name"]}, mail=False)
                if child
                else person,
                client=client,
                born_date=_born(rider["age"], today),
                weight_kg=rider["weight_kg"],
                level=rider["level"],
                highest_fence_cm=rider["highest_fence_cm"],
                level_signed_by=signed_by,
                level_signed_date=today,
                emergency_name=str(person) if child else "The yard's office",
                emergency_phone="555 0100",
            )
            LevelSigning.objects.create(
                rider=made,
                level=made.level,
                highest_fence_cm=made.highest_fence_cm,
                signed_by=signed_by,
                signed_date=today,
            )
            if child:
                _consent(made, rider.get("consent_ends_in", 200), today)
    _account(Client.objects.order_by("pk")[0].person)


def _consent(rider: Rider, ends_in: int, today: date) -> None:
    """Note the guardian's yearly consent, as it is so many days before its end."""
    ends = today + timedelta(days=ends_in)
    Consent.objects.create(
        rider=rider,
        kind=ConsentKind.RIDING,
        name=ConsentKind.RIDING.label,
        given_by=rider.client.person,
        given_date=ends - LASTS,
        expires_date=ends,
    )


def _person(data: Scenario, *, mail: bool = True) -> Person:
    name = f"{data['first_name']}.{data['last_name']}".lower()
    return Person.objects.create(
        first_name=data["first_name"],
        last_name=data["last_name"],
        email=f"{name}@{DOMAIN}" if mail else "",
        phone="555 0101",
    )


def _account(person: Person, *, is_manager: bool = False) -> None:
    account = Account(
        username=person.first_name.lower(),
        person=person,
        email=person.email,
        is_manager=is_manager,
        is_staff=is_manager,
    )
    account.set_password(demo_password(account.username))
    account.save()


def _born(age: int, today: date) -> date:
    return date(today.year - age, 1, 15)


def book_saturday(scenario: Scenario, day: date, now: datetime) -> None:
    """Book the Saturday as the yard did, with its grids; all of it, or none."""
    zone = ZoneInfo(scenario["zone"])
    first, last = day_bounds(day, zone)
    with transaction.atomic():
        if Lesson.objects.filter(starts_at__gte=first, starts_at__lt=last).exists():
            return
        by = Account.objects.filter(is_manager=True).order_by("pk").first()
        arenas = {one.name: one for one in Arena.objects.all()}
        teachers = {
            one.person.first_name: one
            for one in Instructor.objects.select_related("person")
        }
        riders = {
            one.person.first_name: one for one in Rider.objects.select_related("person")
        }
        horses = {one.name: one for one in Horse.objects.all()}
        for data in scenario["lessons"]:
            first_start, last_start = data.get("window", [None, None])
            lesson = book_lesson(
                title=data["title"],
                kind=data["kind"],
                work=data["work"],
                starts_at=_moment(day, data["start"], zone),
                minutes=data["minutes"],
                arena=arenas[data["arena"]],
                instructor=teachers[data["instructor"]],
                places=len(data["riders"]),
                rides=[(riders[r], horses[h]) for r, h in data["riders"]],
                window_from=first_start and _moment(day, first_start, zone),
                window_to=last_start and _moment(day, last_start, zone),
                other_arenas=[
                    one
                    for name, one in arenas.items()
                    if data.get("either_arena") and name != data["arena"]
                ],
                needs_clear=data.get("needs_clear", False),
                by=by,
                now=now,
                overrule=data.get("overrule", ""),
            )
            if "exercise" in data:
                _attach(lesson, data, now)


def _moment(day: date, clock: str, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=zone)


def revision_of(slug: str) -> ExerciseRevision:
    """Return the current revision of an exercise of the library."""
    exercise = Exercise.objects.select_related("current").get(slug=slug)
    if exercise.current is None:
        raise UnableToDemo(f"{exercise} has no revision: load the library again")
    return exercise.current


def _attach(lesson: Lesson, data: Scenario, now: datetime) -> None:
    why = data.get("overrule", "")
    attach_grid(
        lesson=lesson,
        revision=revision_of(data["exercise"]),
        tradition=data["tradition"],
        by=Account.objects.filter(
            Q(is_manager=True) if why else Q(person=lesson.instructor.person)
        ).first(),
        now=now,
        overrule=why,
    )


def plan_saturday(day: date, now: datetime) -> DayPlan:
    """Order the Saturday and publish the order; or return what is published."""
    known = published_plan(day)
    if known is not None:
        return known
    by = Account.objects.filter(is_manager=True).order_by("pk").first()
    plan = make_plan(date=day, by=by, now=now, seconds=PLAN_S)
    return publish_plan(plan=plan, by=by, now=now)


def demo_password(username: str) -> str:
    """Return the password of a demo account, the same on this machine always."""
    return f"{username}-{_secret(f'password {username}')[:10]}"


def demo_token(kind: str, holder: str) -> str:
    """Return the secret of a demo feed, the same on this machine always."""
    return _secret(f"feed {kind} {holder}")


def _secret(name: str) -> str:
    key = settings.SECRET_KEY.encode()
    return hmac.new(key, f"demo {name}".encode(), hashlib.sha256).hexdigest()[:43]
