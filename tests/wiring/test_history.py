"""What earlier runs exported: of one machine, what still stands, oldest first."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from app.dialects.values import NozzleVectorMm
from app.errors import RecordsError
from app.job.facts import Entered, Entry, Exported, ExportedTool
from app.records import Store
from app.wiring.history import MOST_RUNS, past_offsets
from tests.records.examples import HERON, a_sighting, a_start, ticking
from vision.geometry import CovMm2


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path, now=ticking()) as store:
        yield store


def export(*x_mm: float) -> Exported:
    """Return an export of tools 1, 2, ... that stand so far in X."""
    tools = tuple(
        ExportedTool(
            tool=number,
            nozzle_vector_mm=NozzleVectorMm(x, 0.0),
            covariance_mm2=CovMm2(1e-6, 0.0, 1e-6),
            expanded_uncertainty_mm=(0.006, 0.007, None),
            new_stored=None,
        )
        for number, x in enumerate(x_mm, start=1)
    )
    return Exported(tools=tools, settings_text="", moves_text="", warnings=(), algorithm="a")


def a_run(store: Store, *x_mm: float, name: str = "Heron", simulated: bool = False) -> str:
    profile = replace(HERON, name=name)
    run_id = store.start_run(a_start(profile, simulated=simulated))
    if x_mm:
        store.append(run_id, export(*x_mm))
    return run_id


def xs(store: Store, tool: int = 1, before: str | None = None) -> list[float]:
    past = past_offsets(store, "Heron", simulated=False, before=before)
    return [offset.vector_mm.x for offset in past.get(tool, ())]


def test_a_machine_that_was_never_measured_has_no_history(store: Store) -> None:
    a_run(store)
    assert past_offsets(store, "Heron", simulated=False) == {}


def test_each_tool_has_its_offsets_oldest_first(store: Store) -> None:
    first, second = a_run(store, 0.1, 0.5), a_run(store, 0.2, 0.6)
    past = past_offsets(store, "Heron", simulated=False)

    assert {tool: [one.vector_mm.x for one in rows] for tool, rows in past.items()} == {
        1: [0.1, 0.2],
        2: [0.5, 0.6],
    }
    assert [one.run_id for one in past[1]] == [first, second]
    assert past[1][0].at == store.entries(first)[1].at
    assert past[1][0].expanded_mm == (0.006, 0.007)


def test_other_machines_and_the_bench_are_kept_apart(store: Store) -> None:
    a_run(store, 0.1)
    a_run(store, 0.2, name="Plover")
    a_run(store, 0.3, simulated=True)

    assert xs(store) == [0.1]
    assert [one.vector_mm.x for one in past_offsets(store, "Heron", simulated=True)[1]] == [0.3]


def test_only_runs_from_before_count(store: Store) -> None:
    a_run(store, 0.1)
    this = a_run(store, 0.2)
    a_run(store, 0.3)

    assert xs(store, before=this) == [0.1]
    assert xs(store) == [0.1, 0.2, 0.3]


def test_the_order_is_that_of_the_records_though_a_clock_was_set_back(tmp_path: Path) -> None:
    times = ticking()
    stamps = [times() for _ in range(20)]
    with Store(tmp_path, now=lambda: stamps.pop()) as store:
        a_run(store, 0.1)
        a_run(store, 0.2)
        this = a_run(store)
        assert xs(store, before=this) == [0.1, 0.2]


def test_what_was_exported_last_in_a_run_counts(store: Store) -> None:
    run_id = a_run(store, 0.1)
    store.append(run_id, export(0.15))
    store.append(run_id, Entered(tool=1))

    assert xs(store) == [0.15]


def test_an_export_that_later_sightings_overtook_does_not_count(store: Store) -> None:
    a_run(store, 0.1)
    run_id = a_run(store, 0.2)
    store.append(run_id, a_sighting())

    assert xs(store) == [0.1]


def test_no_more_runs_than_a_plot_can_show_and_the_newest_of_them(store: Store) -> None:
    for number in range(MOST_RUNS + 3):
        a_run(store, number / 100)
    # What exported nothing takes no place from those that did.
    overtaken = a_run(store, 9.0)
    store.append(overtaken, a_sighting())

    assert xs(store) == [number / 100 for number in range(3, MOST_RUNS + 3)]


class OneUnreadable(Store):
    """Records of which one run was written by a newer program."""

    unreadable = ""

    def entries(self, run_id: str) -> tuple[Entry, ...]:
        if run_id == self.unreadable:
            raise RecordsError("Fact 2 is of a newer kind.", code="record-unreadable")
        return super().entries(run_id)


def test_a_run_that_cannot_be_read_is_left_out_with_a_word(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with OneUnreadable(tmp_path, now=ticking()) as store:
        a_run(store, 0.1)
        store.unreadable = a_run(store, 0.2)
        a_run(store, 0.3)
        with caplog.at_level(logging.WARNING):
            assert xs(store) == [0.1, 0.3]
    assert any("newer kind" in record.getMessage() for record in caplog.records)
