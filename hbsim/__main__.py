"""`python -m hbsim` is the command `hbsim`."""

import sys

from .cli import main

sys.exit(main())
