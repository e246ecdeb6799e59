"""`python -m rig` is `platepull`."""

import sys

from rig.cli import main

sys.exit(main())
