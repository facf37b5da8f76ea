"""Let these tests use what the benchmarks use: the repository's top becomes importable."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
