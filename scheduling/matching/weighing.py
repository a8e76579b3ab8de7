"""What one rider on one horse costs, and what rules the pair out altogether."""

from scheduling.matching.problem import Liking, Mount, Seat, Term, Weights

LEVELS = ("novice", "intermediate", "advanced")


def carried_share(seat: Seat, mount: Mount, weights: Weights) -> int:
    """Return rider and saddle in thousandths of the horse's weight, rounded up."""
    return -(-(seat.weight_kg + weights.saddle_kg) * 1000 // mount.weight_kg)


def ruled_out(seat: Seat, mount: Mount, weights: Weights) -> str:
    """Say why a rider may not have a horse for this lesson; empty where they may."""
    if seat.likes.get(mount.key) == Liking.NEVER:
        return "never again: noted for this rider"
    if mount.key in seat.barred:
        return seat.barred[mount.key]
    share = carried_share(seat, mount, weights)
    if share > weights.refuse_share:
        return (
            f"too heavy: {share / 10:.1f} % with saddle, at most "
            f"{weights.refuse_share / 10:.0f} %"
        )
    if seat.jumping and mount.highest_fence_cm < seat.fence_cm:
        return (
            f"fences: jumps to {mount.highest_fence_cm} cm, the grid has "
            f"{seat.fence_cm} cm"
        )
    if seat.jumping and mount.level < seat.grid_level:
        return f"level: is {LEVELS[mount.level]}, the grid {LEVELS[seat.grid_level]}"
    return _held(seat, mount)


def _held(seat: Seat, mount: Mount) -> str:
    for one in mount.held:
        rest = mount.rest_s if one.work else 0
        if one.from_s < seat.to_s + rest and seat.from_s < one.to_s + rest:
            overlaps = one.from_s < seat.to_s and seat.from_s < one.to_s
            return one.says if overlaps else f"rest: {one.says}"
    lessons = sum(one.work for one in mount.held)
    work_s = sum(one.to_s - one.from_s for one in mount.held if one.work)
    if lessons >= mount.max_lessons:
        return f"limit: has {lessons} of {mount.max_lessons} lessons that day"
    if work_s + seat.to_s - seat.from_s > mount.max_s:
        return f"limit: more than {mount.max_s // 60} minutes that day"
    return ""


def terms(seat: Seat, mount: Mount, weights: Weights) -> tuple[Term, ...]:
    """Return what speaks against a pair that is allowed, and what was looked at."""
    found = [
        _weight(seat, mount, weights),
        _level(seat, mount, weights),
        _fence(seat, mount, weights),
        _height(seat, mount, weights),
        _confidence(seat, mount, weights),
        _yesterday(seat, mount, weights),
        _wish(seat, mount, weights),
        _other(seat, mount, weights),
    ]
    return tuple(one for one in found if one is not None)


def _weight(seat: Seat, mount: Mount, weights: Weights) -> Term:
    share = carried_share(seat, mount, weights)
    watch = weights.watch_share_jumping if seat.jumping else weights.watch_share
    points = weights.share * max(0, share - weights.ideal_share)
    points += weights.share_watched * max(0, share - watch)
    says = f"carries {share / 10:.1f} % of its weight"
    if share > watch:
        says += f", over {watch / 10:.1f} %"
    return Term("weight", points, says)


def _level(seat: Seat, mount: Mount, weights: Weights) -> Term:
    above = mount.level - seat.level
    points = weights.level_below * max(0, -above)
    points += weights.level_far_above * max(0, above - 1)
    says = f"{LEVELS[mount.level]} horse, {LEVELS[seat.level]} rider"
    return Term("level", points, says)


def _fence(seat: Seat, mount: Mount, weights: Weights) -> Term | None:
    if not seat.jumping:
        return None
    short = max(0, seat.highest_fence_cm - mount.highest_fence_cm)
    return Term(
        "fences",
        -(-short // 10) * weights.fence_per_10_cm,
        f"jumps to {mount.highest_fence_cm} cm, rider to {seat.highest_fence_cm} cm",
    )


def _height(seat: Seat, mount: Mount, weights: Weights) -> Term | None:
    if seat.height_cm is None:
        return None
    off = abs(seat.height_cm - mount.height_cm)
    points = weights.height_per_cm * max(0, off - weights.height_free_cm)
    return Term(
        "height", points, f"rider {seat.height_cm} cm, horse {mount.height_cm} cm"
    )


def _confidence(seat: Seat, mount: Mount, weights: Weights) -> Term:
    before = seat.rode.get(mount.key)
    points = 0
    if before is None:
        points = weights.strange_horse * (5 - seat.confidence)
        says = f"not ridden before, confidence {seat.confidence} of 5"
    elif before:
        points, says = weights.too_much_before, "was too much once before"
    else:
        says = "ridden before"
    return Term("confidence", points, says)


def _yesterday(seat: Seat, mount: Mount, weights: Weights) -> Term:
    over = max(0, mount.yesterday_min - weights.work_free_min)
    points = over // 10 * weights.work_per_10_min
    says = f"{mount.yesterday_min} min of work yesterday"
    if mount.jumped_yesterday and seat.jumping:
        points += weights.jumped_yesterday
        says += ", jumping, and jumps again"
    return Term("yesterday", points, says)


def _wish(seat: Seat, mount: Mount, weights: Weights) -> Term | None:
    liking = seat.likes.get(mount.key)
    if liking == Liking.WISH:
        return Term("wish", 0, "wished for")
    if liking == Liking.RATHER_NOT:
        return Term("wish", weights.rather_not, "rather not")
    if Liking.WISH in seat.likes.values():
        return Term("wish", weights.wish_missed, "another horse is wished for")
    return None


def _other(seat: Seat, mount: Mount, weights: Weights) -> Term | None:
    if seat.now is None or seat.now == mount.key:
        return None
    return Term("change", weights.other_horse, "another horse than so far")
