"""Hypothesis strategies for the values that the rooms exchange."""

from __future__ import annotations

from hypothesis import strategies as st

from app.dialects.values import Layout, NozzleVectorMm, OffsetMm
from app.job import facts
from app.job.profile import Profile, Tool
from vision.geometry import CovMm2, CovPx2, PointPx

finite = st.floats(allow_nan=False, allow_infinity=False)
"""Any finite float: zeros of both signs, denormals and the largest among them."""

texts = st.text(max_size=30)
"""Any text that UTF-8 can carry, the empty one among them."""

counts = st.integers(min_value=0, max_value=2**53)

tool_numbers = st.integers(min_value=0, max_value=999)

lengths_mm = st.floats(min_value=-200.0, max_value=200.0)

offsets_mm = st.builds(OffsetMm, finite, finite, finite)

points_px = st.builds(PointPx, finite, finite)

covs_px2 = st.builds(CovPx2, finite, finite, finite)

positions = st.builds(facts.Position, finite, finite, st.none() | finite)

_signs = st.sampled_from((-1, 0, 1))

approaches = st.builds(facts.Approach, _signs, _signs)


def tools(number: int) -> st.SearchStrategy[Tool]:
    """Return tools with this number, as a profile file may describe them."""
    return st.builds(
        Tool,
        number=st.just(number),
        stored_raw=st.builds(OffsetMm, lengths_mm, lengths_mm, lengths_mm),
        nominal_mm=st.tuples(lengths_mm, lengths_mm),
        bore_mm=st.floats(min_value=0.05, max_value=3.0),
    )


def _tool_sets(numbers: list[int]) -> st.SearchStrategy[tuple[Tool, ...]]:
    return st.tuples(*(tools(number) for number in numbers))


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """Return profiles that a profile file may hold (see `app.job.profile.parse_profile`)."""
    own = draw(st.lists(tool_numbers, min_size=2, max_size=5, unique=True).flatmap(_tool_sets))
    low = st.floats(min_value=-2000.0, max_value=0.0)
    high = st.floats(min_value=0.5, max_value=2000.0)
    travel = st.tuples(low, high)
    return draw(
        st.builds(
            Profile,
            name=st.text(min_size=1, max_size=30).filter(str.strip),
            layout=st.sampled_from(Layout),
            dialect=st.text(min_size=1, max_size=12).filter(str.strip),
            tools=st.just(own),
            reference_tool=st.sampled_from([tool.number for tool in own]),
            homes_between_tools=st.booleans(),
            shows_coordinates=st.booleans(),
            display_includes_offset=st.booleans(),
            whole_steps=st.booleans(),
            sightings_per_tool=st.integers(min_value=1, max_value=20),
            z_by_focus=st.booleans(),
            display_step_mm=st.floats(min_value=0.0001, max_value=1.0),
            motor_step_mm=st.floats(min_value=0.0001, max_value=0.2),
            repeatability_um=st.floats(min_value=0.1, max_value=500.0),
            reversal_um=st.none() | st.floats(min_value=0.0, max_value=2000.0),
            pickup_repeatability_um=st.floats(min_value=0.0, max_value=500.0),
            tolerance_mm=st.floats(min_value=0.001, max_value=1.0),
            vector_limit_mm=st.floats(min_value=0.01, max_value=500.0),
            travel_mm=st.none() | st.tuples(travel, travel, travel),
        )
    )


runs_started = st.builds(
    facts.RunStarted,
    profile=profiles(),
    camera=texts,
    mode=st.sampled_from(facts.PositionMode),
    simulated=st.booleans(),
    program_version=texts,
)

sightings = st.builds(
    facts.Sighted,
    purpose=st.sampled_from(facts.Purpose),
    tool=tool_numbers,
    position=positions,
    in_display_mm=offsets_mm,
    approach=approaches,
    centre_px=points_px,
    temporal_cov_px2=covs_px2,
    static_cov_px2=covs_px2,
    radius_px=finite,
    blur_px=finite,
    frame_centres_px=st.lists(st.none() | points_px, max_size=6).map(tuple),
    picture_size_px=st.tuples(counts, counts),
    camera_generation=counts,
    algorithm=texts,
)

exported_tools = st.builds(
    facts.ExportedTool,
    tool=tool_numbers,
    nozzle_vector_mm=st.builds(NozzleVectorMm, finite, finite, st.none() | finite),
    covariance_mm2=st.builds(CovMm2, finite, finite, finite),
    expanded_uncertainty_mm=st.tuples(finite, finite, st.none() | finite),
    new_stored=st.none() | offsets_mm,
)

later_facts: st.SearchStrategy[facts.Fact] = st.one_of(
    st.builds(facts.Prepared, ticked=st.lists(texts, max_size=5).map(tuple)),
    sightings,
    st.builds(facts.Homed, tool=tool_numbers),
    st.builds(facts.CameraDisturbed, why=texts),
    st.builds(facts.Struck, number=counts, why=texts),
    st.builds(facts.Restored, number=counts),
    st.builds(facts.Retyped, number=counts, position=positions),
    st.builds(facts.MirrorAccepted, mirrored=st.booleans()),
    st.builds(
        facts.Exported,
        tools=st.lists(exported_tools, max_size=4).map(tuple),
        settings_text=texts,
        moves_text=texts,
        warnings=st.lists(texts, max_size=3).map(tuple),
        algorithm=texts,
    ),
    st.builds(facts.Entered, tool=tool_numbers),
)
"""Every kind of fact but the one that opens a run."""

all_facts: st.SearchStrategy[facts.Fact] = st.one_of(runs_started, later_facts)
