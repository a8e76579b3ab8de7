"""Says whether a row may be ridden on the lead-rein, with the leader on foot."""

from exercises.geometry.elements import Kind
from exercises.geometry.fit import Fit, Verdict
from exercises.geometry.fitting import FittedRow
from exercises.geometry.spec import ExerciseSpec, Gait
from exercises.geometry.units import METRIC, Units

RIDDEN_LED = frozenset({Kind.POLE, Kind.RAISED_POLE, Kind.CROSS})
"""What is ridden led: poles and a low cross (common practice, no source)."""


def judge_lead_rein(
    spec: ExerciseSpec, row: FittedRow, highest_cm: int, units: Units = METRIC
) -> list[Verdict]:
    """Return a verdict on a row whose riders are led.

    Parameters
    ----------
    spec, row
        The exercise, and as fitted: every stage is looked at.
    highest_cm
        The highest cross that the school rides led [cm].
    units
        In which heights are written.
    """
    up_to = units.height(highest_cm)
    faults = []
    if spec.approach is Gait.CANTER:
        faults.append("it is approached in canter")
    built = [one for stage in row.stages for one in stage.elements]
    other = sorted({one.kind.value for one in built if one.kind not in RIDDEN_LED})
    if other:
        faults.append(f"it has {' and '.join(other)}")
    highest = max((one.height_cm for one in built), default=0)
    if highest > highest_cm:
        faults.append(f"it goes up to {units.height(highest)}")
    if not faults:
        return [
            Verdict(
                "on the lead-rein",
                Fit.FITS,
                f"Poles and crosses up to {up_to}, in walk and trot.",
                up_to,
            )
        ]
    return [
        Verdict(
            "on the lead-rein",
            Fit.DOES_NOT,
            f"A leader on foot goes in walk and trot, over poles and a cross up to "
            f"{up_to}: {'; '.join(faults)}.",
            faults[0],
            "Take poles, or a lower cross approached in trot, or leave the later "
            "stages out.",
        )
    ]
