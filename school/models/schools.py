from datetime import time

from django.db import models
from django.db.models import Q

from school.enums import (
    Charge,
    ExpiredPapers,
    HeightUnit,
    HorseUnit,
    LengthUnit,
    Tradition,
)
from school.models.constraints import filled, one_of, within


class School(models.Model):
    """The one school of this installation, with its settings."""

    name = models.CharField(max_length=120)
    zone = models.CharField(max_length=64, help_text="IANA name of the time zone")
    organiser_email = models.EmailField(
        help_text="Invites come from here and answers go here"
    )
    tradition = models.CharField(
        max_length=20, choices=Tradition.choices, default=Tradition.CONTINENTAL
    )
    length_unit = models.CharField(
        max_length=10, choices=LengthUnit.choices, default=LengthUnit.METRES
    )
    height_unit = models.CharField(
        max_length=10, choices=HeightUnit.choices, default=HeightUnit.CM
    )
    horse_unit = models.CharField(
        max_length=10, choices=HorseUnit.choices, default=HorseUnit.CM
    )
    first_hole_cm = models.PositiveSmallIntegerField(
        default=20, help_text="From the ground to the lowest hole of a wing"
    )
    hole_cm = models.PositiveSmallIntegerField(
        default=5, help_text="From one hole to the next"
    )
    place_every_cm = models.PositiveSmallIntegerField(default=5)
    start_every_min = models.PositiveSmallIntegerField(default=15)
    notice_hours = models.PositiveSmallIntegerField(default=24)
    arrive_before_min = models.PositiveSmallIntegerField(default=15)
    min_horse_age_years = models.PositiveSmallIntegerField(default=4)
    of_age_years = models.PositiveSmallIntegerField(
        default=18, help_text="Who is younger rides with a guardian's consent only"
    )
    leaders = models.PositiveSmallIntegerField(
        default=4, help_text="How many can lead a horse on foot at once"
    )
    lead_rein_from_years = models.PositiveSmallIntegerField(
        default=4, help_text="Who is younger is not booked, led or not"
    )
    alone_from_years = models.PositiveSmallIntegerField(
        default=0, help_text="Who is younger rides led only; 0 for no such rule"
    )
    lead_rein_fence_cm = models.PositiveSmallIntegerField(
        default=30, help_text="The highest cross that is ridden led"
    )
    welfare = models.JSONField(
        default=dict,
        blank=True,
        help_text="Rules of horses' work that differ from the usual: "
        '{"minutes-day": {"warn": 90, "refuse": 150}}',
    )
    tacked_up_min = models.PositiveSmallIntegerField(
        default=15,
        help_text="A gap between two lessons up to so long counts as a horse's work",
    )
    gear_kg = models.PositiveSmallIntegerField(
        default=10, help_text="Clothes and saddle, added to a rider's weight"
    )
    expired_papers = models.CharField(
        max_length=6,
        choices=ExpiredPapers.choices,
        default=ExpiredPapers.REFUSE,
        help_text="Where an instructor's paper has ended by a lesson's day",
    )
    moved_start_s = models.PositiveIntegerField(default=30)
    moved_arena_s = models.PositiveIntegerField(default=10)
    freeze_min = models.PositiveSmallIntegerField(
        default=60, help_text="Lessons that start within so many minutes stay put"
    )
    harrow_min = models.PositiveSmallIntegerField(
        default=25, help_text="Minutes to harrow an arena, poles off"
    )
    strips_evening = models.BooleanField(
        default=False, help_text="All is taken off the lines every evening"
    )
    handling = models.JSONField(
        default=dict, blank=True, help_text="Handling times that differ from the usual"
    )
    handling_changeovers = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text="From how many timed changeovers the handling times were learned",
    )
    handling_since = models.DateTimeField(
        null=True, blank=True, help_text="Since when they are in use"
    )
    carries_kg = models.PositiveSmallIntegerField(
        default=16, help_text="What one person carries at once"
    )
    helpers = models.PositiveSmallIntegerField(
        default=1, help_text="How many help those who do not work alone"
    )
    country = models.CharField(
        max_length=2, blank=True, help_text="ISO 3166 code, for public holidays"
    )
    region = models.CharField(max_length=10, blank=True)
    latitude = models.FloatField(
        null=True, blank=True, help_text="North is positive; for the hours of daylight"
    )
    longitude = models.FloatField(null=True, blank=True, help_text="East is positive")
    house_rules = models.TextField(blank=True)
    local_bodies = models.TextField(
        blank=True, help_text="The bodies whose rules come before this tool's advice"
    )

    phone = models.CharField(max_length=30, blank=True)
    map_url = models.URLField(blank=True)
    getting_there = models.CharField(
        max_length=300, blank=True, help_text="Gate, parking: one or two sentences"
    )
    weather_rule = models.CharField(
        max_length=300, blank=True, help_text="What happens in rain, storm or frost"
    )
    publish_horses = models.BooleanField(
        default=False, help_text="Tell clients which horse they ride"
    )
    collect_min = models.PositiveSmallIntegerField(
        default=3, help_text="Minutes in which changes are collected into one mail"
    )
    remind_hours = models.PositiveSmallIntegerField(
        default=72, help_text="Hours before a lesson of the first reminder; 0 for none"
    )
    remind_evening_at = models.TimeField(
        null=True,
        blank=True,
        default=time(18),
        help_text="Local time of the reminder on the evening before; empty for none",
    )
    exact_time_at = models.TimeField(
        default=time(18),
        help_text="Local time on the evening before, by which clients know when a "
        "lesson in a window begins",
    )
    make_up_days = models.PositiveSmallIntegerField(
        default=30,
        help_text="Days to make up a weekly lesson given back in time; 0 for none",
    )
    late_cancel_charge = models.CharField(
        max_length=10, choices=Charge.choices, default=Charge.CHARGED
    )
    no_show_charge = models.CharField(
        max_length=10, choices=Charge.choices, default=Charge.CHARGED
    )
    late_lost_min = models.PositiveSmallIntegerField(
        default=15, help_text="Who comes later than so many minutes has lost the lesson"
    )
    lost_charge = models.CharField(
        max_length=10, choices=Charge.choices, default=Charge.CHARGED
    )
    ended_counts_percent = models.PositiveSmallIntegerField(
        default=50, help_text="From so much of its time a lesson counts as held"
    )
    ended_rider_charge = models.CharField(
        max_length=10, choices=Charge.choices, default=Charge.CHARGED
    )
    ended_horse_charge = models.CharField(
        max_length=10, choices=Charge.choices, default=Charge.FREE
    )
    currency = models.CharField(
        max_length=3, blank=True, help_text="ISO 4217 code; empty names no amounts"
    )
    late_fee = models.DecimalField(
        max_digits=9,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Noted for a place given back late; empty goes by the share",
    )
    late_fee_percent = models.PositiveSmallIntegerField(
        default=100, help_text="Share of the price noted for it where no fee is set"
    )
    no_show_fee = models.DecimalField(
        max_digits=9,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="Noted for who does not come, or too late to ride",
    )
    no_show_fee_percent = models.PositiveSmallIntegerField(
        default=100, help_text="Share of the price noted for it where no fee is set"
    )
    price_in_invites = models.BooleanField(
        default=False, help_text="Say the price in the mails that invite"
    )
    quiet_from = models.TimeField(
        default=time(21), help_text="No reminder from this local time"
    )
    quiet_to = models.TimeField(default=time(8), help_text="… until this")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="school_only_one"),
            filled("name", "school_name_filled"),
            filled("zone", "school_zone_filled"),
            one_of("tradition", Tradition.values, "school_tradition_known"),
            one_of("length_unit", LengthUnit.values, "school_length_unit_known"),
            one_of("height_unit", HeightUnit.values, "school_height_unit_known"),
            one_of("horse_unit", HorseUnit.values, "school_horse_unit_known"),
            within("first_hole_cm", 0, 100, "school_first_hole_in_range"),
            within("latitude", -90, 90, "school_latitude_in_range"),
            within("longitude", -180, 180, "school_longitude_in_range"),
            models.CheckConstraint(
                condition=Q(latitude__isnull=True, longitude__isnull=True)
                | Q(latitude__isnull=False, longitude__isnull=False),
                name="school_place_whole",
            ),
            within("hole_cm", 1, 15, "school_hole_in_range"),
            within("place_every_cm", 1, 100, "school_place_every_in_range"),
            within("start_every_min", 1, 120, "school_start_every_in_range"),
            models.CheckConstraint(
                condition=Q(handling_changeovers__isnull=True)
                | Q(handling_changeovers__gte=1, handling_since__isnull=False),
                name="school_learned_handling_says_since_when",
            ),
            within("min_horse_age_years", 3, 10, "school_min_horse_age_in_range"),
            within("of_age_years", 14, 21, "school_of_age_in_range"),
            one_of(
                "expired_papers", ExpiredPapers.values, "school_expired_papers_known"
            ),
            within("leaders", 1, 12, "school_leaders_in_range"),
            within("lead_rein_from_years", 2, 18, "school_lead_rein_from_in_range"),
            within("alone_from_years", 0, 18, "school_alone_from_in_range"),
            within("lead_rein_fence_cm", 0, 60, "school_lead_rein_fence_in_range"),
            within("tacked_up_min", 0, 60, "school_tacked_up_in_range"),
            within("harrow_min", 5, 240, "school_harrow_in_range"),
            within("carries_kg", 5, 40, "school_carries_in_range"),
            within("helpers", 1, 3, "school_helpers_in_range"),
            within("gear_kg", 0, 40, "school_gear_in_range"),
            within("collect_min", 0, 60, "school_collect_in_range"),
            within("make_up_days", 0, 366, "school_make_up_days_in_range"),
            within("remind_hours", 0, 336, "school_remind_in_range"),
            within("late_lost_min", 1, 60, "school_late_lost_in_range"),
            within("ended_counts_percent", 1, 100, "school_ended_counts_in_range"),
            within("late_fee", 0, 99999, "school_late_fee_in_range"),
            within("no_show_fee", 0, 99999, "school_no_show_fee_in_range"),
            within("late_fee_percent", 0, 100, "school_late_fee_percent_in_range"),
            within("no_show_fee_percent", 0, 100, "school_no_show_percent_in_range"),
            one_of(
                "late_cancel_charge", Charge.values, "school_late_cancel_charge_known"
            ),
            one_of("no_show_charge", Charge.values, "school_no_show_charge_known"),
            one_of("lost_charge", Charge.values, "school_lost_charge_known"),
            one_of(
                "ended_rider_charge", Charge.values, "school_ended_rider_charge_known"
            ),
            one_of(
                "ended_horse_charge", Charge.values, "school_ended_horse_charge_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name
