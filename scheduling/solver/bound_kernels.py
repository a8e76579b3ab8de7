"""Compiled: the cheapest day of one line, each task at most once as far as remembered.

Nodes are options of tasks on the line, ascending in start. A label is a day up to
a node: what it costs, and which tasks it remembers to have been at. A task is only
remembered while the tasks after it are near it (ng-route relaxation: Baldacci,
Mingozzi and Roberti, Operations Research 59, 2011, 1269-1283), so costs are never
above those of a true day. Where a node has no room for another label, two are
made one that costs the less and remembers what both do: lower still.
"""

import numpy as np

from scheduling.solver.compiled import compiled

ROOM = 12
"""Labels a node has room for."""

_FAR = 1e15


@compiled
def _add(value, memory, origin, count, node, new, remembered, came):
    """Add a label to a node unless another is as good; drop those it beats."""
    k = 0
    while k < count[node]:
        if value[node, k] <= new and memory[node, k] & ~remembered == 0:
            return
        if new <= value[node, k] and remembered & ~memory[node, k] == 0:
            count[node] -= 1
            last = count[node]
            value[node, k] = value[node, last]
            memory[node, k] = memory[node, last]
            origin[node, k] = origin[node, last]
            continue
        k += 1
    if count[node] == ROOM:
        worst = 0
        for k in range(1, ROOM):
            if value[node, k] > value[node, worst]:
                worst = k
        if value[node, worst] < new:
            # The dearer of the two gives only what it forgets.
            memory[node, worst] &= remembered
            return
        remembered &= memory[node, worst]
        value[node, worst], memory[node, worst] = new, remembered
        origin[node, worst] = came
        return
    k = count[node]
    value[node, k], memory[node, k], origin[node, k] = new, remembered, came
    count[node] += 1


@compiled
def _links_after(task, start, minutes, warm, cool, seconds, crew_from, crew_to):
    """Return where each node's begin, the first nodes that may follow, and costs."""
    nodes, tasks = len(task), len(minutes)
    after, after_cost = np.empty(nodes * tasks, np.int64), np.empty(nodes * tasks)
    after_at, last = np.zeros(nodes + 1, np.int64), np.empty(tasks, np.int64)
    found = 0
    for x in range(nodes):
        i = task[x]
        last[:] = -1
        for y in range(nodes - 1, x, -1):
            j = task[y]
            if i != j and may_follow(
                start[x],
                minutes[i],
                cool[i],
                start[y],
                start[y] + warm[j],
                seconds[i + 1, j],
                crew_from,
                crew_to,
            ):
                last[j] = y
        for j in range(tasks):
            if last[j] >= 0:
                after[found], after_cost[found] = last[j], seconds[i + 1, j]
                found += 1
        after_at[x + 1] = found
    return after_at, after, after_cost


