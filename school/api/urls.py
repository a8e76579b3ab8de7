from django.urls import path

from school.api.lessons import LessonDetail, LessonList

urlpatterns = [
    path("api/lessons/", LessonList.as_view(), name="api-lessons"),
    path("api/lessons/<int:pk>/", LessonDetail.as_view(), name="api-lesson"),
]
