"""What a diver would note of each coral of the made-up trip, slips and all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryslate.core.identify.evidence import Evidence, Size
from dryslate.core.identify.observer import ErrorRates, error_of, nearness_of, unclear_of
from dryslate.core.identify.taxa import TaxaData

LOOKED_FRAC = 0.85
"""Share of a coral's characters that an observer looks at."""
SIZE_MEASURE = {
    "plocoid": "corallite_diameter",
    "cerioid": "corallite_diameter",
    "meandroid": "valley_width",
}
"""What the size of a corallite is called, by form; other forms show no calice of true size."""

_PLAIN = ("growth_form", "corallite_arrangement")
_ALL = {"attachment": "attached", "coloniality": "colonial", "polyps_by_day": "retracted"}
_SHOWN: dict[str, dict[str, str]] = {
    "Dipsastraea": {
        "growth_form": "massive", "corallite_arrangement": "plocoid", "corallite_relief": "raised",
        "wall": "separate", "coenosteum": "costate", "columella": "spongy",
        "septal_margin": "fine_teeth", "axial_corallite": "absent", "paliform_lobes": "absent",
        "septa_count": "about_24", "septa_exsert": "slightly", "elevations": "none",
    },
    "Favites": {
        "growth_form": "massive", "corallite_arrangement": "cerioid", "wall": "shared",
        "coenosteum": "none", "columella": "spongy", "septal_margin": "fine_teeth",
        "axial_corallite": "absent", "paliform_lobes": "absent", "septa_count": "over_24",
        "septa_exsert": "slightly", "corallite_relief": "flush",
    },
    "Goniastrea": {
        "growth_form": "massive", "corallite_arrangement": "cerioid", "wall": "shared",
        "coenosteum": "none", "columella": "spongy", "paliform_lobes": "present",
        "axial_corallite": "absent", "septal_margin": "fine_teeth", "septa_count": "about_24",
        "septa_exsert": "slightly", "corallite_relief": "flush",
    },
    "Platygyra": {
        "growth_form": "massive", "corallite_arrangement": "meandroid", "wall": "shared",
        "coenosteum": "none", "columella": "spongy", "paliform_lobes": "absent",
        "axial_corallite": "absent", "septal_margin": "fine_teeth", "septa_confluent": "yes",
        "septa_exsert": "slightly", "tissue": "thin",
    },
    "Acropora": {
        "growth_form": "branching", "corallite_arrangement": "axial_radial",
        "axial_corallite": "present", "corallite_relief": "tubular", "wall": "porous",
        "columella": "absent", "septa_count": "up_to_12", "coenosteum": "costate",
        "elevations": "none", "paliform_lobes": "absent",
    },
    "Montipora": {
        "growth_form": "laminar", "corallite_arrangement": "scattered_immersed",
        "axial_corallite": "absent", "corallite_relief": "immersed", "wall": "porous",
        "columella": "absent", "septa_count": "up_to_12", "coenosteum": "reticulate",
        "elevations": "none", "paliform_lobes": "absent",
    },
    "Cyphastrea": {
        "growth_form": "massive", "corallite_arrangement": "plocoid", "corallite_relief": "raised",
        "wall": "separate", "coenosteum": "granular_spiny", "septa_count": "about_24",
        "axial_corallite": "absent", "septal_margin": "fine_teeth", "paliform_lobes": "absent",
        "septa_exsert": "slightly", "elevations": "none",
    },
    "Diploastrea": {
        "growth_form": "massive", "corallite_arrangement": "plocoid", "corallite_relief": "raised",
        "coenosteum": "none", "columella": "spongy", "septa_count": "about_24",
        "septa_exsert": "slightly", "axial_corallite": "absent", "paliform_lobes": "absent",
        "septal_margin": "fine_teeth",
    },
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """
    One coral as one observer noted it.

    Parameters
    ----------
    colony : str
    observer : str
    evidence : Evidence
    slips : tuple of str
        Characters that were noted wrongly.
    """

    colony: str
    observer: str
    evidence: Evidence
    slips: tuple[str, ...]


def look_at(
    colony: Mapping[str, object],
    observer: str,
    size: Size | None,
    taxa: TaxaData,
    rng: np.random.Generator,
) -> Sighting:
    """
    Note what a diver would see of a coral, as the renderer made it.

    Slips and looks that tell nothing come as often as the model expects of a trained observer.

    Parameters
    ----------
    colony : Mapping
        Of the trip's truth: its ``colony``, ``genus`` and ``form``.
    observer : str
    size : Size or None
        Mean corallite as measured in a photo.
    taxa : TaxaData
        For the words of each character.
    rng : numpy.random.Generator
        Decides what is looked at, what cannot be told, and the slips.

    Returns
    -------
    Sighting
    """
    shown = {**_ALL, **_SHOWN[str(colony["genus"])]}
    seen: dict[str, frozenset[str]] = {}
    unclear, slips = set(), []
    rates = ErrorRates()
    for name, true_state in shown.items():
        character = taxa.characters[name]
        looked, told, right = rng.random(3)
        if name not in _PLAIN and looked > LOOKED_FRAC:
            continue
        if name not in _PLAIN and told < unclear_of(character, rates):
            unclear.add(name)
            continue
        state = true_state
        if right < error_of(character, rates):
            states = list(character.states)
            towards = nearness_of(character, taxa)[states.index(true_state)]
            state = states[int(rng.choice(len(states), p=towards))]
            slips.append(name)
        seen[name] = frozenset({state})
    measure = SIZE_MEASURE.get(str(colony["form"]))
    return Sighting(
        colony=str(colony["colony"]),
        observer=observer,
        evidence=Evidence(
            region="indo_pacific",
            seen=seen,
            unclear=frozenset(unclear),
            sizes={measure: size} if measure is not None and size is not None else {},
        ),
        slips=tuple(slips),
    )
