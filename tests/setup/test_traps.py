"""Three packages that break others without a word from the installer."""

from __future__ import annotations

import importlib.metadata as metadata
import subprocess
import sys

import numpy as np
import pytest

from app.cameras.opencv import cv2

OPENCV = {
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
}

COUNT_NONE = """
import sys
from PySide6.QtCore import QObject
thing = QObject()
# What the first calls keep for good is not counted.
for _ in range(10):
    thing.setObjectName("x")
before = sys.getrefcount(None)
for _ in range(100):
    thing.setObjectName("x")
print(before - sys.getrefcount(None))
"""


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="None is immortal from Python 3.12 on")
def test_calls_that_return_nothing_leave_the_reference_count_of_none_alone() -> None:
    # 100 calls lost 100 references with PySide6 6.12.0, none with 6.11.3. In a process of its
    # own: no other thread counts there, and an abort would not take the test run along.
    done = subprocess.run(
        [sys.executable, "-c", COUNT_NONE], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) < 10


def test_numpy_is_one_that_the_ellipses_of_scikit_image_work_with() -> None:
    major, minor = (int(part) for part in np.__version__.split(".")[:2])
    assert (major, minor) < (2, 5)


def test_exactly_one_opencv_is_installed_and_whole() -> None:
    installed = {(one.metadata["Name"] or "").lower() for one in metadata.distributions()}
    assert len(installed & OPENCV) == 1
    assert cv2.__version__
