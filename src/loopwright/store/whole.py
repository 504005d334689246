"""A file written whole or not at all: to a new file in the same folder, which then takes the name in one step.

Whatever stops the program or the machine, the folder holds what was there before or what was written, never a part of either.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path


def write_whole(path: Path, raw: bytes, *, over: bool, mode: int | None = None, owner: tuple[int, int] | None = None) -> None:
    """Write a file; a link of that name is replaced, not followed.

    ``mode`` and ``owner`` (user, group) are those to give it, as far as the system allows; None leaves them to the system. Raises OSError
    when it cannot be written, FileExistsError when the name is taken and ``over`` was not said; nothing has changed then.
    """
    draft = path.parent / f".loopwright-{secrets.token_hex(8)}"
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666 if mode is None else 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(raw)
            out.flush()
            if mode is not None:
                os.fchmod(out.fileno(), mode)
            if owner is not None and owner != (os.geteuid(), os.getegid()):
                with contextlib.suppress(PermissionError):
                    os.fchown(out.fileno(), *owner)
            os.fsync(out.fileno())
        take_name(draft, path, over=over)
    finally:
        with contextlib.suppress(OSError):
            os.unlink(draft)
    settle(path.parent)


def take_name(draft: Path, path: Path, *, over: bool) -> None:
    """Give the draft its name. Without ``over`` this fails, rather than looks first, when the name is taken."""
    if over:
        os.replace(draft, path)
        return
    try:
        os.link(draft, path)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: the name is taken by making the file, which fails as well when it is there.
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        os.replace(draft, path)


def settle(folder: Path) -> None:
    """Have the disk keep the new name; some file systems cannot be asked, and the text itself is safe by then."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
