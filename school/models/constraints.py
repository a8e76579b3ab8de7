"""Short forms of constraints that several tables need."""

from django.db.models import CheckConstraint, F, Q


def one_of(field: str, values: list[str], name: str) -> CheckConstraint:
    """Allow only the named values, whoever writes."""
    return CheckConstraint(
        condition=Q(**{f"{field}__in": values}),
        name=name,
        violation_error_message=f"{field} must be one of {', '.join(values)}",
    )


def within(field: str, low: int, high: int, name: str) -> CheckConstraint:
    """Allow only numbers from `low` to `high`; an empty value passes."""
    return CheckConstraint(
        condition=Q(**{f"{field}__gte": low, f"{field}__lte": high}),
        name=name,
        violation_error_message=f"{field} must be from {low} to {high}",
    )


def before(first: str, second: str, name: str) -> CheckConstraint:
    """Demand that `first` is less than `second`; empty values pass."""
    return CheckConstraint(
        condition=Q(**{f"{first}__lt": F(second)}),
        name=name,
        violation_error_message=f"{first} must come before {second}",
    )


def together(first: str, second: str, name: str) -> CheckConstraint:
    """Demand that both fields are set, or neither."""
    return CheckConstraint(
        condition=Q(**{f"{first}__isnull": True, f"{second}__isnull": True})
        | Q(**{f"{first}__isnull": False, f"{second}__isnull": False}),
        name=name,
        violation_error_message=f"{first} and {second} are set together",
    )


def filled(field: str, name: str) -> CheckConstraint:
    """Refuse an empty text."""
    return CheckConstraint(
        condition=~Q(**{field: ""}),
        name=name,
        violation_error_message=f"{field} must not be empty",
    )
