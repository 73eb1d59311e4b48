"""start.py: what it decides, apart from the machine it runs on."""

from __future__ import annotations

import ast
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import start

SOURCE = Path(start.__file__)


def wanted() -> start.Stamp:
    return start.wanted_stamp(b"[project]\n", extras=("dev",), folder="/here", python="3.11.2")


# ------------------------------------------------------------------- the version of Python


def version_guard() -> ast.If:
    """The one statement that an older Python gets to."""
    guard = ast.parse(SOURCE.read_text(encoding="utf-8")).body[2]
    assert isinstance(guard, ast.If)
    return guard


def meet(version: tuple[int, int, int]) -> None:
    code = compile(ast.Module(body=[version_guard()], type_ignores=[]), "guard", "exec")
    old = SimpleNamespace(
        version_info=version, version=".".join(map(str, version)) + " (main)", exit=sys.exit
    )
    exec(code, {"sys": old})


@pytest.mark.parametrize("version", [(3, 6, 15), (3, 8, 0), (3, 10, 13)])
def test_an_older_python_is_told_so_in_one_sentence(version: tuple[int, int, int]) -> None:
    with pytest.raises(SystemExit) as left:
        meet(version)
    sentence = str(left.value)
    assert "3.11 or newer" in sentence
    assert f"this is Python {'.'.join(map(str, version))}." in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 12, 1), (4, 0, 0)])
def test_a_newer_python_is_let_through(version: tuple[int, int, int]) -> None:
    meet(version)


def test_an_older_python_can_read_the_file_as_far_as_that_sentence() -> None:
    # A word that Python 3.7 does not know would end in a SyntaxError before the sentence.
    ast.parse(SOURCE.read_text(encoding="utf-8"), feature_version=(3, 7))


def test_nothing_but_the_standard_library_is_imported() -> None:
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    names = {
        name.partition(".")[0]
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert "subprocess" in names
    assert names <= sys.stdlib_module_names


# ------------------------------------------------------------------- what the machine lacks


@pytest.mark.parametrize(
    "text",
    [
        'PRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\nID=debian\n',
        "ID=ubuntu\nID_LIKE=debian\n",
        'ID="mint"\nID_LIKE="ubuntu debian"\n',
        "ID=raspbian\nID_LIKE='debian'\n",
    ],
)
def test_debian_and_its_children_are_known(text: str) -> None:
    assert start.is_debian_family(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "ID=fedora\n",
        'ID="opensuse-leap"\nID_LIKE="suse opensuse"\n',
        'ID=arch\nHOME_URL="https://example.org/debian"\nNAME="not debian"\n',
        "no key at all",
    ],
)
def test_other_systems_are_not_taken_for_debian(text: str) -> None:
    assert not start.is_debian_family(text)


def test_only_libraries_that_cannot_be_loaded_are_missing() -> None:
    absent = {"libGL.so.1", "libxcb-cursor.so.0"}
    assert set(start.missing_libraries(lambda name: name not in absent)) == absent
    assert start.missing_libraries(lambda _name: True) == []


def test_a_package_that_brings_two_libraries_is_named_once() -> None:
    packages = start.packages_for(["libgthread-2.0.so.0", "libglib-2.0.so.0"], venv_missing=False)
    assert packages == ["libglib2.0-0"]


def test_the_venv_package_is_that_of_the_running_python() -> None:
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    assert start.packages_for([], venv_missing=True) == [f"python{version}-venv"]


def test_a_screen_in_memory_and_hands_come_from_packages() -> None:
    programs = ["Xvfb", "xdotool"]
    assert start.packages_for([], venv_missing=False, programs=programs) == ["xdotool", "xvfb"]
    assert set(start.TEST_PROGRAMS) == set(programs)


def test_without_words_the_window_opens_on_the_bench() -> None:
    assert start.OPENING == ("bench",)


def test_the_line_to_type_names_all_packages_and_asks_for_rights_where_needed() -> None:
    assert start.apt_line(["libegl1", "libgl1"], sudo=True) == (
        "sudo apt-get update && sudo apt-get install --no-install-recommends libegl1 libgl1"
    )
    assert "sudo" not in start.apt_line(["libegl1"], sudo=False)


@pytest.mark.parametrize(
    "said",
    [
        "ERROR: Failed to establish a new connection: [Errno -3]",
        "Err:1 Temporary failure resolving 'a.host'",
        "socket.gaierror: [Errno 11001] getaddrinfo failed",
    ],
)
def test_a_missing_network_is_recognised(said: str) -> None:
    assert start.is_offline(said)


def test_a_missing_network_is_told_with_what_to_do() -> None:
    told = start.fetch_failure("pip", "WARNING: ... Temporary failure in name resolution")
    assert "network" in told
    assert "Connect" in told


def test_a_package_that_nobody_offers_is_named_with_both_reasons() -> None:
    # What pip says without a network when some packages lie on the disk, and also on a
    # system for which no wheel is built.
    told = start.fetch_failure(
        "pip",
        "ERROR: Could not find a version that satisfies the requirement "
        "PySide6-Essentials<6.12,>=6.8 (from tipwright) (from versions: none)",
    )
    assert "finds no PySide6-Essentials<6.12,>=6.8 for this computer" in told
    assert "network" in told
    assert "64-bit" in told


