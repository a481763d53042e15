"""Starts the program when the board starts. It lies at the top of the board's files; the others in the folder `firmware`.

A file `maintain` keeps the program from starting, so that files can be copied. New files are on trial: a file `trial` becomes
`tried` at the first start, the program removes that once a host has greeted it, and a second start that finds it goes to rest.
"""

import os

MAINTAIN, TRIAL, TRIED = "maintain", "trial", "tried"

found = os.listdir()
if MAINTAIN not in found and TRIED in found:
    os.rename(TRIED, MAINTAIN)
elif MAINTAIN not in found:
    if TRIAL in found:
        os.rename(TRIAL, TRIED)
    from firmware.board import main

    main()
