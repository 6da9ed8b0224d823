"""The made-up trip's two cameras."""

from __future__ import annotations

from dataclasses import dataclass

from dryslate.demo.cameras import COMPACT, MIRRORLESS, CameraModel, WhiteBalance


@dataclass(frozen=True, slots=True, kw_only=True)
class TripCamera:
    """One of the team's cameras: how it sees, how it is set, and what it writes in a file."""

    make: str
    model: str
    serial: str
    sees: CameraModel
    white_balance: WhiteBalance
    contrast: float
    saturation: float
    k1: float
    has_offset: bool
    has_depth: bool


ONE = TripCamera(
    make="Made-up Cameras",
    model="First",
    serial="A0001",
    sees=COMPACT,
    white_balance=WhiteBalance(mode="custom", custom_depth_m=5.0, gain_limit=2.2),
    contrast=0.22,
    saturation=1.06,
    k1=0.012,
    has_offset=True,
    has_depth=True,
)
TWO = TripCamera(
    make="Made-up Cameras",
    model="Second",
    serial="B0002",
    sees=MIRRORLESS,
    white_balance=WhiteBalance(mode="daylight"),
    contrast=0.30,
    saturation=1.0,
    k1=-0.010,
    has_offset=False,
    has_depth=False,
)
