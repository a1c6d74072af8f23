"""The files of the bench page, each with its right type; only what lies in the folder is served.

A name is looked up in the list of the folder's files, never joined to a path, so no name can
lead out of it.
"""

import hashlib
from dataclasses import dataclass
from pathlib import Path

PAGE = Path(__file__).parent / "page"
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/x-icon",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
    ".wav": "audio/wav",
    ".mp3": "audio/mpeg",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}


@dataclass(frozen=True)
class Asset:
    """One file as it is served: its bytes, its type, and a tag that changes with its content."""

    body: bytes
    content_type: str
    etag: str


class Assets:
    """The files of a folder by name, read again when they have changed on the disk."""

    def __init__(self, folder: Path = PAGE):
        self.folder = folder
        self._read: dict[str, tuple[tuple[int, int], Asset]] = {}

    def get(self, name: str) -> Asset | None:
        """The file of that name, None where there is none or its type is not one we serve."""
        path = self._paths().get(name)
        if path is None:
            return None
        stat = path.stat()
        stamp = (stat.st_mtime_ns, stat.st_size)
        known = self._read.get(name)
        if known is None or known[0] != stamp:
            known = self._read[name] = (stamp, _read(path))
        return known[1]

    def _paths(self) -> dict[str, Path]:
        return {
            path.relative_to(self.folder).as_posix(): path
            for path in self.folder.rglob("*")
            if path.suffix in TYPES and path.is_file() and not path.is_symlink()
        }


def _read(path: Path) -> Asset:
    body = path.read_bytes()
    return Asset(body, TYPES[path.suffix], f'"{hashlib.sha256(body).hexdigest()[:32]}"')
