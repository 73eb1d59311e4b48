"""Links between pages lead somewhere, and the map names every page."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.docs.pages import DOCS, anchors, links, pages


@pytest.mark.parametrize("page", pages(), ids=lambda p: p.relative_to(DOCS).as_posix())
def test_every_link_leads_to_a_page_and_a_heading(page: Path) -> None:
    for link in links(page):
        if "://" in link:
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), f"{link} leads nowhere"
        assert not anchor or anchor in anchors(target), f"{link} names no heading"


def test_the_map_names_every_page() -> None:
    top = DOCS / "README.md"
    named = {(DOCS / link.partition("#")[0]).resolve() for link in links(top)}
    missing = [p.relative_to(DOCS).as_posix() for p in pages() if p != top and p not in named]
    assert not missing
