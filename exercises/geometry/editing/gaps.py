"""Which meanings a gap may have between two kinds, and which is usual."""

from collections.abc import Sequence

from exercises.geometry.elements import FENCES, Kind
from exercises.geometry.spec import STRIDES, Gait, Gap, SpecElement

MID_STRIDE = {Gap.MID_STRIDE_LANDING, Gap.MID_STRIDE_TAKE_OFF}
_BY_STRIDES = {0: Gap.BOUNCE} | {count: gap for gap, count in STRIDES.items()}
_COUNT = {gap: count for count, gap in _BY_STRIDES.items()}


def suits(gap: Gap, before: Kind, after: Kind) -> bool:
    """Say whether a meaning makes sense between two kinds."""
    first, second = before in FENCES, after in FENCES
    match gap:
        case Gap.TROT_POLES | Gap.CANTER_POLES:
            return not first and not second
        case Gap.PLACING_TROT | Gap.PLACING_CANTER:
            # Before a fence, or behind it where a row is ridden both ways.
            return first != second
        case Gap.MID_STRIDE_TAKE_OFF:
            return not first and second
        case Gap.LANDING | Gap.MID_STRIDE_LANDING:
            return first and not second
        case Gap.BOUNCE:
            return first and second
        case _:
            return True


def usual_gap(before: Sequence[Kind], after: Kind, approach: Gait) -> Gap:
    """Return the usual meaning of the gap after some kinds, in the order ridden."""
    canter = approach is Gait.CANTER or any(kind in FENCES for kind in before)
    first, second = before[-1] in FENCES, after in FENCES
    if first and second:
        return Gap.ONE_STRIDE
    if first:
        return Gap.LANDING
    if second:
        return Gap.PLACING_CANTER if canter else Gap.PLACING_TROT
    return Gap.CANTER_POLES if canter else Gap.TROT_POLES


def joined(first: Gap, second: Gap) -> Gap | None:
    """Return what two gaps become when the element between is taken out.

    Landing and take-off together take about a stride (walking a distance: two
    steps of three feet each side), so n and m strides become n + m + 1; two
    bounces become one stride, as a Dutch leaflet builds it. None where that says
    nothing.
    """
    if (first, second) == (Gap.MID_STRIDE_LANDING, Gap.MID_STRIDE_TAKE_OFF):
        return Gap.ONE_STRIDE
    if first in _COUNT and second in _COUNT:
        return _BY_STRIDES.get(_COUNT[first] + _COUNT[second] + 1)
    return None


def mended(
    elements: Sequence[SpecElement],
    kinds: Sequence[Kind],
    fresh: frozenset[int],
    approach: Gait,
) -> tuple[SpecElement, ...]:
    """Give every gap a meaning that suits its place.

    Parameters
    ----------
    elements
        In the order ridden.
    kinds
        What each is meant as, a pole that grows into a fence as that fence.
    fresh
        Elements whose neighbour before is another than it was: a measure to it
        says nothing any more.
    approach
        Gait of the row.
    """
    done = [with_gap(elements[0], None)]
    for n, one in enumerate(elements[1:], start=1):
        gap = one.gap
        lost = (
            gap is None
            or not suits(gap, kinds[n - 1], kinds[n])
            or (n in fresh and gap is Gap.MEASURE)
            or (gap in MID_STRIDE and not _paired(n, elements, kinds))
        )
        usual = usual_gap(kinds[:n], kinds[n], approach)
        done.append(with_gap(one, usual) if lost else one)
    return tuple(done)


def _paired(n: int, elements: Sequence[SpecElement], kinds: Sequence[Kind]) -> bool:
    """Say whether the halves of a stride stand on both sides of one element."""
    if elements[n].gap is Gap.MID_STRIDE_TAKE_OFF:
        n -= 1
    if n < 1 or n + 1 >= len(elements):
        return False
    fences = kinds[n - 1] in FENCES and kinds[n + 1] in FENCES
    both = (elements[n].gap, elements[n + 1].gap)
    return fences and both == (Gap.MID_STRIDE_LANDING, Gap.MID_STRIDE_TAKE_OFF)


def with_gap(
    one: SpecElement, gap: Gap | None, gap_cm: int | None = None
) -> SpecElement:
    """Return an element with another gap before it, as it is fitted."""
    by_cm = one.by_cm if gap is one.gap else 0
    return one.model_copy(update={"gap": gap, "gap_cm": gap_cm, "by_cm": by_cm})
