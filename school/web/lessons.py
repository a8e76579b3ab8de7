"""The pages of a lesson: its facts, its grid to scale, and what is done with it."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from exercises.drawing.plan import draw_plan
from exercises.drawing.side import draw_side
from exercises.geometry.data import element_from_data
from exercises.geometry.units import Units
from school.convert import store_of, units_of, verdicts_now
from school.models import Lesson, LessonGrid, Ride
from school.permissions import (
    is_manager,
    is_staff_of_yard,
    may_attach_grid,
    may_note_who_came,
    may_see_lesson,
    may_see_sensitive,
)
from school.queries.clear_arenas import fences_before
from school.queries.daylight import light_of, light_of_weeks
from school.queries.grids import overruled_of
from school.queries.lessons import booked_rides, lesson_with_all
from school.queries.outcomes import missed_rides
from school.queries.schools import the_school
from school.queries.store import store_by_place
from school.queries.waiting import SEVERAL, TO_BE_HAD, open_wish
from school.services.asked import book_asked
from school.services.booking import book_with_grid, looked_at
from school.services.clear_arenas import TO_COME, ask_clear
from school.services.grids import UnableToAttach, attach_grid, detach_grid
from school.services.lesson_changes import note_booking
from school.services.lesson_levels import ask_level, level_notes
from school.services.offers import meet_wish
from school.services.refusals import UnableToBook
from school.web.access import account_of, allowed, in_hand
from school.web.forms import (
    BookForm,
    ClearForm,
    GridForm,
    LevelAskedForm,
    with_slot,
)
from school.web.overruling import offer_to_overrule, reason_of
from school.web.ride_logs import lesson_log
from school.web.undoing import undo_offered
from school.web.weekly import book_weekly
from school.web.welfare import lesson_welfare


def _lesson(request: HttpRequest, pk: int) -> Lesson:
    lesson = lesson_with_all(pk)
    if lesson is None:
        raise Http404
    return lesson


def anyone(account: Any) -> bool:
    """Signed in is enough; what is shown is asked of each lesson."""
    return True


@allowed(anyone)
def lesson_page(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(request, pk)
    if not may_see_lesson(account_of(request), lesson):
        raise PermissionDenied
    return _show(request, lesson)


def _show(
    request: HttpRequest,
    lesson: Lesson,
    *,
    refusal: str = "",
    verdicts: Any = (),
    forms: dict[str, Form] | None = None,
    more: dict[str, Any] | None = None,
) -> HttpResponse:
    account = account_of(request)
    grid = LessonGrid.objects.filter(lesson=lesson).first()
    school = the_school()
    units = units_of(school)
    context: dict[str, Any] = {
        "units": units,
        "lesson": lesson,
        "rides": _rides(request, lesson),
        "sensitive": may_see_sensitive(account, lesson),
        "places_left": places_left(lesson, timezone.now()),
        "manager": is_manager(account),
        "to_come": lesson.state in TO_COME,
        "may_attach": may_attach_grid(account, lesson),
        "in_hand": in_hand(request, lesson),
        "refusal": refusal,
        "verdicts": verdicts,
        "grid": grid,
        "light": light_of(lesson, school),
        "in_the_way": fences_before(lesson, school)
        if is_staff_of_yard(account)
        else None,
        "school": school,
        "may_give_back": is_manager(account) and lesson.starts_at > timezone.now(),
        "grid_form": GridForm(
            initial={
                "tradition": grid.tradition if grid else school.tradition,
                "exercise": grid.revision.exercise_id if grid else None,
                "ground": grid.ground if grid else [],
            }
        ),
    }
    if grid is not None:
        context |= _drawings(lesson, grid, units) | _fit(lesson, grid, units)
        context |= lesson_log(account, lesson)
    if context["manager"]:
        context["undo"] = undo_offered(account, timezone.now(), lesson=lesson)
    if context["manager"] and grid is None and lesson.state in TO_COME:
        asked = {"needs_clear": lesson.needs_clear}
        context["clear_form"] = ClearForm(auto_id="id_clear_%s", initial=asked)
    if context["sensitive"]:
        context |= lesson_welfare(lesson)
        context["level_notes"] = level_notes(lesson)
        context["level_form"] = LevelAskedForm(initial={"level": lesson.level})
    if may_note_who_came(account, lesson) and lesson.starts_at <= timezone.now():
        context |= {"may_note": True, "missed": missed_rides(lesson)}
    context |= (forms or {}) | (more or {})
    status = 409 if refusal else 200
    return render(request, "school/lesson.html", context, status=status)


def places_left(lesson: Lesson, now: datetime) -> int:
    """Return how many places of a lesson may still be offered."""
    if (
        lesson.kind not in SEVERAL
        or lesson.state not in TO_BE_HAD
        or lesson.starts_at <= now
    ):
        return 0
    return max(lesson.places - len(booked_rides(lesson)), 0)


def _rides(request: HttpRequest, lesson: Lesson) -> list[Ride]:
    """Return the rides a reader may see: clients those of their own riders."""
    account = account_of(request)
    rides = booked_rides(lesson)
    if may_see_sensitive(account, lesson) or not account.person_id:
        return rides
    own = [one for one in rides if one.rider.client_id == account.person_id]
    staff = hasattr(account.person, "instructor") or hasattr(
        account.person, "groundsperson"
    )
    return rides if staff else own


def _drawings(lesson: Lesson, grid: LessonGrid, units: Units) -> dict[str, Any]:
    start = [element_from_data(one) for one in grid.start]
    end = [element_from_data(one) for one in grid.end]
    title = f"{grid.revision.exercise.name}, {lesson.title}"
    for gap in grid.fitted.get("gaps", []):
        gap["built"] = units.length(gap["built_cm"])
        gap["meaning"] = gap["meaning"].replace("-", " ")
        for one in gap["horses"]:
            for key in ("low", "high"):
                one[key] = units.length(one[f"{key}_cm"])
            way = "long" if one["off_cm"] > 0 else "short"
            one["off_words"] = f"{units.short(abs(one['off_cm']))} {way}"
    return {
        "side": draw_side(
            start, ident="side", title=f"{title}: from the side", units=units
        ),
        "plan": draw_plan(
            start, ident="plan", title=f"{title}: from above", units=units
        ),
        "end_side": draw_side(
            end, ident="end", title=f"{title}: at the end", units=units
        )
        if end != start
        else "",
    }


def _fit(lesson: Lesson, grid: LessonGrid, units: Units) -> dict[str, Any]:
    """Return what was found when the row was fitted, and whether it still holds."""
    for line in grid.fitted.get("lines", []):
        for key in ("length", "row", "approach", "left"):
            line[key] = units.length(line[f"{key}_cm"])
    store = store_of(store_by_place(), lesson.arena)
    fitted_to = sorted(
        {one["horse"] for gap in grid.fitted.get("gaps", []) for one in gap["horses"]}
    )
    now = {ride.horse.name for ride in booked_rides(lesson) if ride.horse}
    return {
        "judged": verdicts_now(grid, store),
        "fitted_to": fitted_to,
        "stale": bool(fitted_to) and set(fitted_to) != now,
        "overruled": [
            {
                "who": one.by.person.first_name if one.by.person else one.by.username,
                "says": one.says,
                "reason": one.reason,
            }
            for one in overruled_of(grid)
        ],
    }


@allowed(is_manager)
def new_lesson(request: HttpRequest) -> HttpResponse:
    # Free ground on the board names a start and an arena, a time that was found all.
    asked = {key: one for key, one in request.GET.items() if one}
    initial = {"date": timezone.localdate().isoformat()} | asked
    form = BookForm(with_slot(request.POST) or None, initial=initial)
    refusal, overruling = "", {}
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            if data["until"]:
                return _booked_weekly(request, form)
            lesson = book_with_grid(
                revision=form.revision(),
                title=data["title"],
                kind=data["kind"],
                work=data["work"],
                starts_at=form.moment(),
                minutes=data["minutes"],
                arena=data["arena"],
                instructor=data["instructor"],
                places=data["places"],
                rides=form.rides(),
                window_from=form.window()[0],
                window_to=form.window()[1],
                by=account_of(request),
                now=timezone.now(),
                overrule=reason_of(request),
            )
        except UnableToBook as error:
            refusal, overruling = error.says, offer_to_overrule(request, error)
        else:
            note_booking(lesson=lesson, by=account_of(request), now=timezone.now())
            _meet_wish(request, data["wish"], lesson)
            messages.success(request, f"{lesson.title} is booked.")
            for said in looked_at([lesson]):
                messages.warning(request, f"Look at the grid: {said}")
            if light := light_of(lesson, the_school()):
                messages.warning(request, light)
            return redirect("lesson", pk=lesson.pk)
    return render(
        request,
        "school/lesson_new.html",
        {"form": form, "refusal": refusal} | overruling,
        status=409 if refusal else 200,
    )


def _meet_wish(request: HttpRequest, key: str, lesson: Lesson) -> None:
    """Take a wish off the waiting list that the lesson was booked for."""
    wish = open_wish(key)
    if wish is not None:
        meet_wish(wish=wish, lesson=lesson, by=account_of(request), now=timezone.now())


def _booked_weekly(request: HttpRequest, form: BookForm) -> HttpResponse:
    series = book_weekly(
        form,
        by=account_of(request),
        now=timezone.now(),
        overrule=reason_of(request),
    )
    lessons = series.lessons.order_by("starts_at", "pk")
    _meet_wish(request, form.cleaned_data["wish"], lessons[0])
    messages.success(
        request, f"{series.name} is booked every week, {len(lessons)} lessons."
    )
    for said in looked_at(list(lessons)):
        messages.warning(request, f"Look at the grids: {said}")
    if light := light_of_weeks(lessons.select_related("arena"), the_school()):
        messages.warning(request, light)
    return redirect("lesson", pk=lessons[0].pk)


@require_POST
@allowed(is_manager)
def book(request: HttpRequest, pk: int) -> HttpResponse:
    """Book a lesson that was asked for."""
    lesson = _lesson(request, pk)
    try:
        book_asked(
            lesson=lesson,
            by=account_of(request),
            now=timezone.now(),
            overrule=reason_of(request),
        )
    except UnableToBook as error:
        more = offer_to_overrule(request, error)
        return _show(request, lesson, refusal=error.says, more=more)
    messages.success(request, f"{lesson.title} is booked; its clients are told.")
    return redirect("lesson", pk=pk)


@require_POST
@allowed(anyone)
def level(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what level a lesson asks for."""
    lesson, form = _lesson(request, pk), LevelAskedForm(request.POST)
    if not may_see_sensitive(account_of(request), lesson):
        raise PermissionDenied
    if not form.is_valid():
        return _show(request, lesson, refusal="Choose a level, or none.")
    changed = ask_level(
        lesson=lesson, by=account_of(request), now=timezone.now(), **form.cleaned_data
    )
    if changed > 1:
        messages.success(request, f"Asked of {changed} lessons.")
    return redirect("lesson", pk=pk)


