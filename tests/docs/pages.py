"""The pages of docs/ as the tests read them: links, headings, blocks of code."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"

_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One fenced block: where it stands, its language, its text."""

    page: str
    number: int
    language: str
    text: str

    def __str__(self) -> str:
        return f"{self.page}:{self.language}-{self.number}"


def pages() -> list[Path]:
    return sorted(DOCS.rglob("*.md"))


def read(page: str) -> str:
    return (DOCS / page).read_text(encoding="utf-8")


def blocks(language: str) -> list[Block]:
    found: list[Block] = []
    for page in pages():
        name = page.relative_to(DOCS).as_posix()
        matches = _BLOCK.finditer(page.read_text(encoding="utf-8"))
        found += [
            Block(page=name, number=i, language=match[1], text=match[2])
            for i, match in enumerate(matches)
            if match[1] == language
        ]
    return found


def links(page: Path) -> list[str]:
    """Return the links of a page; what stands in a block of code is none."""
    return _LINK.findall(_BLOCK.sub("", page.read_text(encoding="utf-8")))


def anchors(page: Path) -> set[str]:
    """Return what the headings of a page are called in links, as most readers make it."""
    text = _BLOCK.sub("", page.read_text(encoding="utf-8"))
    titles = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", t.lower()).replace(" ", "-") for t in titles}


def codes_in_tables(page: str) -> set[str]:
    """Return what stands in backticks in the first column of a page's tables."""
    cells = re.findall(r"^\| (.+?) \|", read(page), re.MULTILINE)
    return {code for cell in cells for code in re.findall(r"`([^`]+)`", cell)}
