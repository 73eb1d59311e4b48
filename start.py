"""Sets Tipwright up in this folder and starts it: `python3 start.py`.

Needs Python 3.11 or newer and nothing else. Everything that is installed goes into
`.venv` beside this file; what is there already is left alone, and a set-up that was
interrupted is done again. On Debian and Ubuntu the shared libraries that the window and
the camera need are installed too, or the line that installs them is shown.

    python3 start.py            set up, then open the program on its bench
    python3 start.py test       set up with the tools of developers, then run all checks
    python3 start.py WORDS...   set up, then the same as `tipwright WORDS...`
"""

# This has to come before all else: the lines below are not for an older Python.
import sys

if sys.version_info < (3, 11):  # noqa: UP036 - whoever has an older one meets this line first
    sys.exit(
        "Tipwright needs Python 3.11 or newer, and this is Python "
        + sys.version.split()[0]
        + ". Install a newer Python and start this file with it."
    )

import ctypes
import hashlib
import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent

OPENING = ("bench",)
"""What the program is asked for when nothing else is said."""

LIBRARIES: Mapping[str, str] = {
    # Read from the NEEDED entries of PySide6-Essentials 6.11 (QtCore, QtGui, QtWidgets,
    # QtTest and the plug-ins xcb and offscreen) and of opencv-python 5.0, less what
    # the wheels bring themselves.
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libX11.so.6": "libx11-6",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libstdc++.so.6": "libstdc++6",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-glx.so.0": "libxcb-glx0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-render.so.0": "libxcb-render0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-shm.so.0": "libxcb-shm0",
    "libxcb-sync.so.1": "libxcb-sync1",
    "libxcb-util.so.1": "libxcb-util1",
    "libxcb-xfixes.so.0": "libxcb-xfixes0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxcb.so.1": "libxcb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libz.so.1": "zlib1g",
    "libzstd.so.1": "libzstd1",
}
"""Shared library on Linux: the Debian package that brings it."""

TEST_PROGRAMS: Mapping[str, str] = {"Xvfb": "xvfb", "xdotool": "xdotool"}
"""What the tests of the real window use where it is there, and the Debian package that
brings it: a screen in memory, and hands for mouse and keys."""

OPENCV = (
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
)
"""Four distributions that all own one folder, `cv2`: the last one installed wins, and
removing any of them leaves a broken rest."""

OFFLINE_SIGNS = (
    "failed to establish a new connection",
    "name resolution",
    "name or service not known",
    "temporary failure resolving",
    "could not resolve",
    "getaddrinfo failed",
    "nodename nor servname",
    "network is unreachable",
    "no route to host",
    "connection refused",
    "connection timed out",
    "read timed out",
    "connecttimeout",
    "failed to fetch",
)
"""What pip and apt-get say, in lower case, when the network is not there."""


class SetUpError(Exception):
    """The set-up cannot go on; the message says why, and what to do."""


# ---------------------------------------------------------------- what this machine lacks


def is_debian_family(os_release: str) -> bool:
    """Return whether the text of /etc/os-release names Debian or a child of it."""
    names: set[str] = set()
    for line in os_release.splitlines():
        key, _, value = line.partition("=")
        if key.strip() in {"ID", "ID_LIKE"}:
            names.update(value.strip().strip("\"'").lower().split())
    return bool(names & {"debian", "ubuntu"})


def missing_libraries(can_load: Callable[[str], bool]) -> list[str]:
    """Return the shared libraries that cannot be loaded, in the order of the table."""
    return [name for name in LIBRARIES if not can_load(name)]


def packages_for(
    libraries: Iterable[str], *, venv_missing: bool, programs: Iterable[str] = ()
) -> list[str]:
    """Return the Debian packages that bring these libraries, programs and, if asked, `venv`."""
    packages = {LIBRARIES[name] for name in libraries} | {TEST_PROGRAMS[name] for name in programs}
    if venv_missing:
        packages.add(f"python{sys.version_info.major}.{sys.version_info.minor}-venv")
    return sorted(packages)


def apt_line(packages: Sequence[str], *, sudo: bool) -> str:
    """Return the line to type that installs Debian packages."""
    apt_get = "sudo apt-get" if sudo else "apt-get"
    # On a fresh system the lists of packages are empty, and nothing would be found.
    return f"{apt_get} update && {apt_get} install --no-install-recommends {' '.join(packages)}"


