"""What the regions of the genus data are called."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.web.languages import N_

REGIONS: Mapping[str, str] = {
    "indo_pacific": N_("Indo-Pacific"),
    "indian_ocean": N_("Indian Ocean"),
    "western_central_pacific": N_("Western and Central Pacific"),
    "eastern_pacific": N_("Eastern Pacific"),
    "atlantic": N_("Atlantic"),
    "western_atlantic": N_("Western Atlantic"),
    "eastern_atlantic": N_("Eastern Atlantic"),
}
"""By the name in the data, a region before its parts."""
