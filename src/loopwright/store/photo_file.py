"""The photographs of a proving: one file beside the job, each picture in it once, under the digest of what it is."""

from __future__ import annotations

from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock

from loopwright.prove.found import Found
from loopwright.prove.picture import MOST_BYTES, Picture
from loopwright.store.beside import Beside, path_beside
from loopwright.store.file import StoreError

SUFFIX = ".photos"
FORMAT = 1
MOST_PHOTOS = 120
OURS_ALONE = 0o600


@dataclass(frozen=True, kw_only=True, slots=True)
class Photos:
    """The pictures, by digest, in base 64."""

    format: int
    photos: Mapping[str, str] = field(default_factory=dict)


def photo_path(job: Path) -> Path:
    """Return where the photographs of a job file are kept."""
    return path_beside(job, SUFFIX)


class PhotoFile:
    """The photographs of one job. The file comes into being with the first; what was read of it is remembered until it changes."""

    def __init__(self, path: Path) -> None:
        """Take the file; nothing is read yet."""
        self.path = path
        self._file = Beside(path, Photos(format=FORMAT), most_bytes=2 * MOST_PHOTOS * MOST_BYTES, mode=OURS_ALONE)
        self._lock = Lock()
        self._read: tuple[tuple[int, int, int], Mapping[str, str]] = ((0, 0, 0), {})

    def put(self, picture: Picture) -> None:
        """Keep a picture. Raises StoreError, also when the file is full."""

        def added(kept: Photos) -> Photos:
            if picture.digest in kept.photos:
                return kept
            if len(kept.photos) >= MOST_PHOTOS:
                raise StoreError(
                    f"{self.path.name} holds {MOST_PHOTOS} photographs, and takes no more. Take one back, and this one goes in."
                )
            return replace(kept, photos={**kept.photos, picture.digest: b64encode(picture.jpeg).decode("ascii")})

        self._file.change(added)

    def keep_only(self, wanted: frozenset[str]) -> None:
        """Let go of every picture that is not of these digests: those records speak of. Raises StoreError."""
        if self._photos().keys() <= wanted:
            return
        self._file.change(lambda kept: replace(kept, photos={digest: text for digest, text in kept.photos.items() if digest in wanted}))

    def get(self, digest: str) -> bytes | None:
        """Return a picture, None where there is none of that digest. Raises StoreError."""
        text = self._photos().get(digest)
        return None if text is None else b64decode(text)

    def shown(self, found: Found) -> Found:
        """Return how a proving stands with its photographs, for a paper. Raises StoreError."""
        kept = self._photos()
        return replace(found, photos={digest: b64decode(kept[digest]) for digest in found.record.photos.values() if digest in kept})

    def _photos(self) -> Mapping[str, str]:
        try:
            found = self.path.stat()
        except OSError:
            return {}
        state = (found.st_mtime_ns, found.st_size, found.st_ino)
        with self._lock:
            if self._read[0] != state:
                self._read = (state, self._file.load().photos)
            return self._read[1]
