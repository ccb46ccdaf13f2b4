"""Writing a file whole or not at all: beside the target first, then moved into place."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import secrets
import stat
import time
from collections.abc import Iterator
from pathlib import Path

from cli.file_errors import OutputError
from siting.values.wording import listed

#: Our unfinished files are called ``.gullywalk-part-<8 hex digits><ending of the target>``.
PART_PREFIX = ".gullywalk-part-"
_PART_PATTERN = re.compile(re.escape(PART_PREFIX) + r"[0-9a-f]{8}(\..*|)(-journal|-wal|-shm|)")
STALE_SECONDS = 24 * 3600
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def check_file_target(path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Refuse early what could not be written at the end of a run.

    Parameters
    ----------
    path
        File to write later.
    overwrite
        Whether an existing file may be replaced.

    Returns
    -------
    Path
        The real path: a link is followed, so that its target is replaced and not the link.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or the file exists and may not be replaced.
    """
    target = Path(os.path.realpath(path))
    folder = target.parent
    if not folder.is_dir():
        raise OutputError(
            f"no folder {folder} to write {target.name} into", do="make the folder or name another"
        )
    if target.is_dir():
        raise OutputError(f"{target} is a folder", expected="the name of a file")
    if target.exists() and not target.is_file():
        raise OutputError(f"{target} is not an ordinary file", do="give another name")
    if target.exists() and not overwrite:
        raise _exists(target)
    _try_folder(target)
    return target


def check_ending(path: str, *endings: str) -> None:
    """Refuse an output file whose name does not say what it will hold.

    Raises
    ------
    OutputError
        It ends in none of the endings.
    """
    if Path(path).suffix.lower() not in endings:
        raise OutputError(
            f"an output named {path}",
            expected=f"a name that ends in {listed(list(endings), last='or')}",
        )


def _exists(target: Path) -> OutputError:
    return OutputError(
        f"{target} exists already", do="give another name, or --overwrite to replace it"
    )


def _try_folder(target: Path) -> None:
    """Write a little and take it away: permissions alone do not tell (root, network drives)."""
    part = part_path(target)
    try:
        with open(part, "xb") as file:
            file.write(b"\0" * 4096)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise write_error(target, error) from error
    finally:
        discard(part)


def part_path(target: Path) -> Path:
    """Name for an unfinished file beside the target."""
    return target.with_name(f"{PART_PREFIX}{secrets.token_hex(4)}{target.suffix}")


def discard(part: Path) -> None:
    """Take away an unfinished file and what SQLite may have left beside it."""
    for ending in ("", "-journal", "-wal", "-shm"):
        with contextlib.suppress(OSError):
            os.unlink(f"{part}{ending}")


def sweep(folder: Path, *, now_s: float | None = None) -> list[Path]:
    """Take away our own unfinished files older than a day, left by a run that was killed.

    Parameters
    ----------
    folder
        Folder to look in; folders below it are left alone.
    now_s
        Time to measure the age from, s since 1970; by default the clock.

    Returns
    -------
    list of Path
        What was taken away.
    """
    now = time.time() if now_s is None else now_s
    gone = []
    for path in sorted(folder.glob(PART_PREFIX + "*")):
        if not _PART_PATTERN.fullmatch(path.name):
            continue
        with contextlib.suppress(OSError):
            info = path.lstat()
            if stat.S_ISREG(info.st_mode) and now - info.st_mtime > STALE_SECONDS:
                path.unlink()
                gone.append(path)
    return gone


def no_room(part: Path, *, wanted_bytes: int = 1 << 20) -> OSError | None:
    """Find out whether writing failed for want of room; libraries do not always say so.

    Parameters
    ----------
    part
        The unfinished file, which is thrown away afterwards.
    wanted_bytes
        Room without which the disk counts as full.

    Returns
    -------
    OSError or None
        What the system says to a little more data.
    """
    try:
        with open(part, "ab") as file:
            file.write(b"\0" * wanted_bytes)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return error
    return None


def write_error(target: Path, error: Exception) -> OutputError:
    """Turn a failure of the operating system or of a library into one clear line."""
    code = getattr(error, "errno", None)
    text = " ".join(str(error).split())
    lower = text.lower()
    if code in _FULL or "disk is full" in lower or "no space left" in lower:
        return OutputError(
            f"the disk is full while writing {target.name} into {target.parent}",
            do="free some space or write somewhere else",
        )
    # A system folder that takes no files may answer "no such file".
    if code in (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOENT):
        return OutputError(
            f"the folder {target.parent} cannot be written to ({os.strerror(code)})",
            do="choose a folder that you may write to",
        )
    return OutputError(f"{target} could not be written ({text or type(error).__name__})")


def move_into_place(part: Path, target: Path, *, overwrite: bool) -> None:
    """Sync a finished file to the disk and give it its name in one step."""
    if target.exists():
        if not overwrite:
            raise _exists(target)
        os.chmod(part, stat.S_IMODE(target.stat().st_mode))
    with open(part, "rb+") as file:
        os.fsync(file.fileno())
    os.replace(part, target)
    if os.name == "posix":
        descriptor = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


@contextlib.contextmanager
def replacing(path: str | os.PathLike[str], *, overwrite: bool = False) -> Iterator[Path]:
    """Give a name to write under, and move the file into place when the block ends well.

    Parameters
    ----------
    path
        File wanted in the end.
    overwrite
        Whether an existing file may be replaced.

    Yields
    ------
    Path
        Name beside the target to write under.

    Raises
    ------
    OutputError
        The target cannot be written; an old file is then as it was.
    """
    target = check_file_target(path, overwrite=overwrite)
    sweep(target.parent)
    part = part_path(target)
    try:
        yield part
        move_into_place(part, target, overwrite=overwrite)
    except OSError as error:
        raise error if isinstance(error, OutputError) else write_error(target, error) from error
    finally:
        discard(part)


def write_text(path: str | os.PathLike[str], text: str, *, overwrite: bool = False) -> Path:
    """Write a UTF-8 text file whole, line ends as given.

    Raises
    ------
    OutputError
        As :func:`replacing`.
    """
    with replacing(path, overwrite=overwrite) as part:
        part.write_bytes(text.encode("utf-8"))
    return Path(path)
