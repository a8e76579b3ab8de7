from django.urls import re_path

from school.web.agenda import personal_feed

urlpatterns = [
    re_path(
        r"^agenda/(?P<kind>client|instructor|horse|arena)/(?P<token>[^/]+)\.ics$",
        personal_feed,
        name="personal-feed",
    ),
]
