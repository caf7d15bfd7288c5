"""``python -m tapfall``: the command line where its script is not on the path."""

import sys

from tapfall.cli import main

sys.exit(main())
