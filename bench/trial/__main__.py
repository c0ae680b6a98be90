"""`python -m trial` beside the folder of benchmarks."""

import sys

from . import main

raise SystemExit(main(sys.argv[1:]))
