from django.urls import re_path

from scheduling.web.agenda import groundsperson_feed

urlpatterns = [
    re_path(
        r"^agenda/groundsperson/(?P<token>[^/]+)\.ics$",
        groundsperson_feed,
        name="groundsperson-feed",
    ),
]
