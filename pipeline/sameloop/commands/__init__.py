"""The commands, one a file; heavy packages are loaded by the command that needs them.

A command has `WORDS` (what it does, for the help), `add_options(parser)` and `run(args)`. Its name
is that of its file.
"""

from sameloop.commands import (
    batch,
    check,
    compare,
    dashboard,
    demo,
    laps,
    new,
    plan,
    report,
    scrub,
    simulate,
    worth,
)

#: In the order of the help.
COMMANDS = (demo, simulate, new, check, laps, compare, plan, report, dashboard, worth, batch, scrub)
