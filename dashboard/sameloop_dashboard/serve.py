"""Run Streamlit with our packages loaded beside it, before the first page asks for them."""

from __future__ import annotations

import importlib
import threading

from streamlit.web.cli import main

#: What the first answer needs; loading it takes longer than reading a ride.
_HEAVY = ("sameloop.run", "sameloop.study_file", "sameloop.report.charts", "sameloop.report.html")


def _load() -> None:
    for name in _HEAVY:
        importlib.import_module(name)


if __name__ == "__main__":
    threading.Thread(target=_load, daemon=True).start()
    main()
