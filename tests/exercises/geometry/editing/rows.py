"""Rows in the making, for tests."""

from exercises.geometry.spec import read_spec


def exercise(*elements: dict, **more):
    """A trotted row; fences of 50 cm unless said."""
    return read_spec(
        {
            "slug": "a-row",
            "name": "A row",
            "aim": "Try the edits",
            "level": "novice",
            "approach": "trot",
            "elements": elements,
            "source": "made for this test",
            "grade": "own",
        }
        | more
    )


def stage(*changes: dict, **more) -> dict:
    return {"says": "One step on", "changes": changes} | more


POLE = {"kind": "pole"}
CROSS = {"kind": "cross", "height_cm": 40, "gap": "placing-trot"}
VERTICAL = {"kind": "vertical", "height_cm": 50, "gap": "one-stride"}
OXER = {"kind": "oxer", "height_cm": 60, "spread_cm": 70, "gap": "one-stride"}
ROW = exercise(POLE, CROSS, VERTICAL)


def gaps(spec) -> list[str]:
    return [one.gap.value for one in spec.elements[1:]]
