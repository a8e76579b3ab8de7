"""Compiled: annealing over the arena, line and start of every task.

Resets are costed exactly between the tasks of a line; clashes, resets without
their minutes and resets the crew cannot do in time are paid for by the minute, so
that the search may pass through days that cannot be, and keeps only clean ones.
"""

import numpy as np

from scheduling.solver.compiled import compiled, inlined

MISSING_S = 30
"""What each missing minute costs while searching [s]."""

_MODULUS = 2147483647


@compiled
def _dice(state, sides):
    """Throw a die: Lehmer's generator (Park and Miller, CACM 31, 1988, 1192-1201)."""
    state[0] = state[0] * 48271 % _MODULUS
    return state[0] % sides


@inlined
def arena_cost(arena, order, count, chosen, p, jobs, last):
    """Cost of an arena's resets, missing minutes included [s]; lists its resets.

    `jobs` gets (from, to, minutes) of each reset: the last gap that holds it, or
    the widest. `last` is room for a number by line.
    """
    _, line_of, start_of, minutes, warm, cool, clears, seconds = p[:8]
    line_arena, crew = p[9], p[10]
    total, found = 0, 0
    last[:] = -1
    for at in range(count):
        n = order[at]
        start = start_of[chosen[n]]
        if at:
            b = order[at - 1]
            late = start_of[chosen[b]] + minutes[b] - start
            if late > 0:
                total += MISSING_S * 4 * late
        low, high = line_of[chosen[n]], line_of[chosen[n]] + 1
        if clears[n]:
            low, high = 0, len(line_arena)
        elif low < 0:
            continue
        for line in range(low, high):
            if clears[n] and line_arena[line] != arena:
                continue
            before = -1 if last[line] < 0 else order[last[line]]
            cost = seconds[line, before + 1, n]
            total += cost
            need = -(-cost // 60)
            if need > 0:
                best, best_from, best_to = -100000, 0, 0
                for k in range(at, last[line], -1):
                    y = order[k]
                    until = start_of[chosen[y]] + (warm[n] if k == at else 0)
                    if k:
                        x = order[k - 1]
                        since = start_of[chosen[x]] + minutes[x] - cool[x]
                    else:
                        since = crew[1]
                    since, until = max(since, crew[1]), min(until, crew[2])
                    if until - since > best:
                        best, best_from, best_to = until - since, since, until
                    if best >= need:
                        break
                if best < need:
                    total += MISSING_S * (need - best)
                jobs[found, 0], jobs[found, 1] = best_from, best_to
                jobs[found, 2] = need
                found += 1
            last[line] = at
    return total, found


@inlined
def crew_late(jobs, counts, crew, todo, free):
    """Minutes by which the crew is late, the most urgent reset first."""
    if crew <= 0:
        return counts.sum() * 1000
    size = 0
    for a in range(len(counts)):
        for k in range(counts[a]):
            for c in range(3):
                todo[size, c] = jobs[a, k, c]
            size += 1
    for c in range(crew):
        free[c] = 0
    late = 0
    while size:
        who = 0
        for c in range(1, crew):
            if free[c] < free[who]:
                who = c
        earliest = todo[0, 0]
        for k in range(1, size):
            earliest = min(earliest, todo[k, 0])
        at = max(free[who], earliest)
        pick = -1
        for k in range(size):
            if todo[k, 0] <= at and (pick < 0 or todo[k, 1] < todo[pick, 1]):
                pick = k
        free[who] = at + todo[pick, 2]
        late += max(0, free[who] - max(todo[pick, 1], todo[pick, 0] + todo[pick, 2]))
        size -= 1
        for c in range(3):
            todo[pick, c] = todo[size, c]
    return late


@compiled
def apart_from(rest):
    """Return the tasks each must be apart from, and how many they are."""
    size = len(rest)
    others, count = np.zeros((size, size), np.int64), np.zeros(size, np.int64)
    for n in range(size):
        for k in range(size):
            if rest[n, k] >= 0:
                others[n, count[n]] = k
                count[n] += 1
    return others, count


@inlined
def clash_minutes(n, chosen, p, others, count):
    """Minutes for which a task is together with one it must be apart from."""
    start_of, minutes, rest = p[2], p[3], p[8]
    total, mine = 0, start_of[chosen[n]]
    for at in range(count[n]):
        k = others[n, at]
        other = start_of[chosen[k]]
        apart = max(mine - other - minutes[k], other - mine - minutes[n])
        if apart < rest[n, k]:
            total += rest[n, k] - apart
    return total


@inlined
def _take_out(n, arena, order, count):
    k = 0
    while order[arena, k] != n:
        k += 1
    count[arena] -= 1
    for j in range(k, count[arena]):
        order[arena, j] = order[arena, j + 1]


@inlined
def _put_in(n, arena, order, count, chosen, start_of):
    k = count[arena]
    mine = start_of[chosen[n]]
    while k and (
        start_of[chosen[order[arena, k - 1]]] > mine
        or (start_of[chosen[order[arena, k - 1]]] == mine and order[arena, k - 1] > n)
    ):
        order[arena, k] = order[arena, k - 1]
        k -= 1
    order[arena, k] = n
    count[arena] += 1


@compiled
def _same_place(option, like, first, task, p):
    """Return the option of a task with the arena, line and start of another's."""
    arena_of, line_of, start_of = p[0], p[1], p[2]
    for k in range(first[task], first[task + 1]):
        if (
            arena_of[k] == arena_of[like]
            and start_of[k] == start_of[like]
            and (line_of[k] == line_of[like] or line_of[k] < 0 or line_of[like] < 0)
        ):
            return k
    return option


@inlined
def _propose(state, chosen, order, count, first, p, moved, to):
    """Propose a change: one task elsewhere, two changed over, or two arenas'."""
    arena_of, start_of, minutes = p[0], p[2], p[3]
    size = len(chosen)
    n = _dice(state, size)
    kind = _dice(state, 100)
    if kind < 8:
        return _propose_swap_of_arenas(state, chosen, order, count, first, p, moved, to)
    if kind < 45:
        k = _dice(state, size)
        if k == n:
            return 0
        moved[0], to[0] = n, _same_place(chosen[n], chosen[k], first, n, p)
        moved[1], to[1] = k, _same_place(chosen[k], chosen[n], first, k, p)
        return 2 if to[0] != chosen[n] and to[1] != chosen[k] else 0
    option = first[n] + _dice(state, first[n + 1] - first[n])
    if option == chosen[n]:
        return 0
    moved[0], to[0] = n, option
    if kind < 70:
        # Whoever is in the way goes where the other came from.
        for j in range(count[arena_of[option]]):
            k = order[arena_of[option], j]
            other = start_of[chosen[k]]
            if (
                k != n
                and other < start_of[option] + minutes[n]
                and start_of[option] < other + minutes[k]
            ):
                moved[1], to[1] = k, _same_place(chosen[k], chosen[n], first, k, p)
                return 2 if to[1] != chosen[k] else 1
    return 1


@compiled
def _propose_swap_of_arenas(state, chosen, order, count, first, p, moved, to):
    """Propose that two arenas change over all that starts within some time."""
    arena_of, start_of = p[0], p[2]
    arenas = len(count)
    a, b = _dice(state, arenas), _dice(state, arenas)
    if a == b:
        return 0
    since = start_of[chosen[_dice(state, len(chosen))]]
    until = since + 60 + 30 * _dice(state, 12)
    found = 0
    for where, other in ((a, b), (b, a)):
        for j in range(count[where]):
            n = order[where, j]
            at = start_of[chosen[n]]
            if not since <= at < until:
                continue
            new = -1
            for k in range(first[n], first[n + 1]):
                if (
                    arena_of[k] == other
                    and start_of[k] == at
                    and (new < 0 or _dice(state, 2))
                ):
                    new = k
            if new < 0:
                return 0
            moved[found], to[found] = n, new
            found += 1
    return found


@compiled
def _desk(size, p):
    """Return the arrays a search works on.

    By arena the order and count of its tasks, what it costs, and its resets; each
    once more as it was before the change that is tried.
    """
    arenas = max(p[0].max(), p[9].max()) + 1
    most = size * max(1, len(p[9]))
    order, count = np.zeros((arenas, size + 1), np.int64), np.zeros(arenas, np.int64)
    value, job_count = np.zeros(arenas, np.int64), np.zeros(arenas, np.int64)
    kept_value, kept_count = np.zeros(arenas, np.int64), np.zeros(arenas, np.int64)
    jobs, kept = (
        np.zeros((arenas, most, 3), np.int64),
        np.zeros((arenas, most, 3), np.int64),
    )
    todo, free = (
        np.zeros((most * arenas, 3), np.int64),
        np.zeros(p[10][0] + 1, np.int64),
    )
    last, tried = np.full(len(p[9]), -1, np.int64), np.zeros((most, 3), np.int64)
    back, dirty = np.zeros(size * 2 + 2, np.int64), np.zeros(arenas, np.int64)
    # What options cost, minutes of clashes, and minutes by which the crew is late.
    sums = np.zeros(3, np.int64)
    return (
        *(order, count, value, job_count, kept_value, kept_count, jobs, kept),
        *(todo, free, last, tried, back, dirty, sums),
    )


@compiled
def _lay_out(chosen, cost, p, apart, desk):
    """Cost the options chosen from nothing; returns the whole [s]."""
    order, count, value, job_count, _, _, jobs, _, todo, free, last = desk[:11]
    sums = desk[14]
    for n in range(len(chosen)):
        _put_in(n, p[0][chosen[n]], order, count, chosen, p[2])
    for n in range(len(chosen)):
        sums[0] += cost[chosen[n]]
        sums[1] += clash_minutes(n, chosen, p, apart[0], apart[1])
    sums[1] //= 2
    for a in range(len(count)):
        value[a], job_count[a] = arena_cost(
            a, order[a], count[a], chosen, p, jobs[a], last
        )
    sums[2] = crew_late(jobs, job_count, p[10][0], todo, free)
    return sums[0] + value.sum() + MISSING_S * (sums[1] + sums[2])


@inlined
def _change(found, moved, to, chosen, cost, p, apart, desk):
    """Move some tasks; arenas touched are costed anew, what they were is kept."""
    order, count, value, job_count, kept_value, kept_count, jobs, kept = desk[:8]
    last, tried, back, dirty, sums = desk[10:]
    arena_of, start_of = p[0], p[2]
    dirty[:] = 0
    for k in range(found):
        n = moved[k]
        back[k] = chosen[n]
        sums[1] -= clash_minutes(n, chosen, p, apart[0], apart[1])
        dirty[arena_of[chosen[n]]] = 1
        _take_out(n, arena_of[chosen[n]], order, count)
        sums[0] += cost[to[k]] - cost[chosen[n]]
        chosen[n] = to[k]
        sums[1] += clash_minutes(n, chosen, p, apart[0], apart[1])
        dirty[arena_of[to[k]]] = 1
        _put_in(n, arena_of[to[k]], order, count, chosen, start_of)
    for a in range(len(count)):
        if dirty[a]:
            kept_value[a], kept_count[a] = value[a], job_count[a]
            value[a], job_count[a] = arena_cost(
                a, order[a], count[a], chosen, p, tried, last
            )
            for k in range(max(job_count[a], kept_count[a])):
                for c in range(3):
                    kept[a, k, c] = jobs[a, k, c]
                    jobs[a, k, c] = tried[k, c]


@inlined
def _change_back(found, moved, chosen, p, desk):
    """Undo what `_change` did, but for its sums."""
    order, count, value, job_count, kept_value, kept_count, jobs, kept = desk[:8]
    back, dirty = desk[12], desk[13]
    for k in range(found - 1, -1, -1):
        n = moved[k]
        _take_out(n, p[0][chosen[n]], order, count)
        chosen[n] = back[k]
        _put_in(n, p[0][chosen[n]], order, count, chosen, p[2])
    for a in range(len(count)):
        if dirty[a]:
            for k in range(max(job_count[a], kept_count[a])):
                for c in range(3):
                    jobs[a, k, c] = kept[a, k, c]
            value[a], job_count[a] = kept_value[a], kept_count[a]


@inlined
def _is_clean(chosen, p, desk):
    """Say whether nothing clashes, and every reset is done in time."""
    sums = desk[14]
    if sums[1] or sums[2]:
        return False
    return clean(desk[0], desk[1], chosen, p, desk[6], desk[3])


@compiled
def anneal(chosen, first, cost, moves, hot, cold, seed, p, halt):
    """Search for `moves` moves from the options chosen; keep the best clean day.

    Returns its cost, or -1 if none was met; `chosen` becomes its options. Ends
    early once `halt[0]` is set.
    """
    size = len(chosen)
    desk, apart = _desk(size, p), apart_from(p[8])
    order, count, value = desk[0], desk[1], desk[2]
    job_count, jobs = desk[3], desk[6]
    todo, free, sums = desk[8], desk[9], desk[14]
    moved, to = np.zeros(size * 2 + 2, np.int64), np.zeros(size * 2 + 2, np.int64)
    state, was = np.array([seed % (_MODULUS - 1) + 1]), np.zeros(3, np.int64)
    now = _lay_out(chosen, cost, p, apart, desk)
    best, best_chosen = -1, chosen.copy()
    if _is_clean(chosen, p, desk):
        best = now
    heat, cooling = hot, (cold / hot) ** (1.0 / max(1, moves))
    for _ in range(moves):
        if halt[0]:
            break
        heat *= cooling
        found = _propose(state, chosen, order, count, first, p, moved, to)
        if found == 0:
            continue
        was[:] = sums
        _change(found, moved, to, chosen, cost, p, apart, desk)
        limit = now - heat * np.log(_dice(state, 1000000) / 1000000.0 + 1e-9)
        after = sums[0] + value.sum() + MISSING_S * sums[1]
        if after <= limit:
            sums[2] = crew_late(jobs, job_count, p[10][0], todo, free)
            after += MISSING_S * sums[2]
        if after <= limit:
            now = after
            if (best < 0 or now < best) and _is_clean(chosen, p, desk):
                best = now
                best_chosen[:] = chosen
            continue
        sums[:] = was
        _change_back(found, moved, chosen, p, desk)
    chosen[:] = best_chosen
    return best


@compiled
def clean(order, count, chosen, p, jobs, job_count):
    """Say whether no arena has two tasks at once, or a reset without its minutes."""
    start_of, minutes = p[2], p[3]
    for a in range(len(count)):
        for k in range(1, count[a]):
            b = order[a, k - 1]
            if start_of[chosen[b]] + minutes[b] > start_of[chosen[order[a, k]]]:
                return False
        for k in range(job_count[a]):
            if jobs[a, k, 1] - jobs[a, k, 0] < jobs[a, k, 2]:
                return False
    return True
