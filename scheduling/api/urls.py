from django.urls import path

from scheduling.api.plans import DayPlanView, RunView

urlpatterns = [
    path("api/days/<str:day>/plan/", DayPlanView.as_view(), name="api-day-plan"),
    path("api/runs/<int:pk>/", RunView.as_view(), name="api-run"),
]