@compiled
def links(task, start, minutes, warm, cool, seconds, crew_from, crew_to):
    """Return which node may follow which, both ways, of nodes ascending in start.

    For each node and task before it the last of that task's nodes it may follow,
    and for each node and task after it the first; with the costs, and the cost from
    the morning (below 0 where it can't be first). Flat, with where each node's
    begin.
    """
    nodes, tasks = len(task), len(minutes)
    before, before_cost = np.empty(nodes * tasks, np.int64), np.empty(nodes * tasks)
    before_at = np.zeros(nodes + 1, np.int64)
    morning = np.full(nodes, -1.0)
    found = 0
    last = np.empty(tasks, np.int64)
    for y in range(nodes):
        j = task[y]
        due = start[y] + warm[j]
        cost = seconds[0, j]
        need = -(-cost // 60)
        if cost < 1000000 and (need == 0 or crew_from + need <= min(due, crew_to)):
            morning[y] = cost
        last[:] = -1
        for x in range(y):
            i = task[x]
            if i != j and may_follow(
                start[x],
                minutes[i],
                cool[i],
                start[y],
                due,
                seconds[i + 1, j],
                crew_from,
                crew_to,
            ):
                last[i] = x
        for i in range(tasks):
            if last[i] >= 0:
                before[found], before_cost[found] = last[i], seconds[i + 1, j]
                found += 1
        before_at[y + 1] = found
    after_at, after, after_cost = _links_after(
        task, start, minutes, warm, cool, seconds, crew_from, crew_to
    )
    return before_at, before, before_cost, after_at, after, after_cost, morning


@compiled
def may_follow(start, minutes, cool, next_start, due, cost, crew_from, crew_to):
    """Say whether one node may follow another, with its reset between them."""
    if cost >= 1000000 or start + minutes > next_start:
        return False
    need = -(-cost // 60)
    if need == 0:
        return True
    return max(start + minutes - cool, crew_from) + need <= min(due, crew_to)


@compiled
def label(backward, task, price, near, bit, at, other, cost, morning, twin):
    """Label every node from one end of the day.

    `at`, `other`, `cost` are the links towards that end; `twin` is the node of the
    same task next to this one on that side (-1 for none). Returns the labels of the
    nodes themselves, those of each node or its twins beyond it, and for both the
    label each came from.
    """
    nodes = len(task)
    value, memory = np.empty((nodes, ROOM)), np.empty((nodes, ROOM), np.int64)
    origin, count = np.empty((nodes, ROOM), np.int64), np.zeros(nodes, np.int64)
    run_value, run_memory = np.empty((nodes, ROOM)), np.empty((nodes, ROOM), np.int64)
    run_origin, run_count = np.empty((nodes, ROOM), np.int64), np.zeros(nodes, np.int64)
    for step in range(nodes):
        y = nodes - 1 - step if backward else step
        j = task[y]
        if backward or morning[y] >= 0:
            base = price[y] if backward else price[y] + morning[y]
            _add(value, memory, origin, count, y, base, bit[j], -1)
        for k in range(at[y], at[y + 1]):
            x = other[k]
            for c in range(run_count[x]):
                if run_memory[x, c] & bit[j]:
                    continue
                new = run_value[x, c] + cost[k] + price[y]
                remembered = (run_memory[x, c] & near[j]) | bit[j]
                _add(value, memory, origin, count, y, new, remembered, run_origin[x, c])
        if twin[y] >= 0:
            x = twin[y]
            for c in range(run_count[x]):
                _add(
                    run_value,
                    run_memory,
                    run_origin,
                    run_count,
                    y,
                    run_value[x, c],
                    run_memory[x, c],
                    run_origin[x, c],
                )
        for c in range(count[y]):
            _add(
                run_value,
                run_memory,
                run_origin,
                run_count,
                y,
                value[y, c],
                memory[y, c],
                y * ROOM + c,
            )
    return value, memory, origin, count, run_value, run_memory, run_origin, run_count


@compiled
def cheapest(value, origin, count, path):
    """Return the cost of the cheapest day and how many nodes it has, in `path`.

    The day without any task costs nothing.
    """
    best, end = 0.0, -1
    for y in range(len(count)):
        for c in range(count[y]):
            if value[y, c] < best:
                best, end = value[y, c], y * ROOM + c
    found = 0
    while end >= 0:
        path[found] = end // ROOM
        found += 1
        end = origin[end // ROOM, end % ROOM]
    return best, found


@compiled
def through(task, price, bit, before_at, before, before_cost, morning, forth, back):
    """Return the cost of the cheapest day through each node, and each link to it.

    `forth` and `back` are the labels from both ends. Of a link, the node before may
    be any of its task's up to the one given.
    """
    value, memory, _, count, run_value, run_memory, _, run_count = forth
    end_value, end_memory, _, end_count = back[0], back[1], back[2], back[3]
    nodes = len(task)
    by_node, by_link = np.full(nodes, _FAR), np.full(len(before), _FAR)
    first = np.full(nodes, _FAR)
    for y in range(nodes):
        mine = bit[task[y]]
        for e in range(end_count[y]):
            for c in range(count[y]):
                if memory[y, c] & end_memory[y, e] & ~mine == 0:
                    whole = value[y, c] + end_value[y, e] - price[y]
                    by_node[y] = min(by_node[y], whole)
            if morning[y] >= 0:
                first[y] = min(first[y], morning[y] + end_value[y, e])
            for k in range(before_at[y], before_at[y + 1]):
                x = before[k]
                for c in range(run_count[x]):
                    if run_memory[x, c] & end_memory[y, e] == 0:
                        whole = run_value[x, c] + before_cost[k] + end_value[y, e]
                        by_link[k] = min(by_link[k], whole)
    return by_node, by_link, first
