"""``python -m bandgen``."""

import sys

from bandgen.cli import main

sys.exit(main())
