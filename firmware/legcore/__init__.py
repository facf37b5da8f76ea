"""The control core: raw counts and switches in, drive for two legs out.

Integers only, no clock, no port, no exception inside the tick. The same files
run as native code on the board, as plain Python on a PC, and compiled by numba;
DEVELOPERS.md lists the rules that make that possible.
"""
