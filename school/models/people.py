from datetime import date

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q

from school.enums import CalendarBy, ConsentKind, Language, Level
from school.models.constraints import before, filled, one_of, together, within


class Person(models.Model):
    """Somebody the school deals with; what they are is said by the tables below."""

    first_name = models.CharField(max_length=60)
    last_name = models.CharField(max_length=60, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=30, blank=True)

    class Meta:
        verbose_name_plural = "people"
        constraints = [filled("first_name", "person_first_name_filled")]

    def __str__(self) -> str:
        return f"{self.first_name} {self.last_name}".strip()


class Account(AbstractUser):
    """A sign-in; roles come from the person behind it, and `is_manager`."""

    person = models.OneToOneField(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="account"
    )
    is_manager = models.BooleanField(default=False)


class Instructor(models.Model):
    person = models.OneToOneField(
        Person, primary_key=True, on_delete=models.PROTECT, related_name="instructor"
    )
    level = models.CharField(
        max_length=12, choices=Level.choices, help_text="Teaches up to this level"
    )
    highest_fence_cm = models.PositiveSmallIntegerField()
    group_limit = models.PositiveSmallIntegerField(default=6)

    class Meta:
        constraints = [
            one_of("level", Level.values, "instructor_level_known"),
            within("highest_fence_cm", 0, 160, "instructor_highest_fence_in_range"),
            within("group_limit", 1, 12, "instructor_group_limit_in_range"),
        ]

    def __str__(self) -> str:
        return str(self.person)


class InstructorHours(models.Model):
    instructor = models.ForeignKey(
        Instructor, on_delete=models.CASCADE, related_name="hours"
    )
    weekday = models.PositiveSmallIntegerField(help_text="0 is Monday")
    from_at = models.TimeField(help_text="Local time")
    to_at = models.TimeField(help_text="Local time")

    class Meta:
        verbose_name_plural = "instructor hours"
        constraints = [
            within("weekday", 0, 6, "instructor_hours_on_a_weekday"),
            before("from_at", "to_at", "instructor_hours_begin_before_end"),
        ]

    def __str__(self) -> str:
        return f"{self.weekday}: {self.from_at}-{self.to_at}"


class InstructorPaper(models.Model):
    """First aid, licence, safeguarding: a paper with an end."""

    instructor = models.ForeignKey(
        Instructor, on_delete=models.CASCADE, related_name="papers"
    )
    name = models.CharField(max_length=80)
    expires_date = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint("instructor", "name", name="paper_once"),
            filled("name", "paper_name_filled"),
        ]

    def __str__(self) -> str:
        return self.name


EVERY_DAY = 0b1111111


class Groundsperson(models.Model):
    person = models.OneToOneField(
        Person, primary_key=True, on_delete=models.PROTECT, related_name="groundsperson"
    )
    works_from = models.TimeField(help_text="Local time")
    works_to = models.TimeField(help_text="Local time")
    alone_days = models.PositiveSmallIntegerField(
        default=EVERY_DAY, help_text="Weekdays without help: bit 0 is Monday"
    )

    class Meta:
        verbose_name_plural = "groundspeople"
        constraints = [
            within("alone_days", 0, EVERY_DAY, "groundsperson_alone_days_known"),
            before("works_from", "works_to", "groundsperson_begins_before_end"),
        ]

    def __str__(self) -> str:
        return str(self.person)

    def alone_on(self, day: date) -> bool:
        """Say whether nobody helps on a day."""
        return bool(self.alone_days >> day.weekday() & 1)


class Client(models.Model):
    """Who books and is written to: a rider of age, or a minor's guardian."""

    person = models.OneToOneField(
        Person, primary_key=True, on_delete=models.PROTECT, related_name="client"
    )
    link_round = models.PositiveIntegerField(
        default=0, help_text="Signed links of an earlier round are closed"
    )
    language = models.CharField(
        max_length=5, choices=Language.choices, default=Language.ENGLISH
    )
    calendar_by = models.CharField(
        max_length=6, choices=CalendarBy.choices, default=CalendarBy.INVITE
    )

    class Meta:
        constraints = [
            one_of("language", Language.values, "client_language_known"),
            one_of("calendar_by", CalendarBy.values, "client_calendar_by_known"),
        ]

    def __str__(self) -> str:
        return str(self.person)


class Rider(models.Model):
    """Somebody who rides. Weight, health and birth date are sensitive."""

    person = models.OneToOneField(
        Person, primary_key=True, on_delete=models.PROTECT, related_name="rider"
    )
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="riders")
    born_date = models.DateField()
    height_cm = models.PositiveSmallIntegerField(null=True, blank=True)
    weight_kg = models.PositiveSmallIntegerField()
    health = models.TextField(blank=True)
    level = models.CharField(max_length=12, choices=Level.choices)
    highest_fence_cm = models.PositiveSmallIntegerField(default=40)
    level_signed_by = models.ForeignKey(
        Instructor, null=True, blank=True, on_delete=models.PROTECT
    )
    level_signed_date = models.DateField(null=True, blank=True)
    emergency_name = models.CharField(max_length=120)
    emergency_phone = models.CharField(max_length=30)

    class Meta:
        constraints = [
            one_of("level", Level.values, "rider_level_known"),
            within("height_cm", 70, 230, "rider_height_in_range"),
            within("weight_kg", 10, 180, "rider_weight_in_range"),
            within("highest_fence_cm", 0, 160, "rider_highest_fence_in_range"),
            together("level_signed_by", "level_signed_date", "rider_level_signed"),
            filled("emergency_name", "rider_emergency_name_filled"),
            filled("emergency_phone", "rider_emergency_phone_filled"),
        ]

    def __str__(self) -> str:
        return str(self.person)


class Consent(models.Model):
    """A consent for a rider, given until a day, and withdrawn or not.

    Both days count: it holds from the day it was given to the day it expires. Who
    withdraws it does so from that day on.
    """

    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="consents")
    kind = models.CharField(
        max_length=12, choices=ConsentKind.choices, default=ConsentKind.OTHER
    )
    name = models.CharField(max_length=80)
    given_by = models.ForeignKey(Person, on_delete=models.PROTECT)
    given_date = models.DateField()
    expires_date = models.DateField()
    withdrawn_date = models.DateField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("kind", ConsentKind.values, "consent_kind_known"),
            models.UniqueConstraint("rider", "name", "given_date", name="consent_once"),
            models.CheckConstraint(
                condition=Q(expires_date__gt=models.F("given_date")),
                name="consent_given_before_it_expires",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_date__isnull=True)
                | Q(withdrawn_date__gte=models.F("given_date")),
                name="consent_given_before_it_is_withdrawn",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_date__isnull=True) | ~Q(withdrawn_reason=""),
                name="consent_withdrawn_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def holds_on(self, day: date) -> bool:
        """Say whether it is given on a day."""
        return self.given_date <= day <= self.expires_date and (
            self.withdrawn_date is None or day < self.withdrawn_date
        )
