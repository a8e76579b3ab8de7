from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("school.web.urls")),
    path("", include("school.web.my_urls")),
    path("", include("school.web.exercise_urls")),
    path("", include("scheduling.web.urls")),
    path("", include("scheduling.web.grid_urls")),
    path("", include("school.web.agenda_urls")),
    path("", include("scheduling.web.agenda_urls")),
    path("", include("school.api.urls")),
    path("", include("scheduling.api.urls")),
]