def _can_load(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _has_ensurepip() -> bool:
    # Debian ships the module venv without ensurepip, so only the import tells.
    asked = subprocess.run(
        [sys.executable, "-c", "import ensurepip, venv"],
        capture_output=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )
    return asked.returncode == 0


def _provide_test_programs() -> None:
    """Install what the tests of the real window use, where that needs nobody's help.

    Elsewhere those tests are skipped with their reason, and all others run.
    """
    lacking = [name for name in TEST_PROGRAMS if shutil.which(name) is None]
    if lacking and sys.platform.startswith("linux") and _is_debian() and os.geteuid() == 0:
        _install_with_apt(packages_for((), venv_missing=False, programs=lacking))


def _provide_libraries(*, venv_needed: bool) -> None:
    libraries = missing_libraries(_can_load) if sys.platform.startswith("linux") else []
    venv_missing = venv_needed and not _has_ensurepip()
    if not libraries and not venv_missing:
        return
    if not _is_debian():
        raise SetUpError(_without_apt(libraries, venv_missing=venv_missing))
    packages = packages_for(libraries, venv_missing=venv_missing)
    if os.geteuid() != 0:
        raise SetUpError(
            "Some packages of the system are missing. Type this line, then start again:\n\n"
            f"    {apt_line(packages, sudo=True)}\n"
        )
    _install_with_apt(packages)


def _is_debian() -> bool:
    release = Path("/etc/os-release")
    if not release.is_file() or shutil.which("apt-get") is None:
        return False
    return is_debian_family(release.read_text(encoding="utf-8", errors="replace"))


def _without_apt(libraries: Sequence[str], *, venv_missing: bool) -> str:
    parts = []
    if libraries:
        parts.append(
            "These shared libraries are missing: " + ", ".join(libraries) + ". Install the "
            "packages of your system that bring them, then start again."
        )
    if venv_missing:
        parts.append(
            "This Python cannot make virtual environments: its modules venv and ensurepip are "
            "needed. Install them, or another Python, then start again."
        )
    return " ".join(parts)


def _install_with_apt(packages: Sequence[str]) -> None:
    install = ["apt-get", "install", "-y", "-q", "--no-install-recommends", *packages]
    with _step(f"Installing what the system lacks with apt-get ({len(packages)} in all)"):
        # One list that cannot be fetched fails the update; whether it matters, the
        # installation tells.
        _, said_before = _run_apt(["apt-get", "update", "-q"])
        status, said = _run_apt(install)
        if status != 0:
            raise SetUpError(
                fetch_failure("apt-get", said_before + said)
                + f" To do it by hand: {apt_line(packages, sudo=False)}"
            )
        still = missing_libraries(_can_load)
    if still:
        raise SetUpError(f"apt-get went well, yet these are still missing: {', '.join(still)}.")


def _run_apt(command: Sequence[str]) -> tuple[int, str]:
    done = subprocess.run(
        command,
        capture_output=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
        text=True,
        errors="replace",
    )
    return done.returncode, done.stdout + done.stderr


# ------------------------------------------------------------- the virtual environment


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What a virtual environment was made from; kept inside it.

    Attributes
    ----------
    complete
        False while something is being installed: found so, it was interrupted.
    python
        Version of the Python that it belongs to.
    folder
        The checkout; a virtual environment cannot be moved.
    pyproject
        Hash of pyproject.toml.
    extras
        The optional groups of packages that were installed.
    """

    complete: bool
    python: str
    folder: str
    pyproject: str
    extras: tuple[str, ...]


def read_stamp(text: str) -> Stamp | None:
    """Return the stamp that the text holds, or None where it holds none."""
    try:
        held = json.loads(text)
        return Stamp(**{**held, "extras": tuple(held["extras"])})
    except (ValueError, TypeError, KeyError):
        return None


def write_stamp(stamp: Stamp) -> str:
    """Return the text that `read_stamp` reads."""
    return json.dumps(asdict(stamp), indent=1) + "\n"


def wanted_stamp(pyproject: bytes, *, extras: Sequence[str], folder: str, python: str) -> Stamp:
    """Return the stamp of a finished virtual environment for this state of the checkout."""
    return Stamp(
        complete=True,
        python=python,
        folder=folder,
        pyproject=hashlib.sha256(pyproject).hexdigest(),
        extras=tuple(sorted(extras)),
    )


def must_begin_anew(found: Stamp | None, wanted: Stamp) -> bool:
    """Return whether what is there is of no use: half made, moved, or of another Python."""
    return (
        found is None
        or not found.complete
        or found.python != wanted.python
        or found.folder != wanted.folder
    )


def must_install(found: Stamp | None, wanted: Stamp) -> bool:
    """Return whether packages have to be installed; more than wanted does no harm."""
    return (
        found is None
        or must_begin_anew(found, wanted)
        or found.pyproject != wanted.pyproject
        or not set(wanted.extras) <= set(found.extras)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Venv:
    """Where things lie in the virtual environment."""

    folder: Path

    @property
    def stamp_file(self) -> Path:
        """The file that says what it was made from."""
        return self.folder / "tipwright-stamp.json"

    @property
    def log_file(self) -> Path:
        """What pip said the last time."""
        return self.folder / "tipwright-pip.log"

    def tool(self, name: str) -> str:
        """Return the path of a program in it."""
        if os.name == "nt":
            return str(self.folder / "Scripts" / f"{name}.exe")
        return str(self.folder / "bin" / name)


def set_up(*, extras: Sequence[str] = ()) -> Venv:
    """Make or complete the virtual environment of this checkout, and check it.

    Raises
    ------
    SetUpError
        When something is missing that this program cannot provide.
    """
    venv = Venv(folder=CHECKOUT / ".venv")
    wanted = wanted_stamp(
        (CHECKOUT / "pyproject.toml").read_bytes(),
        extras=extras,
        folder=str(CHECKOUT),
        python=sys.version.split()[0],
    )
    found = _stamp_of(venv)
    anew = must_begin_anew(found, wanted)
    _provide_libraries(venv_needed=anew)
    if anew:
        _make_venv(venv, wanted)
    if must_install(found, wanted):
        kept = () if anew or found is None else found.extras
        _install(venv, _with_extras(wanted, kept))
    _check_packages(venv)
    return venv


def _stamp_of(venv: Venv) -> Stamp | None:
    if venv.stamp_file.is_file():
        return read_stamp(venv.stamp_file.read_text(encoding="utf-8", errors="replace"))
    if venv.folder.exists() and any(venv.folder.iterdir()):
        raise SetUpError(
            f"The folder {venv.folder} is there, but this program did not make it. "
            "Move it away or remove it, then start again."
        )
    return None


def _with_extras(stamp: Stamp, more: Iterable[str]) -> Stamp:
    return replace(stamp, extras=tuple(sorted({*stamp.extras, *more})))


def _mark_unfinished(venv: Venv, wanted: Stamp) -> None:
    venv.stamp_file.write_text(write_stamp(replace(wanted, complete=False)), encoding="utf-8")


def _make_venv(venv: Venv, wanted: Stamp) -> None:
    with _step("Making a virtual environment in .venv"):
        if venv.folder.exists():
            shutil.rmtree(venv.folder)
        # Marked before anything else is in it: killed here, it is known as ours.
        venv.folder.mkdir()
        _mark_unfinished(venv, wanted)
        made = subprocess.run(
            [sys.executable, "-m", "venv", str(venv.folder)],
            capture_output=True,
            check=False,
            stdin=subprocess.DEVNULL,
            text=True,
            errors="replace",
        )
        if made.returncode != 0:
            said = _last_lines(made.stdout + made.stderr)
            raise SetUpError(f"The virtual environment could not be made: {said}")


def _install(venv: Venv, wanted: Stamp) -> None:
    what = ".[" + ",".join(wanted.extras) + "]" if wanted.extras else "."
    kind = "the packages of program and checks" if wanted.extras else "the packages"
    with _step(f"Installing {kind} (minutes, the first time)"):
        _mark_unfinished(venv, wanted)
        with venv.log_file.open("w", encoding="utf-8") as log:
            done = subprocess.run(
                [venv.tool("python"), "-m", "pip", "install", "--no-input", "--editable", what],
                cwd=CHECKOUT,
                env=clean_environment(os.environ),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                check=False,
            )
        if done.returncode != 0:
            said = venv.log_file.read_text(encoding="utf-8", errors="replace")
            raise SetUpError(fetch_failure("pip", said) + f" All of it: {venv.log_file}")
        venv.stamp_file.write_text(write_stamp(wanted), encoding="utf-8")


def clean_environment(environment: Mapping[str, str]) -> dict[str, str]:
    """Return the environment without what would lead a Python to packages of another one."""
    led_astray = {"PYTHONHOME", "PYTHONPATH", "PIP_USER", "PIP_TARGET", "PIP_PREFIX"}
    return {name: value for name, value in environment.items() if name not in led_astray}


def fetch_failure(program: str, said: str) -> str:
    """Return why packages could not be installed, and what to do, from what was said."""
    if is_offline(said):
        return (
            f"{program} could not fetch the packages: the network does not seem to be there. "
            "Connect this computer, then start again."
        )
    absent = re.search(r"requirement (\S+).*\(from versions: none\)", said)
    if absent:
        return (
            f"{program} finds no {absent[1]} for this computer. Either the network is not there: "
            "connect, then start again. Or nobody builds it for this system and this Python: "
            "use a 64-bit system and another Python from 3.11 on."
        )
    return f"{program} did not go well: {_last_lines(said)}"


def is_offline(said: str) -> bool:
    """Return whether the words of pip or apt-get speak of a network that is not there."""
    words = said.lower()
    return any(sign in words for sign in OFFLINE_SIGNS)


def _last_lines(said: str, count: int = 6) -> str:
    lines = [line for line in said.splitlines() if line.strip()]
    return "\n    " + "\n    ".join(lines[-count:] or ["(it said nothing)"]) + "\n"


# ------------------------------------------------------ traps that installers do not see

PROBE = """
import importlib.metadata as metadata, json, re
versions = {}
for one in metadata.distributions():
    versions[re.sub("[-_.]+", "-", one.metadata["Name"] or "").lower()] = one.version
try:
    import cv2
    cv2_version = getattr(cv2, "__version__", None)
except Exception:
    cv2_version = None
print(json.dumps({"versions": versions, "cv2": cv2_version}))
"""
"""Run by the Python of the virtual environment; says what is really there."""


def trap_sentences(
    versions: Mapping[str, str],
    *,
    cv2_version: str | None,
    python: tuple[int, int],
    pip: str,
) -> list[str]:
    """Return one sentence, with the command that repairs it, for each known trap met.

    Parameters
    ----------
    versions
        Installed distribution (lower case, with hyphens): its version.
    cv2_version
        What `cv2.__version__` says; None where there is none.
    python
        Version of the Python that will run the program.
    pip
        How its pip is called, for the command shown.
    """
    return [
        *_qt_trap(versions, python, pip),
        *_numpy_trap(versions, pip),
        *_opencv_trap(versions, cv2_version, pip),
    ]


def _qt_trap(versions: Mapping[str, str], python: tuple[int, int], pip: str) -> list[str]:
    # Each call that returns nothing takes one reference from None; below 3.12 None
    # is not immortal, and the interpreter aborts after some thousand calls.
    for name in ("pyside6-essentials", "pyside6", "shiboken6"):
        if versions.get(name) == "6.12.0" and python < (3, 12):
            return [
                f"{name} 6.12.0 ends Python {python[0]}.{python[1]} after some thousand calls. "
                f'Repair: {pip} install "PySide6-Essentials>=6.8,<6.12"'
            ]
    return []


def _numpy_trap(versions: Mapping[str, str], pip: str) -> list[str]:
    numpy = versions.get("numpy", "0")
    major, minor = (int(part) for part in (numpy + ".0").split(".")[:2])
    if (major, minor) < (2, 5):
        return []
    return [
        f"numpy {numpy} breaks the ellipse model of scikit-image. "
        f'Repair: {pip} install "numpy>=2.0,<2.5"'
    ]


def _opencv_trap(versions: Mapping[str, str], cv2_version: str | None, pip: str) -> list[str]:
    found = [name for name in OPENCV if name in versions]
    again = f"{pip} install --force-reinstall --no-deps opencv-python"
    if len(found) > 1:
        return [
            f"{' and '.join(found)} are installed side by side and overwrite each other. Repair "
            f"with these two lines:\n    {pip} uninstall --yes {' '.join(found)}\n    {again}"
        ]
    if not found or cv2_version is None:
        return [f"OpenCV is not complete: cv2.__version__ is missing. Repair: {again}"]
    return []


def _check_packages(venv: Venv) -> None:
    asked = subprocess.run(
        [venv.tool("python"), "-P", "-c", PROBE],
        capture_output=True,
        check=False,
        env=clean_environment(os.environ),
        stdin=subprocess.DEVNULL,
        text=True,
        errors="replace",
    )
    try:
        answer = json.loads(asked.stdout)
    except ValueError:
        raise SetUpError(
            f"The Python in {venv.folder} does not work: {_last_lines(asked.stderr)}"
            f"Remove {venv.folder}, then start again."
        ) from None
    sentences = trap_sentences(
        answer["versions"],
        cv2_version=answer["cv2"],
        python=(sys.version_info.major, sys.version_info.minor),
        pip=f"{shlex.quote(venv.tool('python'))} -m pip",
    )
    if sentences:
        raise SetUpError("\n".join(sentences))


# ------------------------------------------------------------------------- the checks


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How one check went."""

    name: str
    status: int
    took_s: float


PARALLEL = ("--numprocesses=auto", "--dist=loadfile", "--no-loadscope-reorder")
"""In the order of the folders: by number of tests, the few that take a minute each would
come last, one after the other, while the other cores have nothing left to do."""


def check_commands(venv: Venv, pytest_words: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Return name and command of all checks, in the order in which they run."""
    return [
        ("ruff check", [venv.tool("ruff"), "check"]),
        ("ruff format", [venv.tool("ruff"), "format", "--check"]),
        ("mypy", [venv.tool("mypy")]),
        ("lint-imports", [venv.tool("lint-imports")]),
        # A file's tests stay in one process: they share what is dear to make.
        (
            "pytest",
            [venv.tool("python"), "-m", "pytest", "-q", *PARALLEL, *pytest_words],
        ),
    ]


def run_checks(venv: Venv, pytest_words: Sequence[str]) -> int:
    """Run every check, whether or not one before it failed; return 1 if any failed."""
    environment = clean_environment(os.environ)
    # No window has to pop up, and none can where there is no screen.
    environment.setdefault("QT_QPA_PLATFORM", "offscreen")
    outcomes = []
    for name, command in check_commands(venv, pytest_words):
        print(f"\n{name}:", flush=True)
        began_s = time.monotonic()
        status = subprocess.run(
            command, cwd=CHECKOUT, env=environment, stdin=subprocess.DEVNULL, check=False
        ).returncode
        outcomes.append(Outcome(name=name, status=status, took_s=time.monotonic() - began_s))
    print("\n" + summary(outcomes), flush=True)
    return 1 if any(outcome.status != 0 for outcome in outcomes) else 0


def summary(outcomes: Sequence[Outcome]) -> str:
    """Return one line a check, and one for all."""
    lines = [
        f"{one.name:<13} {'good' if one.status == 0 else 'FAILED':<7} {one.took_s:6.1f} s"
        for one in outcomes
    ]
    failed = [one.name for one in outcomes if one.status != 0]
    lines.append(f"Failed: {', '.join(failed)}." if failed else "All checks are good.")
    return "\n".join(lines)


# ------------------------------------------------------------------------ the program


@contextmanager
def _step(text: str) -> Iterator[None]:
    """Say what is being done and, when it is, how long it took."""
    _say(f"{text} ... ", end="")
    began_s = time.monotonic()
    try:
        yield
    except BaseException:
        _say(f"not done ({time.monotonic() - began_s:.0f} s).")
        raise
    _say(f"done ({time.monotonic() - began_s:.0f} s).")


def _say(text: str, end: str = "\n") -> None:
    # Standard output belongs to the program: `start.py measure x.png --json` is read by others.
    print(text, end=end, file=sys.stderr, flush=True)


def hand_over(venv: Venv, words: Sequence[str]) -> int:
    """Become the program; where the system has no such thing, run it and wait."""
    # -P: a folder named `app` where the user stands must not be taken for ours.
    command = [venv.tool("python"), "-P", "-m", "app", *words]
    environment = clean_environment(os.environ)
    sys.stdout.flush()
    if os.name != "nt":
        os.execve(command[0], command, environment)
    # Ctrl+C reaches both; the program answers it, and its status is ours.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    return subprocess.run(command, env=environment, check=False).returncode


def main(words: Sequence[str]) -> int:
    """Set up, then do what the words say; return the exit status."""
    testing = words[:1] == ["test"]
    try:
        began_s = time.monotonic()
        venv = set_up(extras=("dev",) if testing else ())
        if testing:
            _provide_test_programs()
        _say(f"Tipwright is set up ({time.monotonic() - began_s:.1f} s).")
        return run_checks(venv, words[1:]) if testing else hand_over(venv, words or OPENING)
    except SetUpError as error:
        _say(str(error))
        return 2
    except OSError as error:
        _say(f"The set-up could not go on: {error}.")
        return 2
    except KeyboardInterrupt:
        _say("\nStopped. The next start goes on from here.")
        return 4


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
