"""The bytes and the text of one file, within limits a hostile file cannot pass."""

import stat
from collections.abc import Sequence
from pathlib import Path

from .findings import BadInput, Finding, Kind

MOST_BYTES = 1 << 20
#: The path to a value inside a document.
Loc = Sequence[str | int]


def read_bytes(path: Path, shown: str, most: int = MOST_BYTES) -> bytes:
    """The file's bytes. Raises BadInput when it cannot be read or is larger than `most`."""
    try:
        mode = path.stat().st_mode
        if not stat.S_ISDIR(mode) and not stat.S_ISREG(mode):
            raise OSError(0, "a pipe or a device")
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        problem = (error.strerror or "an error").lower()
        raise BadInput([Finding(shown, 0, 0, Kind.UNREADABLE, problem, "a file that can be read")]) from None
    if len(data) > most:
        size = f"{most >> 20} MiB"
        raise BadInput([Finding(shown, 0, 0, Kind.LIMIT, f"a file over {size}", f"at most {size}; split it")])
    return data


def decode(data: bytes, shown: str) -> str:
    """UTF-8 text. Raises BadInput that names the line of the first byte which is not."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        found = f"the byte 0x{data[error.start]:02x}"
        raise BadInput([Finding(shown, line, column, Kind.UNREADABLE, found, "UTF-8 text")]) from None
