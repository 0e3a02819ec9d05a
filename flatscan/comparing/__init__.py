"""Two measurements of one floor, before the work and after it: what changed, what passes now, what is still open."""

from flatscan.comparing.comparing import compare_floors
from flatscan.comparing.comparison import Comparison
from flatscan.comparing.kept import Kept, kept_of
from flatscan.comparing.measured import Measured, PlannedArea

__all__ = ["Comparison", "Kept", "Measured", "PlannedArea", "compare_floors", "kept_of"]
