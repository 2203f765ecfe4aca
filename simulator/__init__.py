"""The simulator: an invented fleet of concentrators, their physics and their faults. It is never evidence."""

from pathlib import Path
from typing import Final

#: The site file of the demo's hospital.
HOSPITAL: Final = Path(__file__).parent / "hospital.toml"
