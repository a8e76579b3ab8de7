"""What is asked of a lesson's grid with the changeovers it takes."""

from django.urls import path

from scheduling.web import cures, remedies

urlpatterns = [
    path("lessons/<int:pk>/cures/", cures.cures_page, name="cures"),
    path("lessons/<int:pk>/cures/take/", cures.take_cure, name="take-cure"),
    path(
        "lessons/<int:pk>/remedies/", remedies.lesson_remedies, name="lesson-remedies"
    ),
    path("lessons/<int:pk>/remedies/take/", remedies.take, name="take-remedy"),
    path("lessons/<int:pk>/remedies/undo/", remedies.undo, name="undo-remedy"),
    path("grids/<int:pk>/remedies/", remedies.draft_remedies, name="draft-remedies"),
    path(
        "grids/<int:pk>/remedies/take/",
        remedies.take_on_draft,
        name="take-draft-remedy",
    ),
]
