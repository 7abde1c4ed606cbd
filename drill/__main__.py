"""`python -m drill` is the `drill` command."""

import sys

from drill.cli import main

sys.exit(main())
