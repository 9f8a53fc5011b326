"""Makes the helpers beside the tests importable: pytest imports the tests themselves by file."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
