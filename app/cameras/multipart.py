"""Parts of a multipart stream (motion JPEG over HTTP), from bytes as they come.

Why not a video library: OpenCV's scales a stream that changes its size to the first
size, without a word, and fills a broken picture with grey; both would falsify a
measurement.
"""

from __future__ import annotations

from collections.abc import Callable

LONGEST_LINE = 8192
LARGEST_PART = 64 * 1024 * 1024
"""Bytes; far above any picture, so that a stream of something else cannot fill memory."""

JPEG_ENDS = (b"\xff\xd9", b"\xff\xd9\r\n", b"\xff\xd9\n")


class StreamEndedError(Exception):
    """The other side closed the stream."""


class BadStreamError(Exception):
    """What comes is no multipart stream."""


def boundary_of(content_type: str) -> bytes | None:
    """Return the mark between parts as it stands in the stream; None if it is not told.

    Some servers tell it with its two hyphens, some without, some in quotes.
    """
    for parameter in content_type.split(";")[1:]:
        name, _, value = parameter.partition("=")
        if name.strip().lower() == "boundary":
            mark = value.strip().strip('"').lstrip("-")
            return b"--" + mark.encode("latin-1") if mark else None
    return None


class PartReader:
    """Cuts a stream into the bodies of its parts.

    Parameters
    ----------
    read
        Returns what has arrived, waiting for at least one byte; empty at the end.
    boundary
        The mark between parts with its two hyphens; None if any line that begins
        with two hyphens is one.
    """

    def __init__(self, read: Callable[[], bytes], boundary: bytes | None) -> None:
        self._read = read
        self._boundary = boundary or b"--"
        self._is_proven = False
        self._buffer = bytearray()

    @property
    def waiting(self) -> int:
        """Bytes that have been read but belong to a later part."""
        return len(self._buffer)

    def next_part(self) -> bytes:
        """Return the body of the next part.

        Raises
        ------
        StreamEndedError
            The other side closed.
        BadStreamError
            A line or a part is too long to be one.
        """
        while not self._is_mark(self._line()):
            pass
        length = self._length_from_headers()
        return self._until_mark() if length is None else self._exactly(length)

    def _is_mark(self, line: bytes) -> bool:
        if line.startswith(self._boundary):
            self._is_proven = True
        elif line.startswith(b"--") and not self._is_proven:
            # Some servers tell one mark and send another: believe what is sent.
            self._is_proven = True
            self._boundary = line
        else:
            return False
        if self._boundary == b"--":
            self._boundary = line
        return True

    def _length_from_headers(self) -> int | None:
        length = None
        while line := self._line():
            name, _, value = line.partition(b":")
            if name.strip().lower() == b"content-length" and value.strip().isdigit():
                length = int(value)
        if length is not None and length > LARGEST_PART:
            raise BadStreamError(f"a part of {length} bytes")
        return length or None

    def _line(self) -> bytes:
        while (end := self._buffer.find(b"\n")) < 0:
            if len(self._buffer) > LONGEST_LINE:
                # In the middle of a body after a wrong length: look on from here.
                del self._buffer[:]
            self._fill()
        line = bytes(self._buffer[:end]).rstrip(b"\r")
        del self._buffer[: end + 1]
        return line

    def _exactly(self, length: int) -> bytes:
        while len(self._buffer) < length:
            self._fill()
        return self._cut(length)

    def _until_mark(self) -> bytes:
        mark = b"\n" + self._boundary
        start = 0
        while (end := self._buffer.find(mark, start)) < 0:
            if len(self._buffer) > LARGEST_PART:
                raise BadStreamError("a part without an end")
            if self._buffer.endswith(JPEG_ENDS):
                # The next mark may come only with the next picture, a period later.
                return self._cut(len(self._buffer)).rstrip(b"\r\n")
            start = max(0, len(self._buffer) - len(mark))
            self._fill()
        body = self._cut(end + 1)
        return body.rstrip(b"\r\n")

    def _cut(self, length: int) -> bytes:
        body = bytes(self._buffer[:length])
        del self._buffer[:length]
        return body

    def _fill(self) -> None:
        data = self._read()
        if not data:
            raise StreamEndedError
        self._buffer += data
