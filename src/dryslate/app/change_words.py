"""Words of changes that pages need before anything is compared."""

from __future__ import annotations

LESS = "less"
"""Stands between impact and control sites where a row names its sites."""
SIZE_CHANGE = "geometric_mean_change_frac"
"""Geometric mean of the longest diameters at the later visit over the earlier, less 1."""
