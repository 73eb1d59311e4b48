"""The pages of errors and findings name every code that the program can give."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from app.errors import TipwrightError
from tests.docs.pages import ROOT, codes_in_tables
from vision.bore import Reason
from vision.pixel_scale import ScaleReason

_RAISERS = {"_error", "_refuse", "_refusal"}
_LOOKS_LIKE_A_CODE = re.compile(r"[a-z]+([_-][a-z]+)+")


def _calls() -> Iterator[tuple[Path, ast.Call]]:
    for path in sorted((ROOT / "app").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                yield path, node


def _name(call: ast.Call) -> str:
    return getattr(call.func, "id", getattr(call.func, "attr", ""))


def _codes(call: ast.Call) -> Iterator[str]:
    for keyword in call.keywords:
        if keyword.arg == "code":
            for part in ast.walk(keyword.value):
                if isinstance(part, ast.Constant) and isinstance(part.value, str):
                    yield part.value
    if _name(call) in _RAISERS:
        for value in call.args[:2]:
            is_text = isinstance(value, ast.Constant) and isinstance(value.value, str)
            if is_text and _LOOKS_LIKE_A_CODE.fullmatch(ast.literal_eval(value)):
                # Helpers of the readers take a field's name there, not a code.
                yield f"?{ast.literal_eval(value)}"


def _by_default() -> Iterator[str]:
    """Codes that a function gives where its caller names none."""
    for path in sorted((ROOT / "app").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef):
                continue
            named = [*node.args.posonlyargs, *node.args.args]
            pairs = zip(reversed(named), reversed(node.args.defaults), strict=False)
            for argument, default in pairs:
                if argument.arg == "code" and isinstance(default, ast.Constant):
                    yield str(default.value)


def _in_code(*, findings: bool) -> set[str]:
    found: set[str] = set()
    for path, call in _calls():
        if (_name(call) == "Finding") != findings:
            continue
        camera = path.parent.name == "cameras"
        for code in _codes(call):
            if code.startswith("?") and not camera:
                continue
            found.add(code.lstrip("?"))
    if not findings:
        found |= set(_by_default())
    # The two that are put together stand for a code with each reason.
    return found - {"refused-", "scale-"}


def test_every_code_of_an_error_is_on_the_page() -> None:
    codes = _in_code(findings=False)
    assert {"bad-field", "camera-lost", "not-as-asked"} <= codes
    assert not codes - codes_in_tables("reference/errors.md")


def test_every_reason_of_a_job_file_is_on_the_page() -> None:
    put_together = {f"refused-{r.value}" for r in Reason} | {
        f"scale-{r.value}" for r in ScaleReason
    }
    assert not put_together - codes_in_tables("reference/errors.md")


def test_every_class_of_the_tree_is_on_the_page() -> None:
    def tree(kind: type[TipwrightError]) -> set[type[TipwrightError]]:
        return {kind}.union(*(tree(child) for child in kind.__subclasses__()))

    ours = {kind.__name__ for kind in tree(TipwrightError) if kind.__module__ == "app.errors"}
    assert len(ours) == 7
    assert ours <= codes_in_tables("reference/errors.md")


def test_every_finding_is_on_the_page_and_no_other() -> None:
    codes = _in_code(findings=True)
    assert {"closure", "stored-first-tool", "display-without-offset"} <= codes
    assert codes == codes_in_tables("reference/findings.md")
