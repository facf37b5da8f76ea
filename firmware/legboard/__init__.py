"""The board around the control core: what it reads, drives, keeps and says.

Runs on the board only, and is the only package that may import `machine`.
"""

# The version of all of hocklift: the package takes it from here.
VERSION = "0.1.0"
