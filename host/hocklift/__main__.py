"""Start the command line by `python -m hocklift`."""

import sys

from hocklift.cli import main

sys.exit(main())