@require_POST
@allowed(is_manager)
def clear(request: HttpRequest, pk: int) -> HttpResponse:
    """Say whether nothing may stand in the arena while a lesson is held."""
    lesson, form = _lesson(request, pk), ClearForm(request.POST)
    form.full_clean()
    changed = ask_clear(
        lesson=lesson, by=account_of(request), now=timezone.now(), **form.cleaned_data
    )
    if changed > 1:
        messages.success(request, f"Set for {changed} lessons.")
    return redirect("lesson", pk=pk)


@require_POST
@allowed(anyone)
def attach(request: HttpRequest, pk: int) -> HttpResponse:
    lesson, form = _lesson(request, pk), GridForm(request.POST)
    if not may_attach_grid(account_of(request), lesson):
        raise PermissionDenied
    if not form.is_valid():
        return _show(
            request, lesson, refusal="Choose an exercise.", forms={"grid_form": form}
        )
    reasons = {
        key.removeprefix("reason:"): str(value)
        for key, value in request.POST.items()
        if key.startswith("reason:")
    }
    try:
        attach_grid(
            lesson=lesson,
            revision=form.cleaned_data["exercise"].current,
            tradition=form.cleaned_data["tradition"],
            ground=form.cleaned_data["ground"],
            by=account_of(request),
            now=timezone.now(),
            overrides=reasons,
            overrule=reason_of(request),
        )
    except UnableToAttach as error:
        return _show(
            request, lesson, refusal=error.says, verdicts=error.verdicts,
            forms={"grid_form": form},
            more=offer_to_overrule(request, error.work) if error.work else {},
        )  # fmt: skip
    messages.success(request, "The grid is attached.")
    return redirect("lesson", pk=pk)


@require_POST
@allowed(anyone)
def detach(request: HttpRequest, pk: int) -> HttpResponse:
    lesson = _lesson(request, pk)
    if not may_attach_grid(account_of(request), lesson):
        raise PermissionDenied
    try:
        detach_grid(lesson=lesson, by=account_of(request), now=timezone.now())
    except UnableToAttach as error:
        return _show(request, lesson, refusal=error.says)
    return redirect("lesson", pk=pk)
