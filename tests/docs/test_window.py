"""What the pages say of the window, and the pictures that they show, are those of the program."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from app.ui import keys
from app.ui.look.states import State
from app.ui.task.words import Mark
from tests.docs.pages import DOCS, ROOT, codes_in_tables, links, pages, read

_PICTURES = DOCS / "pictures"
_SCRIPTS = (_PICTURES / "make_pictures.py", _PICTURES / "make_finder_pictures.py")
_MOST_BYTES = 250_000
_MOST_BYTES_ALL = 3_000_000
_PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *pages()]


def _made() -> tuple[str, ...]:
    """Return the names that the scripts say they make, without running them."""
    return tuple(name for script in _SCRIPTS for name in _named(script))


def _named(script: Path) -> tuple[str, ...]:
    for node in ast.parse(script.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "PICTURES":
            return tuple(ast.literal_eval(node.value))
    raise AssertionError(f"{script.name} has no list PICTURES")


def _saved(script: Path) -> list[str]:
    """Return the names that a script saves, in the order in which they stand in it."""
    calls = ast.walk(ast.parse(script.read_text(encoding="utf-8")))
    return [
        ast.literal_eval(call.args[0])
        for call in calls
        if isinstance(call, ast.Call)
        and getattr(call.func, "attr", "") in ("save", "save_dark")
        and isinstance(call.args[0], ast.Constant)
    ]


def _shown() -> set[str]:
    return {
        (page.parent / link).resolve().relative_to(_PICTURES).as_posix()
        for page in _PAGES
        for link in links(page)
        if link.endswith(".png") and "://" not in link and "pictures/" in link
    }


def test_every_picture_that_a_page_shows_is_there_and_is_made_by_a_script() -> None:
    assert len(_shown()) > 8
    assert _shown() <= set(_made())
    assert all((_PICTURES / name).is_file() for name in _shown())


@pytest.mark.parametrize("script", _SCRIPTS, ids=lambda script: script.stem)
def test_a_script_saves_the_pictures_that_it_names(script: Path) -> None:
    assert sorted(_saved(script)) == sorted(_named(script))


def test_no_picture_lies_there_that_no_script_makes() -> None:
    assert sorted(file.name for file in _PICTURES.glob("*.png")) == sorted(_made())


@pytest.mark.parametrize("name", _made())
def test_a_picture_is_a_small_png(name: str) -> None:
    content = (_PICTURES / name).read_bytes()
    assert content.startswith(b"\x89PNG")
    assert len(content) < _MOST_BYTES


def test_all_pictures_together_are_small() -> None:
    assert sum(file.stat().st_size for file in _PICTURES.glob("*.png")) < _MOST_BYTES_ALL


def test_the_table_of_keys_is_the_one_of_the_program() -> None:
    section = read("reference/window.md").split("\n## Keys\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `(.+?)` \| (.+?) \|$", section, re.MULTILINE)
    assert rows == [(key.shown, key.words) for key in keys.ALL]


def test_every_state_and_mark_is_on_the_page() -> None:
    named = codes_in_tables("reference/window.md")
    assert {state.value for state in State} <= named
    words = {
        Mark.UNKNOWN: "cannot tell",
        Mark.AGREES: "agrees",
        Mark.DOUBTFUL: "disagrees",
        Mark.PROBLEM: "not usable",
    }
    assert set(Mark) - {Mark.NONE} == set(words)
    assert set(words.values()) <= named


def test_the_files_of_the_window_are_on_the_page() -> None:
    from app.crash import FOLDER
    from app.logs import FILE_NAME
    from app.ui.preferences import FILE

    files = read("reference/window.md").split("\n## Files\n")[1].split("\n## ")[0]
    assert all(f"`{name}" in files for name in (FILE, f"{FOLDER}/", FILE_NAME, "open/"))
