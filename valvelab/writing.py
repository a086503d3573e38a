"""The one place that writes files: a file is the old one or the new one, never a torn one.

Nothing else in the package may open a file for writing; `tests/test_writing.py` holds that.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import os
import secrets
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, TextIO

from valvelab.errors import CannotWrite

_log = logging.getLogger(__name__)
PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700
_USUAL = 0o666
_SHOWN = 40
_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk space allowed to this user is used up",
    errno.EFBIG: "it is larger than this disk or user may hold",
    errno.EROFS: "the disk can only be read",
    errno.EACCES: "there is no permission to write there",
    errno.EPERM: "there is no permission to write there",
    errno.ENOENT: "its folder is not there",
    errno.ENOTDIR: "what should be its folder is a file",
    errno.EISDIR: "a folder has that name",
    errno.ENAMETOOLONG: "the name is too long",
    errno.ELOOP: "its link leads in a circle",
}


def write_whole(path: Path, content: bytes | str, *, private: bool = False) -> None:
    """Write a file whole: beside it, flushed to the disk, then put in its place; text is UTF-8.

    A link stays and the file it leads to is replaced; a file that was there keeps its owner and permissions, unless
    `private` leaves both to the user alone. A device or pipe is written straight on. Raises CannotWrite, and then what
    was there before is untouched.
    """
    data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    write_filled(path, lambda stream: stream.write(data), private=private)


def write_filled(path: Path, fill: Callable[[BinaryIO], object], *, private: bool = False) -> None:
    """Write a file whole, as `write_whole` does, by `fill` on a stream: for what is too large to be held at once."""
    try:
        there = _status(path)
        if there is not None and not stat.S_ISREG(there.st_mode):
            _write_on(path, there, fill)
            return
        target = path.resolve()
        if there is not None and not os.access(target, os.W_OK):
            raise PermissionError(errno.EACCES, "", str(path))
        _replace(target, fill, there, private=private)
        _log.debug("wrote %s: %d bytes", path, target.stat().st_size)
    except OSError as error:
        raise cannot_write(path, error) from None
    except ValueError:
        raise CannotWrite(str(path), "its name has a zero byte in it") from None


def start_lines(path: Path) -> BinaryIO:
    """A new file for what is added by `add_line`, in place of one that was there. Raises CannotWrite."""
    try:
        return path.open("wb")
    except OSError as error:
        raise cannot_write(path, error) from None


def add_line(stream: BinaryIO, line: bytes) -> None:
    """Add a line that outlives the process at once; only the last line may be torn. Raises CannotWrite."""
    try:
        stream.write(line)
        stream.flush()
    except OSError as error:
        raise cannot_write(stream.name, error) from None


def check_place(path: Path) -> None:
    """Refuse early what can't be written anyway: a folder of that name, or a folder that is not there."""
    try:
        there = _status(path)
        if there is not None and stat.S_ISDIR(there.st_mode):
            raise IsADirectoryError(errno.EISDIR, "")
        folder = path.resolve().parent
        if there is None and not folder.is_dir():
            raise FileNotFoundError(errno.ENOENT, "")
        if not os.access(folder, os.W_OK) and (there is None or stat.S_ISREG(there.st_mode)):
            raise PermissionError(errno.EACCES, "")
    except (OSError, RuntimeError) as error:
        raise cannot_write(path, error) from None
    except ValueError:
        raise CannotWrite(str(path), "its name has a zero byte in it") from None


def check_new_folder(path: Path) -> None:
    """Refuse a place for a new folder where there is something already, unless it is an empty folder."""
    try:
        taken = path.exists() and not (path.is_dir() and not any(path.iterdir()))
    except OSError as error:
        raise cannot_write(path, error) from None
    if taken:
        raise CannotWrite(str(path), "something is there already, and it takes a new folder")


def make_folder(path: Path, *, private: bool = False) -> None:
    """Make a folder, with those above it, where it is missing; a private one is the user's alone."""
    try:
        path.mkdir(mode=PRIVATE_FOLDER if private else 0o777, parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(path, error) from None


def remove_folder(path: Path) -> None:
    """Take a folder of the program's own away, with what is in it; what can't be taken away stays."""
    shutil.rmtree(path, ignore_errors=True)


def remove_file(path: Path) -> None:
    """Take a file of the program's own away. Raises CannotWrite where it stays."""
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_write(path, error) from None


def set_aside(path: Path, ending: str) -> Path:
    """Give a file another ending, so that nobody takes it for what it was meant to be; its new path."""
    aside = path.with_name(f"{path.name}.{secrets.token_hex(3)}.{ending}")
    try:
        path.rename(aside)
    except OSError as error:
        raise cannot_write(path, error) from None
    return aside


def same_file(one: Path, other: Path) -> bool:
    """Whether two paths lead to one file, through links or by another name."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def cannot_write(path: Path | str, error: Exception) -> CannotWrite:
    """The refusal that a failed write asks for."""
    number = error.errno if isinstance(error, OSError) else errno.ELOOP
    reason = _REASONS.get(number or 0) or (error.strerror if isinstance(error, OSError) else None) or str(error)
    return CannotWrite(str(path), reason)


def silence(stream: TextIO) -> None:
    """Let a stream lead nowhere, for one whose reader has gone away: what is left in it goes there at the end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _status(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except FileNotFoundError:
        return None


def _write_on(path: Path, there: os.stat_result, fill: Callable[[BinaryIO], object]) -> None:
    if stat.S_ISDIR(there.st_mode):
        raise IsADirectoryError(errno.EISDIR, "", str(path))
    with path.open("wb") as stream:
        fill(stream)


def _replace(target: Path, fill: Callable[[BinaryIO], object], there: os.stat_result | None, *, private: bool) -> None:
    beside = target.with_name(f".{target.name[:_SHOWN]}.{secrets.token_hex(6)}.part")
    # the system takes the user's mask off the mode, which no one can ask for without changing it
    handle = os.open(
        beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), PRIVATE_FILE if private else _USUAL
    )
    try:
        with os.fdopen(handle, "wb") as stream:
            if there is not None and not private:
                _dress(stream.fileno(), there)
            fill(stream)
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    _settle(target.parent)


def _dress(handle: int, there: os.stat_result) -> None:
    """Owner and permissions of the file that was there, as far as the system lets us."""
    if not hasattr(os, "fchown"):
        return
    with contextlib.suppress(OSError):
        os.fchown(handle, there.st_uid, there.st_gid)
    with contextlib.suppress(OSError):
        os.fchmod(handle, stat.S_IMODE(there.st_mode))


def _settle(folder: Path) -> None:
    """See to it that the new name outlives a power cut, where the system can do that for a folder."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
