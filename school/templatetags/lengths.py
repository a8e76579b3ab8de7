"""Lengths in a template, in the school's units: `{{ cm|distance:units }}`."""

from django import template

from exercises.geometry.units import Units

register = template.Library()


@register.filter
def distance(cm: int, units: Units) -> str:
    return units.length(cm)


@register.filter
def fence(cm: int, units: Units) -> str:
    return units.height(cm)


@register.filter
def horse(cm: int, units: Units) -> str:
    return units.horse(cm)
