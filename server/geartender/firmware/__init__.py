"""The firmware: counts, controls and guards one servo.

Runs unchanged on the board, under the MicroPython unix interpreter and under CPython (in the simulator); imports
nothing of the service. `tick.py` is the part that the board compiles to machine code; everything else may be slow.
"""
