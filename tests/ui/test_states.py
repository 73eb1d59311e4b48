"""The states that other tests render are what their names say."""

from __future__ import annotations

import pytest

from app.job.sheet import Export, MendScale, SightTool
from tests.ui.states import STATES


@pytest.mark.parametrize("name", STATES)
def test_every_state_can_be_made_and_says_what_is_next(name: str) -> None:
    assert STATES[name]().sentence


def test_the_steps_are_those_that_the_names_promise() -> None:
    assert isinstance(STATES["mend the scale"]().step, MendScale)
    assert isinstance(STATES["tool"]().step, SightTool)
    assert isinstance(STATES["warning"]().step, Export)
    assert any(found.fails for found in STATES["warning"]().snapshot.findings)
    assert STATES["result"]().stored is not None
