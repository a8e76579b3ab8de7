"""Compiled: the least cost of a changeover over all matchings, for many shifts.

A setup is given by the shapes of its elements (numbers into the tables of costs)
and their places. Costs are whole microseconds.
"""

import numpy as np

from scheduling.solver.compiled import compiled

_FAR = 1 << 60
_NEVER = 1 << 40


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
    """Cost of setup `a` made into `b` moved by each shift, the start included [µs].

    Shifts ascend. Between two at which an element of one meets one of the other, the
    cost of each matching is linear in the shift, so the least of them is concave:
    where a shift between two others lies on the straight line through them, all
    between them do, and need no matching.
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
    count = len(shifts)
    out = np.full(count, -1, np.int64)
    # Stretches to look into, their ends included: at first those between meetings.
    meets = np.empty(n * m, np.int64)
    for i in range(len(a)):
        for j in range(len(b)):
            meets[i * len(b) + j] = at_a[i] - at_b[j]
    meets.sort()
    todo = np.empty((2 * n * m + 2 + 64, 2), np.int64)
    depth, since = 0, 0
    for meet in meets:
        at = np.searchsorted(shifts, meet)
        if at > since:
            todo[depth, 0], todo[depth, 1] = since, at - 1
            depth, since = depth + 1, at
        if since < count and shifts[since] == meet:
            todo[depth, 0], todo[depth, 1] = since, since
            depth, since = depth + 1, since + 1
    if since < count:
        todo[depth, 0], todo[depth, 1] = since, count - 1
        depth += 1
    tried = np.empty(3, np.int64)
    while depth:
        depth -= 1
        first, last = todo[depth, 0], todo[depth, 1]
        middle = (first + last) // 2
        tried[0], tried[1], tried[2] = first, last, middle
        for k in tried:
            if out[k] < 0:
                by = shifts[k]
                fill_gains(
                    gain, a, at_a, b, at_b, by, in_place, lift, per_cm, strip, build
                )
                out[k] = whole + least_gain(gain, n, m, u, v, match, way, low, used)
        if last - first < 2:
            continue
        rise, width = out[last] - out[first], shifts[last] - shifts[first]
        if (
            rise * (shifts[middle] - shifts[first])
            == (out[middle] - out[first]) * width
        ):
            for k in range(first + 1, last):
                out[k] = out[first] + rise * (shifts[k] - shifts[first]) // width
            continue
        todo[depth, 0], todo[depth, 1] = first, middle
        todo[depth + 1, 0], todo[depth + 1, 1] = middle, last
        depth += 2
    for k in range(count):
        if out[k] > 0:
            out[k] += start
    return out


@compiled
def gain_of(same, moved, per_cm, apart):
    """Return what a match saves whose elements lie `apart`; never above 0 [µs]."""
    if apart == 0:
        return min(0, same)
    return min(0, moved + per_cm * abs(apart))


@compiled
def floor_at(pair, at_a, at_b, shift, by_column):
    """Return what no matching at a shift comes below, and whether one reaches it [µs].

    It is reached where the rows' own least gains lie in columns of their own.
    """
    n, m = pair.shape[1], pair.shape[2]
    by_row, taken, reached = 0, 0, True
    for j in range(m):
        by_column[j] = 0
    for i in range(n):
        least, where = 0, -1
        for j in range(m):
            apart = at_b[j] + shift - at_a[i]
            saved = gain_of(pair[0, i, j], pair[1, i, j], pair[2, i, j], apart)
            if saved < least:
                least, where = saved, j
            by_column[j] = min(by_column[j], saved)
        if where >= 0:
            by_row += least
            reached = reached and not taken >> where & 1
            taken |= 1 << where
    if reached:
        return by_row, True
    columns = 0
    for j in range(m):
        columns += by_column[j]
    return max(by_row, columns), False


@compiled
def shifts_to_try(tried, at_a, at_b, first, last, every):
    """Write the shifts at which the least of a range may lie; return how many.

    Between two shifts at which an element of one meets one of the other, the cost
    of each matching is linear in the shift. So only those are tried, or their
    neighbours where they lie between two steps of the raster, and the range's ends.
    """
    tried[0], tried[1], count = first, last, 1 + (first < last)
    for i in range(len(at_a)):
        for j in range(len(at_b)):
            off = (at_a[i] - at_b[j] - first) % every
            meet = at_a[i] - at_b[j] - off
            for k in range(1 + (off > 0)):
                if first < meet + k * every < last:
                    tried[count] = meet + k * every
                    count += 1
    return count


@compiled
def least_gain_of_range(pair, at_a, at_b, first, last, every, best, space):
    """Least gain over all shifts from `first` to `last`, or `best` if that is less."""
    tried, floors, by_column, gain, u, v, match, way, low, used = space
    n, m = pair.shape[1], pair.shape[2]
    count = shifts_to_try(tried, at_a, at_b, first, last, every)
    for k in range(count):
        floors[k], reached = floor_at(pair, at_a, at_b, tried[k], by_column)
        if reached:
            best, floors[k] = min(best, floors[k]), 0
    # The most promising shifts first, so that few need a matching at all.
    while True:
        k = floors[:count].argmin()
        if floors[k] >= best:
            return best
        shift = tried[k]
        for i in range(n):
            for j in range(m):
                apart = at_b[j] + shift - at_a[i]
                saved = gain_of(pair[0, i, j], pair[1, i, j], pair[2, i, j], apart)
                if n <= m:
                    gain[i, j] = saved
                else:
                    gain[j, i] = saved
        least = least_gain(gain, min(n, m), max(n, m), u, v, match, way, low, used)
        best = min(best, least)
        for other in range(count):
            if tried[other] == shift:
                floors[other] = 0


@compiled
def least_cost(
    a, at_a, from_a, b, at_b, from_b, every, in_place, lift, per_cm, strip, build, start
):
    """Least cost of one row made into another, wherever both may lie [µs].

    Shapes and places of each row are given in both directions, with the first and
    the last offset it may have in each; the first is above the last where it may
    not be built that way.
    """
    n, m = a.shape[1], b.shape[1]
    least, most = min(n, m), max(n, m)
    ints = np.empty((7, most + 1), np.int64)
    ints[5] = 0
    space = (
        np.empty(2 + 2 * n * m, np.int64),
        np.empty(2 + 2 * n * m, np.int64),
        ints[0],
        np.empty((least, most), np.int64),
        *(ints[1], ints[2], ints[3], ints[4], ints[5], ints[6]),
    )
    whole = 0
    for i in range(n):
        whole += strip[a[0, i]]
    for j in range(m):
        whole += build[b[0, j]]
    pair = np.empty((3, n, m), np.int64)
    best = 0
    for was in range(2):
        for now in range(2):
            if from_a[was, 0] > from_a[was, 1] or from_b[now, 0] > from_b[now, 1]:
                continue
            for i in range(n):
                for j in range(m):
                    one, other = a[was, i], b[now, j]
                    apart = strip[one] + build[other]
                    pair[0, i, j] = in_place[one, other] - apart
                    pair[1, i, j] = pair[0, i, j] + lift[one, other]
                    pair[2, i, j] = per_cm[one, other]
            best = least_gain_of_range(
                *(pair, at_a[was], at_b[now]),
                *(from_b[now, 0] - from_a[was, 1], from_b[now, 1] - from_a[was, 0]),
                *(every, best, space),
            )
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


@compiled
def carry_on(costs, so_far, out):
    """Carry least sums on from the places of a row to those of the next one.

    `costs` are by distance, ascending: the k-th is that of the first place from the
    last one. What is already in `out` stays where it is less.
    """
    count = len(so_far)
    for j in range(len(out)):
        least = out[j]
        for i in range(count):
            least = min(least, so_far[i] + costs[j + count - 1 - i])
        out[j] = least
