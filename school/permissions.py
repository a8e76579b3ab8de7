"""Who may see and do what: asked by pages and API alike."""

from datetime import datetime

from school.enums import KEPT_PLACES, Role
from school.models import Account, GridDraft, Lesson, Ride, Rider
from school.queries.riders import taught_by


def roles_of(account: Account) -> frozenset[Role]:
    """Return what a signed-in person is; one may be several."""
    roles = {Role.MANAGER} if account.is_manager else set()
    person = account.person
    for role in (Role.INSTRUCTOR, Role.GROUNDSPERSON, Role.CLIENT):
        if person is not None and hasattr(person, role.value):
            roles.add(role)
    return frozenset(roles)


STAFF = frozenset({Role.MANAGER, Role.INSTRUCTOR, Role.GROUNDSPERSON})


def is_manager(account: Account) -> bool:
    """May book, move and cancel lessons, and make and publish plans."""
    return Role.MANAGER in roles_of(account)


def may_settle_outs(account: Account) -> bool:
    """The manager says who or what is out, and what becomes of its lessons."""
    return is_manager(account)


def may_bring_tables(account: Account) -> bool:
    """The manager brings in and writes out whole tables, sensitive cells and all."""
    return is_manager(account)


def may_see_reports(account: Account) -> bool:
    """The manager sees what a period amounts to."""
    return is_manager(account)


def is_staff_of_yard(account: Account) -> bool:
    """May see the day, the exercises and the reset list."""
    return bool(roles_of(account) & STAFF)


def may_work_resets(account: Account) -> bool:
    """May start, finish and tick changeovers."""
    return bool(roles_of(account) & {Role.MANAGER, Role.GROUNDSPERSON})


def may_plan_yard_work(account: Account) -> bool:
    """The manager says when which arena is harrowed."""
    return is_manager(account)


def is_instructor(account: Account) -> bool:
    """May see their own lessons as a list."""
    return Role.INSTRUCTOR in roles_of(account)


def is_client(account: Account) -> bool:
    """May see the lessons of their own riders."""
    return Role.CLIENT in roles_of(account)


def teaches(account: Account, lesson: Lesson) -> bool:
    """Say whether somebody is the lesson's instructor."""
    return account.person_id is not None and lesson.instructor_id == account.person_id


def may_see_lesson(account: Account, lesson: Lesson) -> bool:
    """Staff see every lesson, clients those of their own riders."""
    if is_staff_of_yard(account):
        return True
    return Ride.objects.filter(
        lesson=lesson,
        state__in=KEPT_PLACES,
        rider__client__person_id=account.person_id or 0,
    ).exists()


def may_attach_grid(account: Account, lesson: Lesson) -> bool:
    """Managers and the lesson's instructor attach its grid."""
    return is_manager(account) or teaches(account, lesson)


def may_log_ride(account: Account, lesson: Lesson) -> bool:
    """Managers and the lesson's instructor log what was ridden."""
    return is_manager(account) or teaches(account, lesson)


def may_note_who_came(account: Account, lesson: Lesson) -> bool:
    """Managers and the lesson's instructor note who came, and when it ended."""
    return is_manager(account) or teaches(account, lesson)


def may_keep_terms(account: Account) -> bool:
    """The manager makes terms, and carries weekly lessons over into the next."""
    return is_manager(account)


def may_set_charges(account: Account) -> bool:
    """The manager says what a missed place costs."""
    return is_manager(account)


def may_see_histories(account: Account) -> bool:
    """Managers and instructors see what horses and riders have ridden."""
    return is_manager(account) or is_instructor(account)


def may_see_riders(account: Account) -> bool:
    """Managers and instructors see who rides, their level, contacts and consents."""
    return is_manager(account) or is_instructor(account)


def may_see_rider_sensitive(account: Account, rider: Rider, now: datetime) -> bool:
    """Weight, health and birth date: managers, and who teaches the rider about now."""
    return is_manager(account) or (
        is_instructor(account) and taught_by(account, rider, now)
    )


def may_stop_riders(account: Account) -> bool:
    """Managers and instructors stop a rider; only a manager lifts it."""
    return is_manager(account) or is_instructor(account)


def may_sign_levels(account: Account) -> bool:
    """Only an instructor signs how far a rider is, be they manager too."""
    return is_instructor(account)


def may_make_grids(account: Account) -> bool:
    """Managers and instructors make and change grids."""
    return bool(roles_of(account) & {Role.MANAGER, Role.INSTRUCTOR})


def may_change_draft(account: Account, draft: GridDraft) -> bool:
    """A grid in the making belongs to who makes it."""
    return draft.account_id == account.pk and may_make_grids(account)


def may_see_sensitive(account: Account, lesson: Lesson) -> bool:
    """Weight, health and birth date: managers and the lesson's instructor only."""
    return is_manager(account) or teaches(account, lesson)


def may_note_heat(account: Account) -> bool:
    """Managers and instructors note how hot a day is."""
    return is_manager(account) or is_instructor(account)


def may_have_feed(account: Account, kind: str) -> bool:
    """A calendar address is made for what one is."""
    return kind in {role.value for role in roles_of(account)} and kind != Role.MANAGER


def may_have_yard_feed(account: Account) -> bool:
    """The manager makes and withdraws the addresses of horses and arenas."""
    return is_manager(account)
