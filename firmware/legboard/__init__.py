"""The board around the control core: what it reads, drives, keeps and says.

Runs on the board only, and is the only package that may import `machine`.
"""

VERSION = "0.1.0"
