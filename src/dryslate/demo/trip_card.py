"""The made-up trip's own card: printed, soaked, and measured wet."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from dryslate.core.card.definition import CardDefinition, Patch
from dryslate.demo.spectra import FloatArray, lab_of
from dryslate.demo.surfaces import PAINT_PIGMENTS, reflectance_for_lab, reflectance_in_water


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TripCard:
    """The team's printed card: what it says of itself, and what it really reflects in water."""

    stated: CardDefinition
    spectra: dict[str, FloatArray] = field(default_factory=dict)


def print_card(design: CardDefinition, seed: int) -> TripCard:
    """
    Print the team's card, soak it and measure it.

    Parameters
    ----------
    design : CardDefinition
        The field card as designed.
    seed : int

    Returns
    -------
    TripCard
        The print differs from the design (other pigments, a little off); its values in water
        are stated as a careful person would have measured them, each within about 0.5.
    """
    rng = np.random.default_rng([seed, 900])
    spectra: dict[str, FloatArray] = {}
    patches: list[Patch] = []
    for patch in design.patches:
        lightness, a, b = patch.lab_d65
        if patch.role == "neutral":
            aim = (lightness + float(rng.normal(0.0, 0.6)), 0.0, 0.0)
            if patch.twin_of and f"patch:{patch.twin_of}" in spectra:
                aim = (patch.lab_d65[0], 0.0, 0.0)
        else:
            shift = rng.normal(0.0, (1.5, 2.0, 2.0))
            aim = (
                float(np.clip(lightness + shift[0], 12, 92)),
                float(0.9 * a + shift[1]),
                float(0.9 * b + shift[2]),
            )
        dry = reflectance_for_lab(aim, PAINT_PIGMENTS)
        wet = reflectance_in_water(dry)
        if patch.twin_of and f"patch:{patch.twin_of}" in spectra:
            wet = spectra[f"patch:{patch.twin_of}"]
        spectra[f"patch:{patch.patch_id}"] = wet
        read = lab_of(wet) + rng.normal(0.0, (0.3, 0.35, 0.35))
        patches.append(
            replace(
                patch,
                lab_d65=(float(read[0]), float(read[1]), float(read[2])),
                lab_u=(0.3, 0.35, 0.35),
            )
        )
    ground = reflectance_in_water(reflectance_for_lab(design.ground_lab_d65, PAINT_PIGMENTS))
    spectra["ground"] = ground
    spectra["thumb"] = ground
    ground_lab = lab_of(ground)
    stated = replace(
        design,
        name=f"{design.name}-007",
        title="The made-up trip's own field card, measured wet",
        patches=tuple(patches),
        ground_lab_d65=(float(ground_lab[0]), float(ground_lab[1]), float(ground_lab[2])),
        status="measured",
        medium="water",
        serial="007",
        values_source="Made up with the demo: true values of the made print, read with doubt.",
        print_scale_u_frac=0.001,
    )
    return TripCard(stated=stated, spectra=spectra)
