"""Public holidays where the school is, from the `holidays` library."""

from datetime import date

from school.models import School


def countries() -> dict[str, tuple[str, ...]]:
    """Return the countries whose holidays are known, each with its regions."""
    # The library is slow to import, so not while a server starts.
    from holidays import list_supported_countries  # noqa: PLC0415

    return {
        code: tuple(regions)
        for code, regions in sorted(list_supported_countries().items())
    }


def holidays_of(school: School, first: date, last: date) -> dict[date, str]:
    """Return the public holidays from one day to another by their names.

    Nothing where the school has named no country.
    """
    if not school.country:
        return {}
    from holidays import country_holidays  # noqa: PLC0415

    found = country_holidays(
        school.country,
        subdiv=school.region or None,
        years=range(first.year, last.year + 1),
        language="en_US",
    )
    return {
        day: str(name) for day, name in sorted(found.items()) if first <= day <= last
    }
