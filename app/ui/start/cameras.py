"""The right panel of the start page: which camera."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from PySide6.QtCore import QObject, QSize, Qt, Signal
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.ui.look.colours import Colours
from app.ui.look.icons import IconName
from app.ui.look.parts import WrapLabel
from app.ui.look.style import GAP
from app.ui.start.choice import CameraKind, CameraRow
from app.ui.start.parts import browse, button, line_edit
from app.ui.start.pictures import Glimpse, Image, PictureTaker
from app.ui.start.rows import PICTURE_PX, Row, RowList

_ICONS = {
    CameraKind.BENCH: IconName.BENCH,
    CameraKind.USB: IconName.CAMERA,
    CameraKind.NETWORK: IconName.NETWORK,
    CameraKind.FILE: IconName.FILE,
}


class _Bridge(QObject):
    """Carries glimpses from the taker's thread to the window's."""

    arrived = Signal(object)


class CameraPanel(QFrame):
    """Lists cameras, with their pictures where asked for, and takes addresses and paths."""

    picked = Signal(str)
    edited = Signal()
    """The address, the path, or whether pictures are being taken, has changed."""
    again_wanted = Signal()

    def __init__(
        self,
        colours: Colours,
        look: Callable[[str], Image],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setObjectName("camera_panel")
        self.setProperty("look", "panel")
        self._rows: dict[str, CameraRow] = {}
        self._glimpses: dict[str, Glimpse] = {}
        self.taking = False
        """Whether a camera may be open for its picture."""
        self.list = RowList(
            "cameras", "Which camera", "The camera that looks up at the nozzles.", colours
        )
        self.list.picked.connect(self._picked)
        self._make_fields()
        self._make_keys()
        self._lay_out()
        self._bridge = _Bridge(self)
        self._bridge.arrived.connect(self._receive, Qt.ConnectionType.QueuedConnection)
        self._taker = PictureTaker(self._bridge.arrived.emit, look)

    def show_cameras(self, rows: Sequence[CameraRow], chosen: CameraRow | None) -> None:
        """Show the cameras, one of them chosen."""
        self._rows = {row.key: row for row in rows}
        self.list.set_rows([self._row(row) for row in rows], chosen.key if chosen else "")
        self._show_fields()
        has_usb = any(row.kind is CameraKind.USB for row in rows)
        on_bench = any(row.kind is CameraKind.BENCH for row in rows)
        self.pictures.setEnabled(has_usb and not self.taking)
        self.again.setEnabled(not on_bench)
        if on_bench:
            self.note.setText("A simulated machine is looked at on the bench, or by its stream.")
        elif not has_usb:
            self.note.setText("No USB camera is plugged in, or the system does not list it.")
        else:
            self.note.setText("")
        self.note.setVisible(bool(self.note.text()))

    def controls(self) -> tuple[QWidget, ...]:
        """Return what the Tab key goes through, in order."""
        return (self.list, self.address, self.path, *self._browse, self.pictures, self.again)

    def use_colours(self, colours: Colours) -> None:
        """Change the look."""
        self.list.use_colours(colours)

    def close_cameras(self) -> None:
        """End the thread that takes pictures."""
        self._taker.close()

    def _make_fields(self) -> None:
        self.address = line_edit(
            "camera_address",
            "Network camera's address",
            "Where the camera sends its pictures, beginning with http:// or https://.",
            "http://192.168.1.20:8080/stream",
        )
        self.address.textEdited.connect(self.edited)
        self._path_row = QWidget(self)
        row = QHBoxLayout(self._path_row)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(GAP)
        self.path = line_edit(
            "camera_path",
            "Path of a video or of a folder of pictures",
            "A video, or a folder of pictures, that takes the camera's place.",
            "video or folder",
        )
        self.path.textChanged.connect(self.edited)
        row.addWidget(self.path, 1)
        self._browse: list[QWidget] = []
        for name, text, tip, folder in (
            ("browse_video", "File ...", "Look for a video.", False),
            ("browse_pictures", "Folder ...", "Look for a folder of pictures.", True),
        ):
            key = button(name, text, tip)
            key.clicked.connect(
                lambda _checked=False, folder=folder: browse(
                    self.path, "A folder of pictures" if folder else "A video", folder=folder
                )
            )
            row.addWidget(key)
            self._browse.append(key)

    def _make_keys(self) -> None:
        self.pictures = button(
            "show_pictures",
            "Show pictures",
            "Opens each USB camera for a moment and shows what it sees. One that another "
            "program uses may not open.",
        )
        self.pictures.clicked.connect(self._take)
        self.again = button("look_again", "Look again", "Lists the cameras anew.")
        self.again.clicked.connect(self.again_wanted)
        self.note = WrapLabel(look="small", parent=self)
        self.note.setObjectName("camera_note")

    def _lay_out(self) -> None:
        title = QLabel("Which camera?", self)
        title.setProperty("look", "title")
        column = QVBoxLayout(self)
        column.setContentsMargins(16, 14, 16, 14)
        column.setSpacing(GAP)
        column.addWidget(title)
        column.addWidget(self.list, 1)
        column.addWidget(self.address)
        column.addWidget(self._path_row)
        column.addWidget(self.note)
        keys = QHBoxLayout()
        keys.setSpacing(GAP)
        keys.addWidget(self.pictures)
        keys.addWidget(self.again)
        keys.addStretch(1)
        column.addLayout(keys)

    def _picked(self, key: str) -> None:
        self._show_fields()
        self.picked.emit(key)

    def _show_fields(self) -> None:
        row = self._rows.get(self.list.key())
        kind = row.kind if row else None
        self.address.setVisible(kind is CameraKind.NETWORK)
        self._path_row.setVisible(kind is CameraKind.FILE)

    # Pictures -------------------------------------------------------------------------

    def _take(self) -> None:
        sources = [row.source for row in self._rows.values() if row.kind is CameraKind.USB]
        self._glimpses.clear()
        if self._taker.take(sources):
            self._set_taking(True)
            for source in sources:
                self.list.change_row(replace(self._row(self._rows[source]), words="looking ..."))

    def _receive(self, glimpse: Glimpse | None) -> None:
        if glimpse is None:
            self._set_taking(False)
            return
        self._glimpses[glimpse.source] = glimpse
        row = self._rows.get(glimpse.source)
        if row is not None:
            self.list.change_row(self._row(row))

    def _set_taking(self, on: bool) -> None:
        self.taking = on
        has_usb = any(row.kind is CameraKind.USB for row in self._rows.values())
        self.pictures.setEnabled(has_usb and not on)
        self.again.setEnabled(not on)
        self.edited.emit()

    def _row(self, row: CameraRow) -> Row:
        glimpse = self._glimpses.get(row.source) if row.source else None
        made = Row(key=row.key, title=row.title, words=row.words, icon=_ICONS[row.kind])
        if glimpse is None:
            return made
        if glimpse.image is None:
            return replace(made, words=glimpse.sentence, doubtful=True)
        return replace(made, picture=thumbnail(glimpse.image, self.devicePixelRatioF()))


def thumbnail(image: Image, ratio: float) -> QPixmap:
    """Return a small picture for a screen with this many pixels a point."""
    grey8 = (image >> 8).astype("uint8") if image.dtype.itemsize == 2 else image
    held = grey8.copy(order="C")
    height, width = held.shape[:2]
    form = QImage.Format.Format_BGR888 if held.ndim == 3 else QImage.Format.Format_Grayscale8
    # The copy owns its pixels; `held` may go.
    whole = QImage(held.data, width, height, held.strides[0], form).copy()
    room = QSize(round(PICTURE_PX.width() * ratio), round(PICTURE_PX.height() * ratio))
    small = whole.scaled(
        room, Qt.AspectRatioMode.KeepAspectRatio, Qt.TransformationMode.SmoothTransformation
    )
    made = QPixmap.fromImage(small)
    made.setDevicePixelRatio(ratio)
    return made
