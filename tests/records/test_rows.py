from __future__ import annotations

import json
import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given

from app.errors import RecordsError
from app.job import facts
from app.job.profile import Profile
from app.records import rows
from tests.records.examples import a_sighting
from tests.strategies import all_facts, profiles
from vision.geometry import PointPx


def stored(kind: str, text: str, version: int = 1) -> rows.Payload:
    return rows.Payload(kind=kind, version=version, text=text)


@given(all_facts)
def test_every_fact_comes_back_as_it_was(fact: facts.Fact) -> None:
    back = rows.to_fact(rows.from_fact(fact))

    assert back == fact
    # Equality does not tell 0.0 from -0.0, nor 1 from 1.0; the text of the values does.
    assert repr(back) == repr(fact)


@given(profiles())
def test_every_profile_comes_back_as_it_was(profile: Profile) -> None:
    assert rows.to_profile(rows.from_profile(profile)) == profile


def test_every_kind_of_fact_has_a_name_and_a_version() -> None:
    assert set(rows.KINDS.values()) == set(get_args(facts.Fact))
    assert set(rows.VERSIONS) == {*rows.KINDS, rows.PROFILE}


def test_numbers_of_numpy_are_recorded_as_plain_numbers() -> None:
    centre = PointPx(np.float64(1.0) / 3.0, np.float32(0.5))  # type: ignore[arg-type] # on purpose

    back = rows.to_fact(rows.from_fact(a_sighting(centre)))

    assert isinstance(back, facts.Sighted)
    assert back.centre_px == (1.0 / 3.0, 0.5)
    assert [type(number) for number in back.centre_px] == [float, float]


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_with_its_field(number: float) -> None:
    with pytest.raises(ValueError, match=r"centre_px\.v is (nan|inf|-inf)"):
        rows.from_fact(a_sighting(PointPx(1.0, number)))


def test_a_value_that_its_field_does_not_allow_is_refused_with_its_field() -> None:
    with pytest.raises(TypeError, match=r"tool has to be a whole number, not 1\.5"):
        rows.from_fact(facts.Homed(tool=1.5))  # type: ignore[arg-type] # on purpose
    with pytest.raises(TypeError, match="mirrored has to be true or false"):
        rows.from_fact(facts.MirrorAccepted(mirrored=1))  # type: ignore[arg-type] # on purpose
    with pytest.raises(TypeError, match=r"ticked\[1\] has to be a text"):
        rows.from_fact(facts.Prepared(ticked=("tips", 2)))  # type: ignore[arg-type] # on purpose


def test_what_is_no_fact_is_refused() -> None:
    with pytest.raises(TypeError, match="kinds of fact, not str"):
        rows.from_fact("homed")  # type: ignore[arg-type] # on purpose


@pytest.mark.parametrize(
    ("kind", "text", "path"),
    [
        ("homed", "{}", "tool"),
        ("homed", '{"tool":1,"extra":2}', "extra"),
        ("homed", '{"tool":1.0}', "tool"),
        ("homed", '{"tool":true}', "tool"),
        ("homed", "[1]", None),
        ("mirror-accepted", '{"mirrored":1}', "mirrored"),
        ("prepared", '{"ticked":["tips",2]}', "ticked[1]"),
        ("prepared", '{"ticked":"tips"}', "ticked"),
        ("retyped", '{"number":1,"position":{"x":1.0,"y":2.0}}', "position.z"),
        ("retyped", '{"number":1,"position":{"x":1e999,"y":2.0,"z":null}}', "position.x"),
        ("retyped", '{"number":1,"position":{"x":"1","y":2.0,"z":null}}', "position.x"),
        ("retyped", f'{{"number":1,"position":{{"x":{"9" * 400},"y":2,"z":null}}}}', "position.x"),
    ],
)
def test_a_field_that_does_not_fit_is_refused_by_name(
    kind: str, text: str, path: str | None
) -> None:
    with pytest.raises(RecordsError) as caught:
        rows.to_fact(stored(kind, text))

    assert caught.value.code == "record-unreadable"
    assert caught.value.path == path
    assert (path or "The value") in caught.value.message


def test_a_word_that_an_enumeration_does_not_have_is_refused_with_those_it_has() -> None:
    fields = json.loads(rows.from_fact(a_sighting()).text)
    fields["purpose"] = "guess"

    with pytest.raises(RecordsError, match="purpose has to be one of scale, tool"):
        rows.to_fact(stored("sighted", json.dumps(fields)))


@pytest.mark.parametrize(
    "text", ["", "{", '{"tool":1', '{"tool":NaN}', '{"tool":1,"tool":2}', "[" * 100_000]
)
def test_text_that_is_no_clean_json_is_refused(text: str) -> None:
    with pytest.raises(RecordsError, match="no JSON that can be read"):
        rows.to_fact(stored("homed", text))


def test_a_kind_from_a_newer_program_is_refused_by_name() -> None:
    with pytest.raises(RecordsError, match="a fact of the kind warmed, which") as caught:
        rows.to_fact(stored("warmed", "{}"))

    assert (caught.value.path, caught.value.value) == ("kind", "warmed")


@pytest.mark.parametrize("version", [0, 2])
def test_a_version_that_no_step_leads_to_is_refused(version: int) -> None:
    with pytest.raises(RecordsError, match=f"a homed in version {version}"):
        rows.to_fact(stored("homed", '{"tool":1}', version=version))


def test_an_older_version_is_led_to_the_present_one() -> None:
    def name_the_tool(fields: dict[str, object]) -> dict[str, object]:
        return {"tool": fields["head"]}

    back = rows.to_fact(stored("homed", '{"head":3}', version=0), {("homed", 0): name_the_tool})

    assert back == facts.Homed(tool=3)
