"""Exercises in a line, for tests of what is done with them."""

from exercises.geometry.spec import ExerciseSpec, read_spec


def data(*elements: dict, **changes) -> dict:
    return {
        "slug": "sample-row",
        "name": "Sample row",
        "aim": "To see",
        "level": "intermediate",
        "approach": "trot",
        "elements": list(elements),
        "source": "the school's own",
        "grade": "own",
    } | changes


def x(gap: str | None = None, **more) -> dict:
    one = {"kind": "cross", "height_cm": 40} | more
    return one | {"gap": gap} if gap else one


def pole(gap: str | None = None, **more) -> dict:
    one = {"kind": "pole"} | more
    return one | {"gap": gap} if gap else one


def plank(gap: str | None = None, **more) -> dict:
    return pole(gap, **more) | {"kind": "plank"}


def vertical(gap: str | None = None, **more) -> dict:
    return x(gap, **({"kind": "vertical", "height_cm": 60} | more))


def oxer(gap: str | None = None, **more) -> dict:
    return x(gap, **({"kind": "oxer", "height_cm": 70, "spread_cm": 80} | more))


def spec(*elements: dict, **changes) -> ExerciseSpec:
    return read_spec(data(*elements, **changes))
