"""Any pool hour and anybody in it, for Hypothesis to draw."""

from __future__ import annotations

from hypothesis import strategies as st

from clinics.compute.rotation import (
    ClinicHour,
    Goer,
)

paces = st.floats(min_value=40, max_value=600)
hours = st.builds(
    ClinicHour,
    course_m=st.sampled_from([25.0, 50.0, 22.86, 33.3]) | st.floats(min_value=5, max_value=60),
    distance_m=st.floats(min_value=5, max_value=200),
    pool_time_s=st.sampled_from([1800.0, 3600.0, 5400.0]),
    briefing_s=st.sampled_from([0.0, 45.5, 60.0, 240.0]),
    change_over_s=st.sampled_from([0.0, 12.25, 30.0]),
    climbing_out_s=st.sampled_from([0.0, 7.3, 10.0, 25.0]),
    reserve_s=st.sampled_from([0.0, 120.0]),
    rest_s=st.sampled_from([0.0, 180.0]),
    briefs_on_deck=st.booleans(),
)


@st.composite
def crowds(draw: st.DrawFn, most: int = 14) -> list[Goer]:
    """Swimmers of up to four groups in any order; nobody's group is empty by construction."""
    rows = draw(st.lists(st.tuples(st.sampled_from("ABCD"), paces), min_size=1, max_size=most))
    return [Goer(number, group, pace) for number, (group, pace) in enumerate(rows, start=1)]
