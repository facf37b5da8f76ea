"""The arithmetic of choosing parts: pure functions over floats, each with its source.

SI units, named at the end of every name. `sources.SOURCES` holds what the square brackets in
the docstrings refer to.
"""
