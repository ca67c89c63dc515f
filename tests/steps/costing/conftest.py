"""The plan made by hand stands beside the tests of outputs."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[2] / "outputs"))
