"""Read every recorded file and list the outcome; by hand, when a reader changes on purpose.

``python tests/data/list_outcome.py`` rewrites ``real_files.csv``, which the tests compare with,
and the table in ``docs/real_files.md``. Look at the difference before you commit it.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pandas as pd
from fetch import fetch, recorded_files

from sameloop.errors import RideFileError
from sameloop.ingest.read import parse_ride
from sameloop.ingest.ride import Ride

LIST = Path(__file__).parent / "real_files.csv"
PAGE = Path(__file__).parents[2] / "docs" / "real_files.md"


def outcome(content: bytes) -> dict[str, object]:
    """Return what reading gave, as plain values."""
    try:
        ride = parse_ride(content, name="file")
    except RideFileError as error:
        return {"result": f"refused: {error.problem}"}
    return {
        "records": len(ride.samples),
        "seconds": round(
            (ride.samples["time"].iloc[-1] - ride.samples["time"].iloc[0]).total_seconds()
        ),
        "power": _share(ride, "power"),
        "speed": _share(ride, "speed"),
        "position": _share(ride, "latitude"),
        "altitude": _share(ride, "altitude"),
        "laps": len(ride.laps),
        "pauses": len(ride.pauses),
        "result": "; ".join(["read", *(f"{item.count} × {item.reason}" for item in ride.dropped)]),
    }


def _share(ride: Ride, channel: str) -> float:
    return round(float(ride.samples[channel].notna().mean()), 3)


def main() -> None:
    """Rewrite the list and the page."""
    rows = []
    seen = set()
    for kind, content in recorded_files(fetch()):
        sha256 = hashlib.sha256(content).hexdigest()
        if sha256 not in seen:
            rows.append(
                {"number": len(rows) + 1, "sha256": sha256, "format": kind, **outcome(content)}
            )
            seen.add(sha256)
    table = pd.DataFrame(rows)
    whole = ["records", "seconds", "laps", "pauses"]
    table[whole] = table[whole].astype("Int64")
    table.to_csv(LIST, index=False)
    lines = ["| " + " | ".join(table.columns.drop("sha256")) + " |"]
    lines.append("|" + "---|" * (len(table.columns) - 1))
    for row in table.drop(columns="sha256").astype(object).itertuples(index=False):
        lines.append("| " + " | ".join("" if pd.isna(cell) else str(cell) for cell in row) + " |")
    block = "<!-- table -->\n" + "\n".join(lines) + "\n<!-- end of table -->"
    page = PAGE.read_text(encoding="utf-8")
    page = re.sub(r"<!-- table -->.*<!-- end of table -->", lambda _: block, page, flags=re.DOTALL)
    PAGE.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
