"""``python -m forecaster``: the command line, where the installed command is not on the path."""

import sys

from forecaster.commands import main

if __name__ == "__main__":
    sys.exit(main())
