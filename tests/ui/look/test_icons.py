from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QSize
from PySide6.QtGui import QIcon, QImage, QPixmap
from pytestqt.qtbot import QtBot

from app.ui.look.icons import APP_ICON_SIZES, IconName, app_icon, app_image, icon, save_app_icon


def strength(pixmap: QPixmap) -> NDArray[np.uint8]:
    image = pixmap.toImage().convertToFormat(QImage.Format.Format_Alpha8)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
    return rows[:, : image.width()].copy()


@pytest.mark.parametrize("name", list(IconName))
def test_an_icon_paints_something_at_sixteen_pixels(qtbot: QtBot, name: IconName) -> None:
    ink = strength(icon(name, "#102030").pixmap(16, 16))

    assert 0.08 < float(np.mean(ink > 100)) < 0.8


def test_icons_differ_from_each_other(qtbot: QtBot) -> None:
    inks = {name: strength(icon(name, "#102030").pixmap(16, 16)) > 100 for name in IconName}

    alike = [
        (one, other)
        for one, other in combinations(IconName, 2)
        if np.count_nonzero(inks[one] ^ inks[other]) < 16
    ]
    assert alike == []


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("side", [16, 20, 24, 32])
def test_an_icon_is_painted_for_the_pixels_of_the_screen(
    qtbot: QtBot, side: int, ratio: float
) -> None:
    made = icon(IconName.MENU, "#102030").pixmap(QSize(side, side), ratio)

    assert made.width() == round(side * ratio)


def test_an_icon_has_its_colour_and_is_paler_when_disabled(qtbot: QtBot) -> None:
    made = icon("half", "#3060C0")
    plain = made.pixmap(32, 32)
    pale = made.pixmap(QSize(32, 32), 1.0, QIcon.Mode.Disabled)

    assert plain.toImage().pixelColor(9, 16).name() == "#3060c0"
    assert strength(pale).max() < strength(plain).max()


def test_a_name_that_no_icon_has_is_refused() -> None:
    with pytest.raises(ValueError, match="unicorn"):
        icon("unicorn", "#000000")


def test_the_mark_comes_in_the_sizes_of_desktops(qtbot: QtBot) -> None:
    sizes = {size.width() for size in app_icon().availableSizes()}

    assert sizes == set(APP_ICON_SIZES)
    assert {16, 512} <= sizes


def test_the_dot_of_the_mark_stands_off_its_middle(qtbot: QtBot) -> None:
    image = app_image(96)
    blue = [
        (u, v) for u in range(96) for v in range(96) if image.pixelColor(u, v).name() == "#56b4e9"
    ]

    assert np.mean([u for u, _ in blue]) > 56
    assert np.mean([v for _, v in blue]) < 40


def test_the_mark_is_written_as_a_file(qtbot: QtBot, tmp_path: Path) -> None:
    save_app_icon(tmp_path / "mark.png", 64)

    assert QImage(str(tmp_path / "mark.png")).size() == QSize(64, 64)


def test_a_mark_that_cannot_be_written_is_told(qtbot: QtBot, tmp_path: Path) -> None:
    with pytest.raises(OSError, match="could not be written"):
        save_app_icon(tmp_path / "nowhere" / "mark.png")
