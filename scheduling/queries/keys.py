"""What the ids of a day file stand for."""


def key_of(day_id: str) -> int:
    """Return the primary key in an id of the day file, `line-7` say."""
    return int(day_id.rpartition("-")[2])
