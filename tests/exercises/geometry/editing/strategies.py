"""Exercises and edits for properties: those of the library, and any edit of them."""

from hypothesis import strategies as st

from exercises.geometry.editing.edits import (
    AddElement,
    MoveElement,
    RemoveElement,
    RemoveStage,
    SetApproach,
    SetAscending,
    SetBothWays,
    SetGap,
    SetGroundLine,
    SetGroundLineOut,
    SetGuides,
    SetGuidesApart,
    SetHeight,
    SetKind,
    SetLeaning,
    SetLevel,
    SetName,
    SetPasses,
    SetRails,
    SetSpread,
    SetVPoles,
    ShiftGap,
    TurnRound,
)
from exercises.geometry.elements import GroundLine, Kind, Side
from exercises.geometry.library import read_library
from exercises.geometry.spec import Gait, Gap
from exercises.services import LIBRARY

SPECS = st.sampled_from(read_library(LIBRARY))

PLACES = st.integers(-1, 9)
KINDS = st.sampled_from(Kind)
GAPS = st.sampled_from(Gap)
STAGES = st.integers(-1, 4)
MEASURES = st.none() | st.integers(0, 4000)
EDITS = st.one_of(
    st.builds(AddElement, PLACES, KINDS),
    st.builds(
        AddElement,
        PLACES,
        KINDS,
        st.none() | st.integers(0, 200),
        st.none() | st.integers(0, 200),
        st.none() | GAPS,
        MEASURES,
        st.none() | GAPS,
        MEASURES,
    ),
    st.builds(RemoveElement, PLACES),
    st.builds(MoveElement, PLACES, PLACES),
    st.builds(TurnRound),
    st.builds(SetKind, PLACES, KINDS, STAGES),
    st.builds(SetHeight, PLACES, st.integers(-10, 200), STAGES),
    st.builds(SetSpread, PLACES, st.integers(-10, 220), STAGES),
    st.builds(SetAscending, PLACES, st.booleans(), STAGES),
    st.builds(SetRails, PLACES, st.none() | st.integers(0, 7), STAGES),
    st.builds(SetGroundLine, PLACES, st.sampled_from(GroundLine), STAGES),
    st.builds(SetGuides, PLACES, st.booleans(), STAGES),
    st.builds(SetGroundLineOut, PLACES, st.integers(0, 120), STAGES),
    st.builds(SetGuidesApart, PLACES, st.integers(50, 320), STAGES),
    st.builds(SetVPoles, PLACES, st.integers(0, 320), STAGES),
    st.builds(SetLeaning, PLACES, st.none() | st.sampled_from(Side), STAGES),
    st.builds(ShiftGap, PLACES, st.integers(-50, 50).map(lambda n: 5 * n)),
    st.builds(SetGap, PLACES, GAPS, MEASURES),
    st.builds(RemoveStage, STAGES),
    st.builds(SetPasses, STAGES, st.integers(0, 7)),
    st.builds(SetApproach, st.sampled_from(Gait)),
    st.builds(SetBothWays, st.booleans()),
    st.builds(SetLevel, st.sampled_from(("novice", "intermediate", "advanced"))),
    st.builds(SetName, st.text(max_size=130), st.text(max_size=30)),
)
