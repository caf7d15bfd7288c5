"""``python -m tapfall.cli``."""

import sys

from tapfall.cli import main

sys.exit(main())
