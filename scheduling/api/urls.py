from django.urls import path

from scheduling.api.plans import DayPlanView, RunView
from scheduling.api.resets import DayResetsView, PressesView

urlpatterns = [
    path("api/days/<str:day>/plan/", DayPlanView.as_view(), name="api-day-plan"),
    path("api/runs/<int:pk>/", RunView.as_view(), name="api-run"),
    path("api/days/<str:day>/resets/", DayResetsView.as_view(), name="api-resets"),
    path("api/presses/", PressesView.as_view(), name="api-presses"),
]
