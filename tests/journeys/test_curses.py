"""What each person would curse in a bad tool, and the tests that show it is not so.

The curses are the project's own judgment, ten for each person. Here is only held that
each has its tests and that they are there; what they show, they show themselves.
"""

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]

HERE = "journeys/test_what_{}_curses.py::"
MANAGER = HERE.format("a_manager")
INSTRUCTOR = HERE.format("an_instructor")
GROUND = HERE.format("a_groundsperson")
CLIENT = HERE.format("a_client")

CURSES: dict[str, dict[str, tuple[str, ...]]] = {
    "manager": {
        "A pony is booked twice because a lesson was dragged and the horse stayed": (
            "browser/test_board.py::a_lesson_is_dragged_and_its_horse_follows",
            "browser/test_board.py::what_would_double_book_a_horse_springs_back",
            "school/models/test_occupancy.py::a_moved_lesson_takes_its_horses_along",
        ),
        "A horse does its fourth hour because lessons are counted, not minutes": (
            "school/welfare/test_evaluate.py::"
            "the_fourth_hour_is_refused_though_it_is_only_the_third_lesson",
            "school/services/test_lessons.py::"
            "a_horse_has_its_days_limit_in_lessons_and_in_minutes",
        ),
        "The workload of a day past can't be printed": (
            "school/web/test_ride_logs.py::the_register_of_a_day_past_names_every_horse",
            "browser/test_managers_day.py::a_managers_day",
        ),
        "Every rule is a hard stop, so that horses are invented": (
            "school/web/test_welfare.py::a_refused_booking_may_be_done_all_the_same",
            "scheduling/web/test_board.py::"
            "a_rule_of_horses_work_is_overruled_on_the_board_with_a_reason",
        ),
        "Every rule is a warning, so that nobody reads any": (
            f"{MANAGER}a_warning_is_said_when_a_change_brings_it_and_not_ever_after",
            "school/services/test_welfare.py::age_and_unfitness_are_never_overruled",
        ),
        "One sick instructor is forty edits by hand": (
            "browser/test_out.py::a_sick_instructor_with_eight_lessons_on_a_phone",
            "scheduling/services/test_touched.py::"
            "eight_lessons_go_to_two_who_are_free_in_turns",
        ),
        "A term is booked week by week, holidays and all": (
            "journeys/test_term.py::a_term_keeps_the_wall_clock_and_leaves_its_days_out",
            "journeys/test_term.py::the_next_term_goes_on_at_the_same_hour",
            "journeys/test_term.py::all_that_becomes_of_a_term_reaches_the_calendars",
        ),
        "The waiting list does not say who fits": (
            f"{MANAGER}the_waiting_list_says_who_fits_a_gap_and_why_the_others_do_not",
            "school/services/test_who_fits.py::who_does_not_fit_is_told_why_not",
        ),
        "Arena two's cups are broken, and nothing knows": (
            f"{MANAGER}"
            "cups_that_broke_at_one_arena_are_known_there_and_planned_without",
            f"{MANAGER}broken_cups_of_arena_two_are_said_wherever_a_grid_goes_there",
            f"{MANAGER}what_was_marked_broken_by_mistake_is_taken_back_by_a_press",
            "school/web/test_store.py::"
            "what_is_broken_is_seen_by_place_and_no_longer_planned_with",
            "school/web/test_store.py::"
            "what_an_arenas_grids_need_stands_beside_what_it_has",
            "scheduling/services/test_finding_fences.py::"
            "a_time_says_what_its_arena_has_not_of_its_own",
            "scheduling/test_fetching.py::"
            "it_stands_on_the_day_the_list_its_picture_paper_and_calendar",
            "scheduling/changeover/test_fetching.py::no_other_choice_fetches_fewer",
        ),
        "Reports show what was planned, not what was ridden": (
            f"{MANAGER}reports_tell_what_was_ridden_beside_what_was_planned",
            "scheduling/web/test_reports.py::"
            "what_was_ridden_is_told_by_the_log_that_holds",
        ),
    },
    "instructor": {
        "The exercise can't be changed once the ride is in": (
            "scheduling/web/test_remedies.py::a_remedy_during_the_lesson_is_taken",
            "browser/test_afternoon.py::from_a_fault_to_the_log",
        ),
        "It insists on a distance that it computed": (
            "scheduling/web/test_cures.py::"
            "a_distance_is_taken_by_one_press_when_overruled",
            "school/services/test_ride_logs.py::a_changed_distance_is_kept",
        ),
        "Four heights and one distance, without a word of a compromise": (
            "school/services/test_cures.py::"
            "the_three_cures_are_offered_with_their_price",
            "scheduling/web/test_cures.py::every_cure_stands_there_with_what_it_costs",
        ),
        "To be typed in gloves, in rain, with one hand": (
            "browser/test_ride_logs.py::targets_are_large_and_nothing_scrolls_sideways",
            "browser/test_ride_logs.py::a_thumb_logs_a_knock_and_sees_what_follows",
            "browser/test_in_hand.py::all_that_is_pressed_is_as_large_as_a_glove",
            "browser/test_in_hand.py::nothing_must_be_typed",
            "browser/test_in_hand.py::"
            "the_other_pages_of_the_lesson_are_under_the_thumb",
            "browser/test_in_hand.py::a_rider_noted_late_by_two_presses_is_noted_once",
            "browser/test_in_hand.py::a_remedy_pressed_twice_is_taken_once",
        ),
        "Centimetres only, where riders think in holes and a cross": (
            f"{INSTRUCTOR}a_school_of_holes_reads_holes_and_a_cross_by_its_name",
            "exercises/drawing/test_drawing.py::"
            "measures_and_heights_follow_the_schools_units",
        ),
        "No place for what happened on Tuesday": (
            "school/web/test_ride_logs.py::what_happened_is_shown_with_what_helps",
            "school/web/test_ride_logs.py::"
            "a_horses_history_says_what_it_jumped_and_worked",
        ),
        "The jump lesson straight after the beginners, its grid in their way": (
            f"{INSTRUCTOR}a_day_never_leaves_a_grid_standing_in_the_way_of_beginners",
            f"{INSTRUCTOR}booking_says_that_a_grid_would_stand_in_the_way",
            f"{INSTRUCTOR}the_board_says_that_a_grid_would_stand_in_the_way",
            f"{INSTRUCTOR}a_lessons_page_says_whose_fences_stand_and_when_they_can_go",
            f"{INSTRUCTOR}the_planner_puts_beginners_where_no_grid_stands",
            "school/web/test_clear_arenas.py::"
            "beginners_are_said_to_need_a_clear_arena_and_are_planned_so",
        ),
        "A knocked pole counts as my change": (
            f"{INSTRUCTOR}a_knocked_pole_is_no_change_of_the_instructors",
        ),
        "The client is told the height before I have decided it": (
            f"{INSTRUCTOR}no_client_reads_a_height_before_the_lesson_is_ridden",
        ),
        "The saved exercise comes back with somebody else's measurements": (
            "school/services/test_drafts.py::"
            "a_lessons_grid_is_changed_for_that_lesson_alone",
            "exercises/test_services.py::"
            "a_schools_own_change_is_left_alone_and_the_librarys_laid_beside_it",
        ),
    },
    "groundsperson": {
        "It lists fences, not moves: the arena walked six times": (
            "scheduling/changeover/test_walking.py::"
            "the_whole_walk_is_the_shortest_under_its_rules",
            "scheduling/changeover/test_walking.py::"
            "on_the_way_out_what_is_to_be_built_is_carried_along",
        ),
        "Distances gap by gap, so that the last fence is half a metre out": (
            "scheduling/web/test_days.py::the_reset_list_says_what_where_and_when",
            "school/sheets/test_build_sheet.py::"
            "on_a_line_the_tape_is_read_from_its_datum",
        ),
        "Never which pole, which wing, from where to where": (
            "scheduling/test_wording.py::"
            "pieces_say_from_which_fence_they_come_and_where_they_go",
            "scheduling/sheets/test_reset_list.py::"
            "a_changeover_says_when_where_for_whom_and_what_to_carry",
        ),
        "An oxer, with three cups in the pail": (
            f"{GROUND}no_oxer_is_asked_for_with_three_cups_in_the_pail",
            "school/services/test_grids.py::the_store_is_never_overruled",
        ),
        "It forgets that I am alone on Thursdays and the wings are timber": (
            "scheduling/web/test_carrying.py::alone_on_thursdays_only",
            "scheduling/sheets/test_reset_list.py::"
            "one_alone_with_wings_for_two_is_warned",
            "scheduling/changeover/test_walking.py::"
            "two_carry_a_heavy_wing_and_nothing_else_with_it",
        ),
        "A picture; no line to tick with a wet thumb": (
            "browser/test_reset_list.py::everything_to_press_is_as_large_as_a_thumb",
            "browser/test_pages.py::a_thumb_ticks_a_move_without_leaving_the_page",
        ),
        "It changes while I am half way, and nothing marks it": (
            "browser/test_reset_list.py::"
            "a_plan_changed_meanwhile_says_so_and_moves_nothing",
            "browser/test_saturday.py::a_saturday_on_the_phone",
        ),
        "Ten minutes for a harrow that takes twenty-five": (
            "school/services/test_yard.py::"
            "a_harrow_takes_the_twenty_five_minutes_of_the_handbook",
            "school/services/test_yard.py::a_harrow_holds_its_arena_and_wants_it_clear",
        ),
        "The calendar's note is cut off before the useful part": (
            "scheduling/feeds/test_reset_list.py::"
            "what_a_phone_shows_of_an_entry_says_what_until_when_and_where",
            "scheduling/feeds/test_reset_list.py::"
            "an_entry_is_the_changeover_with_its_list",
        ),
        "Sent to build for a lesson cancelled an hour ago": (
            "scheduling/web/test_reset_page.py::"
            "a_cancelled_lesson_stays_in_its_place_and_says_since_when",
            "scheduling/services/test_plans.py::"
            "a_cancelled_lesson_has_no_changeover_any_more",
            "scheduling/feeds/test_reset_list.py::"
            "drafts_and_others_work_and_cancelled_lessons_are_left_out",
        ),
    },
    "client": {
        "Two invites for one lesson, and the old one still rings": (
            "school/services/test_invitations.py::"
            "a_move_after_the_invite_raises_the_sequence_and_keeps_the_uid",
            "school/services/test_subscriptions.py::"
            "what_was_invited_stays_by_mail_and_what_comes_is_in_the_feed",
            "journeys/test_invite_to_cancel.py::one_lesson_from_its_booking_to_its_end",
        ),
        "An hour wrong since the clocks changed": (
            "school/services/test_weekly.py::"
            "a_year_keeps_its_clock_time_over_both_changes_and_leaves_holidays_out",
            "school/web/test_agenda.py::"
            "a_feed_of_each_kind_is_read_alike_over_both_clock_changes",
        ),
        "The free hour is hidden until it has gone": (
            "school/services/test_messages.py::an_invite_says_what_a_family_must_know",
            "school/web/test_my.py::the_page_says_until_when_by_the_clock_and_in_words",
        ),
        "It says Lesson, and nothing of where, with whom and what to bring": (
            "school/services/test_messages.py::an_invite_says_what_a_family_must_know",
        ),
        "My child's name, weight or level in somebody else's calendar": (
            "school/services/test_messages.py::"
            "an_invite_tells_nothing_of_others_and_no_childs_surname",
            "school/web/test_agenda.py::feeds_of_the_yard_name_no_rider",
            "school/web/test_personal_data.py::"
            "no_page_or_answer_tells_weight_birth_date_or_health",
        ),
        "An account, to say that we can't come": (
            "school/web/test_my.py::a_button_gives_the_place_back",
        ),
        "A reminder late at night, after the limit": (
            "school/services/test_reminders.py::"
            "it_comes_before_them_where_waiting_would_pass_the_last_free_moment",
            "school/services/test_reminders.py::"
            "in_quiet_hours_a_reminder_waits_for_their_end",
        ),
        "My favourite pony, promised and swapped in silence": (
            f"{CLIENT}a_pony_that_was_promised_is_not_swapped_without_a_word",
            f"{CLIENT}a_pony_that_was_promised_and_is_gone_is_named",
            f"{CLIENT}no_pony_is_promised_where_the_school_names_none",
        ),
        "My credit ran out without a word": (
            "school/services/test_endings.py::"
            "a_credit_is_spoken_of_two_weeks_before_it_ends_and_once",
        ),
        "Rain, learnt at the gate": (
            f"{CLIENT}rain_is_told_by_mail_before_the_gate",
            f"{CLIENT}rain_is_told_by_mail_with_where_to_go_instead_and_why",
            f"{CLIENT}rain_is_told_by_the_subscription_alone_with_where_to_go",
            f"{CLIENT}rain_is_told_by_the_subscription_alone_where_there_is_no_hall",
            f"{CLIENT}rain_an_hour_before_is_told_at_once",
            f"{CLIENT}"
            "a_subscription_and_the_page_say_the_rule_for_bad_weather_and_whom_to_ring",
            f"{CLIENT}a_clients_page_says_first_what_is_not_held_and_why",
        ),
    },
}


@pytest.mark.parametrize("who", CURSES)
def test_each_has_ten(who: str) -> None:
    assert len(CURSES[who]) == 10


@pytest.mark.parametrize(
    "test",
    sorted({one for its in CURSES.values() for all_ in its.values() for one in all_}),
)
def test_what_shows_it_is_there(test: str) -> None:
    path, _, name = test.partition("::")

    tree = ast.parse((TESTS / path).read_text())

    names = {one.name for one in tree.body if isinstance(one, ast.FunctionDef)}
    assert f"test_{name}" in names