def test_other_failures_are_not_blamed_on_the_network() -> None:
    full = "Collecting numpy\nERROR: No space left on device"
    assert not start.is_offline(full)
    assert "No space left on device" in start.fetch_failure("pip", full)


# ------------------------------------------------------------------- the stamp


def test_a_stamp_comes_back_as_it_was_written() -> None:
    assert start.read_stamp(start.write_stamp(wanted())) == wanted()


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '{"complete": true}', '{"extras": 3}'])
def test_a_damaged_stamp_is_no_stamp(text: str) -> None:
    assert start.read_stamp(text) is None


def test_nothing_is_done_twice() -> None:
    assert not start.must_begin_anew(wanted(), wanted())
    assert not start.must_install(wanted(), wanted())


def test_what_is_there_beyond_the_wanted_does_no_harm() -> None:
    assert not start.must_install(wanted(), replace(wanted(), extras=()))


def test_a_change_of_pyproject_installs_again_into_what_is_there() -> None:
    changed = start.wanted_stamp(
        b"[project]\n# changed\n", extras=("dev",), folder="/here", python="3.11.2"
    )
    assert start.must_install(wanted(), changed)
    assert not start.must_begin_anew(wanted(), changed)


def test_a_missing_group_of_packages_is_added() -> None:
    assert start.must_install(replace(wanted(), extras=()), wanted())


@pytest.mark.parametrize(
    "found",
    [
        None,
        replace(wanted(), complete=False),
        replace(wanted(), python="3.12.1"),
        replace(wanted(), folder="/moved/away"),
    ],
    ids=["none", "interrupted", "another Python", "moved"],
)
def test_what_is_of_no_use_is_made_anew(found: start.Stamp | None) -> None:
    assert start.must_begin_anew(found, wanted())
    assert start.must_install(found, wanted())


# ------------------------------------------------------------------- the traps

GOOD = {
    "pyside6-essentials": "6.11.3",
    "shiboken6": "6.11.3",
    "numpy": "2.4.6",
    "opencv-python": "5.0.0.93",
}


def sentences(
    changes: dict[str, str], *, cv2_version: str | None = "5.0.0", python: tuple[int, int] = (3, 11)
) -> list[str]:
    return start.trap_sentences(
        {**GOOD, **changes}, cv2_version=cv2_version, python=python, pip="PY -m pip"
    )


def test_a_good_set_of_packages_is_not_complained_about() -> None:
    assert sentences({}) == []


def test_the_qt_that_ends_python_3_11_is_named_with_its_repair() -> None:
    (sentence,) = sentences({"pyside6-essentials": "6.12.0"})
    assert 'PY -m pip install "PySide6-Essentials>=6.8,<6.12"' in sentence
    assert sentences({"pyside6-essentials": "6.12.0"}, python=(3, 12)) == []


@pytest.mark.parametrize("version", ["2.5.0", "2.5", "3.0.1", "2.10.0"])
def test_a_numpy_that_breaks_ellipses_is_named_with_its_repair(version: str) -> None:
    (sentence,) = sentences({"numpy": version})
    assert 'PY -m pip install "numpy>=2.0,<2.5"' in sentence


@pytest.mark.parametrize("other", start.OPENCV[1:])
def test_two_opencvs_are_named_with_their_repair(other: str) -> None:
    (sentence,) = sentences({other: "5.0.0.93"})
    assert f"PY -m pip uninstall --yes opencv-python {other}" in sentence
    assert "PY -m pip install --force-reinstall --no-deps opencv-python" in sentence


def test_an_opencv_without_its_inside_is_named_with_its_repair() -> None:
    (sentence,) = sentences({}, cv2_version=None)
    assert "PY -m pip install --force-reinstall --no-deps opencv-python" in sentence


# ------------------------------------------------------------------- the checks


def test_the_checks_run_in_their_order_and_pytest_gets_the_words() -> None:
    commands = start.check_commands(start.Venv(folder=Path("/here/.venv")), ["-k", "bore"])
    assert [name for name, _ in commands] == [
        "ruff check",
        "ruff format",
        "mypy",
        "lint-imports",
        "pytest",
    ]
    assert commands[-1][1][-2:] == ["-k", "bore"]


def test_the_summary_names_each_check_and_those_that_failed() -> None:
    good = start.Outcome(name="mypy", status=0, took_s=1.0)
    bad = start.Outcome(name="pytest", status=1, took_s=2.0)
    assert start.summary([good]).endswith("All checks are good.")
    lines = start.summary([good, bad]).splitlines()
    assert len(lines) == 3
    assert "FAILED" in lines[1]
    assert lines[2] == "Failed: pytest."


def test_a_python_of_another_folder_is_not_led_astray() -> None:
    kept = start.clean_environment({"PYTHONPATH": "/x", "PYTHONHOME": "/y", "HOME": "/z"})
    assert kept == {"HOME": "/z"}


def test_a_foreign_virtual_environment_is_left_alone(tmp_path: Path) -> None:
    copy = tmp_path / "start.py"
    copy.write_bytes(SOURCE.read_bytes())
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    theirs = tmp_path / ".venv" / "theirs"
    theirs.parent.mkdir()
    theirs.write_text("mine", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(copy), "measure"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "this program did not make it" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert theirs.read_text(encoding="utf-8") == "mine"
