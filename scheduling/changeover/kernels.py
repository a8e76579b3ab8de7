"""Compiled: the least cost of a changeover over all matchings, for many shifts.

A setup is given by the shapes of its elements (numbers into the tables of costs)
and their places. Costs are whole microseconds.
"""

import numpy as np

from scheduling.solver.compiled import compiled

_FAR = 1 << 60
_NEVER = 1 << 40


@compiled
def floor_of(gain, n, m):
    """Return what no matching of n rows to m columns comes below [µs]."""
    by_row = by_column = 0
    for i in range(n):
        least = 0
        for j in range(m):
            least = min(least, gain[i, j])
        by_row += least
    for j in range(m):
        least = 0
        for i in range(n):
            least = min(least, gain[i, j])
        by_column += least
    return max(by_row, by_column)


@compiled
def least_gain(gain, n, m, u, v, match, way, low, used):
    """Least sum of gains over all matchings of n rows to m columns, n <= m [µs].

    No gain is above 0, so rows that gain nothing cost nothing. Shortest augmenting
    paths (Jonker and Volgenant, Computing 38, 1987, 325-340).
    """
    for j in range(m + 1):
        match[j], v[j] = 0, 0
    for i in range(n + 1):
        u[i] = 0
    for i in range(1, n + 1):
        match[0] = i
        for j in range(m + 1):
            low[j], used[j] = _FAR, 0
        j0 = 0
        while True:
            used[j0] = 1
            i0, step, j1 = match[j0], _FAR, 0
            for j in range(1, m + 1):
                if used[j]:
                    continue
                left = gain[i0 - 1, j - 1] - u[i0] - v[j]
                if left < low[j]:
                    low[j], way[j] = left, j0
                if low[j] < step:
                    step, j1 = low[j], j
            for j in range(m + 1):
                if used[j]:
                    u[match[j]] += step
                    v[j] -= step
                else:
                    low[j] -= step
            j0 = j1
            if match[j0] == 0:
                break
        while j0:
            match[j0] = match[way[j0]]
            j0 = way[j0]
    return -v[0]


@compiled
def fill_gains(gain, a, at_a, b, at_b, shift, in_place, lift, per_cm, strip, build):
    """Write what each match saves, with the smaller setup as rows [µs]."""
    n, m = len(a), len(b)
    for i in range(n):
        for j in range(m):
            moved = abs(at_b[j] + shift - at_a[i])
            cost = in_place[a[i], b[j]]
            if moved > 0:
                cost += lift[a[i], b[j]] + per_cm[a[i], b[j]] * moved
            saved = min(0, cost - strip[a[i]] - build[b[j]])
            if n <= m:
                gain[i, j] = saved
            else:
                gain[j, i] = saved


@compiled
def costs_at(a, at_a, b, at_b, shifts, in_place, lift, per_cm, strip, build, start):
    """Cost of setup `a` made into `b` moved by each shift, the start included [µs]."""
    n, m = min(len(a), len(b)), max(len(a), len(b))
    gain = np.empty((n, m), np.int64)
    u, v = np.empty(n + 1, np.int64), np.empty(m + 1, np.int64)
    match, way = np.empty(m + 1, np.int64), np.zeros(m + 1, np.int64)
    low, used = np.empty(m + 1, np.int64), np.empty(m + 1, np.int64)
    whole = 0
    for i in a:
        whole += strip[i]
    for j in b:
        whole += build[j]
    out = np.empty(len(shifts), np.int64)
    for k in range(len(shifts)):
        fill_gains(
            gain, a, at_a, b, at_b, shifts[k], in_place, lift, per_cm, strip, build
        )
        cost = whole + least_gain(gain, n, m, u, v, match, way, low, used)
        out[k] = cost + start if cost > 0 else cost
    return out


@compiled
def least_cost(
    a, at_a, b, at_b, first, last, every, in_place, lift, per_cm, strip, build, start
):
    """Least cost over all shifts on the raster from `first` to `last` [µs].

    Between two shifts at which an element of one meets one of the other, the cost
    of each matching is linear in the shift: so only those, their neighbours on the
    raster, and the ends are tried.
    """
    n, m = min(len(a), len(b)), max(len(a), len(b))
    gain = np.empty((n, m), np.int64)
    u, v = np.empty(n + 1, np.int64), np.empty(m + 1, np.int64)
    match, way = np.empty(m + 1, np.int64), np.zeros(m + 1, np.int64)
    low, used = np.empty(m + 1, np.int64), np.empty(m + 1, np.int64)
    whole = 0
    for i in a:
        whole += strip[i]
    for j in b:
        whole += build[j]
    tried = np.empty(2 + 2 * n * m, np.int64)
    tried[0], tried[1], count = first, last, 2
    for i in range(len(a)):
        for j in range(len(b)):
            meet = first + (at_a[i] - at_b[j] - first) // every * every
            for shift in (meet, meet + every):
                if first < shift < last:
                    tried[count] = shift
                    count += 1
    tried = np.sort(tried[:count])
    # The most promising shifts first, so that most need no matching at all.
    floors = np.zeros(count, np.int64)
    for k in range(count):
        if k and tried[k] == tried[k - 1]:
            continue
        fill_gains(
            gain, a, at_a, b, at_b, tried[k], in_place, lift, per_cm, strip, build
        )
        floors[k] = floor_of(gain, n, m)
    best, at, order = 0, 0, np.argsort(floors)
    while at < count and floors[order[at]] < best:
        shift = tried[order[at]]
        fill_gains(gain, a, at_a, b, at_b, shift, in_place, lift, per_cm, strip, build)
        best = min(best, least_gain(gain, n, m, u, v, match, way, low, used))
        at += 1
    cost = whole + best
    return cost + start if cost > 0 else cost


@compiled
def cheapest_way(
    best, from_cm, from_way, to_cm, to_way, table, order, first, every, most
):
    """One step of the dynamic programme over places: least sums, and where from.

    `table[was way, now way, k]` are the seconds of the k-th shift from `first` on in
    steps of `every`, and `order` the shifts of each from the cheapest on; a step of
    more than `most` seconds may not be taken.
    """
    low_cm = from_cm.min()
    at = np.full((2, (from_cm.max() - low_cm) // every + 1), -1, np.int64)
    least, cheapest = np.full(2, _NEVER, np.int64), np.full(2, -1, np.int64)
    for i in range(len(best)):
        way = from_way[i]
        at[way, (from_cm[i] - low_cm) // every] = i
        if best[i] < least[way]:
            least[way], cheapest[way] = best[i], i
    k = len(to_cm)
    sums, back = np.full(k, _NEVER, np.int64), np.zeros(k, np.int64)
    for j in range(k):
        for way in range(2):
            i = cheapest[way]
            if i >= 0:
                shift = (to_cm[j] - from_cm[i] - first) // every
                seconds = table[way, to_way[j], shift]
                if seconds <= most and best[i] + seconds < sums[j]:
                    sums[j], back[j] = best[i] + seconds, i
        for way in range(2):
            if cheapest[way] < 0:
                continue
            # It ends at the cheapest place's own shift at the latest.
            for shift in order[way, to_way[j]]:  # pragma: no branch
                seconds = table[way, to_way[j], shift]
                # The cheapest shifts first: no later one can do better.
                if seconds > most or least[way] + seconds >= sums[j]:
                    break
                place = (to_cm[j] - first - shift * every - low_cm) // every
                if place < 0 or place >= at.shape[1]:
                    continue
                i = at[way, place]
                if i >= 0 and best[i] + seconds < sums[j]:
                    sums[j], back[j] = best[i] + seconds, i
    return sums, back
