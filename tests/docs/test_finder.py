"""The page on the finder names what there is, and its pictures can be made again."""

from __future__ import annotations

import re
import runpy
from dataclasses import fields
from pathlib import Path

import pytest

from tests.docs.pages import DOCS, ROOT, codes_in_tables, read
from vision.bore import ALGORITHM, BoreFit, FinderSettings, Reason

_PAGE = "explanations/finding-the-bore.md"
_SCRIPT = DOCS / "pictures" / "make_finder_pictures.py"
_MOST_BYTES_ALL = 400_000


def _made_in(folder: Path) -> dict[str, bytes]:
    folder.mkdir()
    runpy.run_path(str(_SCRIPT))["main"](["--to", str(folder)])
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def test_every_setting_that_the_page_names_is_one() -> None:
    named = set(re.findall(r"`([a-z]+(?:_[a-z]+)+)`", read(_PAGE)))
    answers = {field.name for field in fields(BoreFit)}
    settings = {field.name for field in fields(FinderSettings)}
    assert len(named & settings) > 20
    assert named <= settings | answers


def test_every_module_that_the_page_names_is_there() -> None:
    named = set(re.findall(r"`([a-z_]+\.py)`", read(_PAGE)))
    assert len(named) > 10
    assert not {name for name in named if not (ROOT / "vision" / "bore" / name).is_file()}


def test_every_reason_is_on_the_page() -> None:
    assert {reason.value for reason in Reason} <= codes_in_tables(_PAGE)


def test_the_page_speaks_of_this_finder() -> None:
    assert f"`{ALGORITHM}`" in read(_PAGE)


def test_the_pictures_of_the_finder_are_made_alike_each_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other = (_made_in(tmp_path / name) for name in ("one", "other"))
    names = {file.name for file in (DOCS / "pictures").glob("finder-*.png")}
    assert set(one) == names
    assert one == other
    assert sum(map(len, one.values())) < _MOST_BYTES_ALL
    said = capsys.readouterr().out
    assert all(name in said for name in names)
