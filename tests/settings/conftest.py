"""Lets the tests of this folder, and those of rooms built on it, import `settings_dives`."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
