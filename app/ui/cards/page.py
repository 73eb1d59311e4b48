"""What an opened card shows, as one frozen value. No Qt in here."""

from __future__ import annotations

from dataclasses import dataclass

from app.ui.cards.chart import Chart
from app.ui.cards.entries import Row, Table
from app.ui.look.states import State


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What one contributor brings to U: standard uncertainty along X and Y."""

    name: str
    u_x_um: float
    u_y_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Where U of a tool comes from, the largest contributor first."""

    sentence: str
    bars: tuple[Bar, ...]

    @property
    def table(self) -> Table:
        """The numbers of the bars."""
        return Table(
            name="budget",
            headers=("contributor", "u X um", "u Y um"),
            rows=tuple(
                Row(cells=(bar.name, f"{bar.u_x_um:.1f}", f"{bar.u_y_um:.1f}")) for bar in self.bars
            ),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """Earlier runs: a plot where there are at least two points, a sentence, the numbers."""

    sentence: str
    chart: Chart | None
    table: Table | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """An opened card.

    Attributes
    ----------
    key
        As `OpenCard` takes it.
    title, state, word
        Its heading, and how it stands.
    lines
        What came out, one sentence or row of numbers each.
    chart
        Jogs with their residuals, or the repeats; None while there are none.
    table
        The entries behind it.
    budget, past
        For tools; None for the pixel scale and where there is nothing to tell.
    story
        What happened to it in this run, in order, in words.
    decimals
        Places of the machine's display.
    """

    key: str
    title: str
    state: State
    word: str
    lines: tuple[str, ...]
    chart: Chart | None
    table: Table
    budget: Budget | None = None
    past: Past | None = None
    story: tuple[str, ...] = ()
    decimals: int = 2

    def text(self) -> str:
        """Return all tables for the clipboard, each under its name."""
        tables = [self.table]
        if self.budget is not None:
            tables.append(self.budget.table)
        if self.past is not None and self.past.table is not None:
            tables.append(self.past.table)
        return "\n".join(f"{self.title}: {table.name}\n{table.text()}" for table in tables)
