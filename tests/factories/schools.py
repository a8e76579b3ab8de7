from factory.django import DjangoModelFactory

from school.models import School


class SchoolFactory(DjangoModelFactory):
    class Meta:
        model = School
        django_get_or_create = ("pk",)

    pk = 1
    name = "Example School"
    zone = "Europe/Amsterdam"
    organiser_email = "lessons@school.example.org"
    collect_min = 0
