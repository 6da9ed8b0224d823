"""Random fields that repeat at their edges: bumps, mottling, the play of light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def fractal_field(rng: np.random.Generator, n: int, slope: float = 1.8, low: float = 2.0) -> Field:
    """
    A periodic field with a power-law spectrum, mean 0 and standard deviation 1, shape (n, n).

    `slope` is how fast the amplitude falls with frequency; `low` the longest wave, as waves
    across the tile.
    """
    f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.rfftfreq(n)[None, :]) * n
    amplitude = np.where(f >= low, 1.0 / np.maximum(f, 1.0) ** slope, 0.0)
    return _shaped(rng, n, amplitude)


def band_field(rng: np.random.Generator, n: int, waves: float, spread: float = 0.12) -> Field:
    """A periodic field of about `waves` waves across the tile, mean 0, deviation 1, (n, n)."""
    f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.rfftfreq(n)[None, :]) * n
    return _shaped(rng, n, np.exp(-0.5 * ((f - waves) / (spread * waves)) ** 2))


def _shaped(rng: np.random.Generator, n: int, amplitude: NDArray[np.float64]) -> Field:
    """White noise given an amplitude spectrum."""
    spectrum = np.fft.rfft2(rng.standard_normal((n, n))) * amplitude
    field = np.fft.irfft2(spectrum, s=(n, n))
    field -= field.mean()
    return (field / max(float(field.std()), 1e-12)).astype(np.float32)


def caustic_pattern(rng: np.random.Generator, n: int, waves: float, contrast: float) -> Field:
    """
    Bright wandering lines as waves at the surface throw on the bottom; mean 1, shape (n, n).

    `contrast` 0 is flat light, about 0.25 what one sees at 4 m on a sunny day.
    """
    if contrast <= 0:
        return np.ones((n, n), np.float32)
    one = np.abs(band_field(rng, n, waves, 0.3)) + 0.35 * np.abs(band_field(rng, n, 2 * waves, 0.3))
    lines = np.exp(-one * 2.2)
    lines = (lines - lines.mean()) / lines.std()
    pattern = np.clip(1.0 + contrast * lines, 0.25, 3.5)
    return np.asarray(pattern / pattern.mean(), dtype=np.float32)
