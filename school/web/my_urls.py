from django.urls import path

from school.web import my, my_things

urlpatterns = [
    path("my/<str:token>/", my.my_page, name="my-page"),
    path("my/<str:token>/wishes/", my.my_wish, name="my-wish"),
    path(
        "my/<str:token>/wishes/<int:wish>/withdraw/",
        my.my_wish_withdraw,
        name="my-wish-withdraw",
    ),
    path(
        "my/<str:token>/offers/<int:offer>/take/",
        my_things.my_offer,
        {"answer": "take"},
        name="my-offer-take",
    ),
    path(
        "my/<str:token>/offers/<int:offer>/decline/",
        my_things.my_offer,
        {"answer": "decline"},
        name="my-offer-decline",
    ),
    path(
        "my/<str:token>/consents/<int:consent>/renew/",
        my_things.my_consent,
        name="my-consent",
    ),
    path(
        "my/<str:token>/riders/<int:rider>/consent/",
        my_things.my_consent_given,
        name="my-consent-given",
    ),
    path(
        "my/<str:token>/calendar/all/",
        my_things.my_calendar_all,
        name="my-calendar-all",
    ),
    path("my/<str:token>/calendar/", my_things.my_calendar, name="my-calendar"),
    path(
        "my/<str:token>/calendar/<int:feed>/withdraw/",
        my_things.my_calendar_withdraw,
        name="my-calendar-withdraw",
    ),
    path("my/<str:token>/lessons/<int:pk>/", my.my_lesson, name="my-lesson"),
    path("my/<str:token>/lessons/<int:pk>/accept/", my.my_accept, name="my-accept"),
    path("my/<str:token>/lessons/<int:pk>/cancel/", my.my_cancel, name="my-cancel"),
    path(
        "my/<str:token>/lessons/<int:pk>/other-time/",
        my.my_other_time,
        name="my-other-time",
    ),
]
