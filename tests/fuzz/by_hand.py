"""Fuzz one reader, guided by coverage; by hand, for it takes minutes.

    .venv/bin/pip install atheris
    .venv/bin/python tests/fuzz/by_hand.py TARGET [RUNS]

An input with any outcome but a good one or one clear sentence is kept in the folder of scratch
files that it names, once for each place in the code. An input that takes 30 s or 2 GB of memory
ends the run.
"""

from __future__ import annotations

import sys
import tempfile
import traceback
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parent))
with atheris.instrument_imports(include=["sameloop", "fitdecode", "metar", "tomllib"]):
    from targets import TARGETS, judge


def main() -> None:
    name, runs = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    target = TARGETS[name]
    scratch = Path(tempfile.mkdtemp(prefix=f"sameloop-fuzz-{name}-"))
    print(f"{name}: {runs} inputs; what it finds goes to {scratch}", flush=True)
    corpus = scratch / "corpus"
    corpus.mkdir()
    for number, seed in enumerate(target.seeds):
        (corpus / f"seed{number}").write_bytes(seed)
    words = scratch / "words"
    lines = ("".join(f"\\x{byte:02x}" for byte in word) for word in target.words)
    words.write_text("".join(f'"{line}"\n' for line in lines))
    seen: set[str] = set()

    def one(data: bytes) -> None:
        try:
            judge(target, data)
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)
            place = (
                f"{type(error).__name__} in {Path(frames[-1].filename).name}:{frames[-1].lineno}"
            )
            if place not in seen:
                seen.add(place)
                found = scratch / f"found-{len(seen)}"
                found.write_bytes(data)
                print(f"FOUND {place}: {error!s:.300}; input in {found}", flush=True)
                traceback.print_exc()

    options = [f"-runs={runs}", "-timeout=30", "-rss_limit_mb=2048", "-max_len=6000", "-seed=1"]
    options += [f"-dict={words}", f"-artifact_prefix={scratch}/", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *options, "-print_final_stats=1", str(corpus)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
