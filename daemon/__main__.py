"""`python -m cabinvigil.daemon` is the command `cabinvigil`."""

import sys

from cabinvigil.daemon.cli import main

sys.exit(main())
