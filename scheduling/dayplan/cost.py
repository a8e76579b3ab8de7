"""The judge's own reckoning of a changeover, straight from the contract's text.

Written apart from the engines on purpose: it works on plain keys and sums of
microseconds, and leaves the matching to SciPy.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

Standing = Mapping[str, Any]
"""A placed element: the contract's keys, every default filled in."""

US = 1_000_000


@dataclass(frozen=True, slots=True)
class Times:
    """Handling times by piece and by act, in microseconds."""

    piece: Mapping[str, Mapping[str, int]]
    act: Mapping[str, int]


def count_pieces(one: Standing) -> Counter[str]:
    """Count the pieces of an element by the contract's table."""
    kind, rails = one["kind"], one["rails"]
    if rails is None:
        rails = 1 if one["height_cm"] <= 60 else 2 if one["height_cm"] <= 100 else 3
    count: Counter[str] = Counter()
    if kind in {"pole", "raised-pole"}:
        count["pole"] = 1
        count["block"] = 2 if kind == "raised-pole" else 0
    elif kind == "plank":
        count["plank"] = 1
    elif kind == "cross":
        count.update(wing=2, pole=2, cup=2)
    elif kind == "vertical":
        count.update(wing=2, pole=rails, cup=2 * rails)
    else:
        count.update(wing=4, pole=rails + 1, cup=2 * (rails + 1))
    count["pole"] += {"none": 0, "take-off": 1, "both": 2}[one["ground_line"]]
    count["pole"] += 2 if one["guides"] else 0
    return count


def away(one: Standing, times: Times) -> int:
    """Cost of returning an element's pieces [µs]."""
    return sum(times.piece[p]["return"] * n for p, n in count_pieces(one).items())


def fresh(one: Standing, times: Times) -> int:
    """Cost of a new element: its pieces fetched, and measured [µs]."""
    fetched = sum(times.piece[p]["fetch"] * n for p, n in count_pieces(one).items())
    return fetched + times.act["measure"]


def turned_into(a: Standing, b: Standing, times: Times) -> int:
    """Cost of one standing element made into another [µs]."""
    have, want = count_pieces(a), count_pieces(b)
    moved = abs(a["at_cm"] - b["at_cm"])
    other_way = a["faces"] != b["faces"]
    cost, measure = 0, moved > 0 or a["kind"] != b["kind"]
    for piece, by in times.piece.items():
        kept = min(have[piece], want[piece])
        cost += (want[piece] - kept) * by["fetch"] + (have[piece] - kept) * by["return"]
        if moved:
            cost += kept * (by["lift"] + by["per_cm"] * moved)
        if piece in {"wing", "block", "plank"} and want[piece] > kept:
            measure = True
    both_ascend = a["ascending"] and b["ascending"]
    if (
        a["height_cm"] != b["height_cm"]
        or a["ascending"] != b["ascending"]
        or (both_ascend and other_way)
    ):
        cost += min(have["cup"], want["cup"]) * times.act["cup_height"]
    if a["kind"] == b["kind"] == "oxer" and a["spread_cm"] != b["spread_cm"]:
        wing, by_cm = times.piece["wing"], abs(a["spread_cm"] - b["spread_cm"])
        cost += 2 * (wing["lift"] + wing["per_cm"] * by_cm)
        measure = True
    if measure:
        cost += times.act["measure"]
    if other_way:
        if a["ground_line"] == b["ground_line"] == "take-off":
            cost += times.act["turn"]
        if a["guides"] and b["guides"]:
            cost += times.act["turn"]
    return cost


def cheapest_seconds(
    standing: Sequence[Standing], wanted: Sequence[Standing], times: Times
) -> int:
    """Whole seconds of the cheapest changeover over all matchings [s]."""
    leave = [away(one, times) for one in standing]
    make = [fresh(one, times) for one in wanted]
    n, m = len(standing), len(wanted)
    # Entry (i, j) is what matching saves; a pair that saves nothing is left out.
    saved = np.zeros((n, m), dtype=np.int64)
    for i, a in enumerate(standing):
        for j, b in enumerate(wanted):
            pair = turned_into(a, b, times)
            saved[i, j] = min(0, pair - leave[i] - make[j])
    rows, columns = linear_sum_assignment(saved)
    total = sum(leave) + sum(make) + int(saved[rows, columns].sum())
    return -(-(total + times.act["start"]) // US) if total else 0
