from django.urls import path

from scheduling.web import (
    build_sheets,
    changeovers,
    day_links,
    days,
    handling,
    planner,
    reset_page,
    resets,
    runs,
    slots,
    stages,
    standing,
    what_if,
)

urlpatterns = [
    path(
        "lessons/<int:pk>/build-sheet/",
        build_sheets.lesson_build_sheet,
        name="lesson-build-sheet",
    ),
    path(
        "lessons/<int:pk>/build-sheet.pdf",
        build_sheets.lesson_build_sheet_pdf,
        name="lesson-build-sheet-pdf",
    ),
    path(
        "exercises/<slug:slug>/stages/", stages.exercise_stages, name="exercise-stages"
    ),
    path("lessons/<int:pk>/stages/", stages.lesson_stages, name="lesson-stages"),
    path("day/<str:day>/", days.day_page, name="day"),
    path("find-a-time/", slots.find, name="find-time"),
    path("planner/<str:day>/", planner.planner_page, name="planner"),
    path("planner/<str:day>/what-if/", what_if.what_if_page, name="what-if"),
    path("planner/<str:day>/ask/<str:kind>/", runs.ask, name="ask-run"),
    path("runs/<int:pk>/", runs.progress, name="run"),
    path("runs/<int:pk>/stop/", runs.stop, name="stop-run"),
    path("plans/<int:pk>/publish/", days.publish, name="publish-plan"),
    path("handling-times/", handling.handling_page, name="handling"),
    path("handling-times/use/", handling.use_handling, name="use-handling"),
    path("resets/today/", reset_page.todays_list, name="resets-today"),
    path("resets-worker.js", reset_page.worker, name="resets-worker"),
    path("resets/<str:day>/", resets.reset_list, name="resets"),
    path("resets/<str:day>/list.pdf", resets.reset_list_pdf, name="resets-pdf"),
    path("resets-elsewhere/", day_links.day_links, name="day-links"),
    path("today/<str:token>/", day_links.open_day_link, name="day-link"),
    path("standing/", standing.standing_page, name="standing"),
    path("standing/<int:pk>/", standing.correct, name="correct-standing"),
    path("changeovers/<int:pk>/", changeovers.changeover_page, name="changeover"),
    path("changeovers/<int:pk>/start/", resets.start, name="start-changeover"),
    path("changeovers/<int:pk>/done/", resets.finish, name="finish-changeover"),
    path("changeovers/<int:pk>/trouble/", resets.trouble, name="report-trouble"),
    path("photos/<uuid:uid>/", resets.photo, name="trouble-photo"),
    path("moves/<int:pk>/tick/", resets.tick, name="tick-move"),
]
