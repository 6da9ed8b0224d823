"""
Correct a photo with general-purpose libraries: JPEG in, corrected JPEG out.

`bench/speed.py` runs this as a subprocess in an environment of its own (requirements-bench.lock),
one chain a process; it prints one JSON line. Every chain reads and writes with the fast codec that
dryslate uses, and takes the 24-patch target in the photo as its reference. No preview, metadata or
doubt is asked of it.
"""

from __future__ import annotations

import json
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import simplejpeg

STRIP = 256
Found = np.ndarray | None


def srgb_decode(coded: np.ndarray) -> np.ndarray:
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def srgb_encode(linear: np.ndarray) -> np.ndarray:
    linear = np.clip(linear, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def patches_by_segmentation(img_srgb: np.ndarray) -> Found:
    """Linear patch means found by segmentation, on the image handed in."""
    from colour_checker_detection import detect_colour_checkers_segmentation

    linear = srgb_decode(img_srgb.astype(np.float32) / np.float32(255))
    found = detect_colour_checkers_segmentation(linear, additional_data=True)
    return np.asarray(found[0].swatch_colours, np.float64) if found else None


def patches_by_chart(img_srgb: np.ndarray) -> Found:
    """Linear patch means found by OpenCV's chart finder, on the image handed in."""
    detector = cv2.mcc.CCheckerDetector_create()
    if not detector.process(np.ascontiguousarray(img_srgb[..., ::-1])):
        return None
    table = np.asarray(detector.getBestColorChecker().getChartsRGB(), np.float64)
    # One row a patch and channel; its second column is the mean (0 to 255).
    means = table.reshape(-1, table.shape[-1])
    means = means[:, 1].reshape(24, 3) if means.shape[0] == 72 else means[:24, :3]
    return srgb_decode(means / 255.0)


def quarter(img: np.ndarray) -> np.ndarray:
    for _ in range(2):
        size = (img.shape[1] // 2, img.shape[0] // 2)
        img = cv2.resize(img, size, interpolation=cv2.INTER_AREA)
    return img


def whole_frame(img: np.ndarray, seen: np.ndarray, reference: np.ndarray, method: str) -> Any:
    """Correct the whole frame at once, as the library's documentation shows."""
    import colour

    linear = srgb_decode(img / 255.0)
    more = {"degree": 2} if method == "Finlayson 2015" else {}
    corrected = colour.colour_correction(linear, seen, reference, method, **more)
    return np.rint(255.0 * srgb_encode(corrected)).astype(np.uint8)


def in_strips(img: np.ndarray, seen: np.ndarray, reference: np.ndarray, method: str) -> Any:
    """Correct in strips of float32 with a table in front: what a careful user would write."""
    import colour

    fit = colour.characterisation.matrix_colour_correction(seen, reference, method, degree=2)
    fit = fit.astype(np.float32)
    table = srgb_decode(np.arange(256) / 255.0).astype(np.float32)
    grid = np.linspace(0, 1, 4096)
    codes = np.rint(255.0 * srgb_encode(grid)).astype(np.uint8)
    out = np.empty_like(img)
    expand = colour.characterisation.polynomial_expansion_Finlayson2015
    for y in range(0, img.shape[0], STRIP):
        rows = table[img[y : y + STRIP]].reshape(-1, 3)
        mixed = expand(rows, 2, True).astype(np.float32) @ fit.T
        index = np.clip(mixed * np.float32(4095) + np.float32(0.5), 0, 4095).astype(np.uint16)
        out[y : y + STRIP] = codes[index].reshape(out[y : y + STRIP].shape)
    return out


def by_model(img: np.ndarray, seen: np.ndarray, reference: np.ndarray, _: str) -> Any:
    """OpenCV's own colour model, fitted and applied as its documentation shows."""
    coded = srgb_encode(seen).reshape(24, 1, 3)
    target = srgb_encode(reference).reshape(24, 1, 3)
    model = cv2.ccm.ColorCorrectionModel(coded, target, cv2.ccm.COLOR_SPACE_SRGB)
    model.setRGB(
        False
    )  # in 5.0 this means that the picture itself is RGB; checked on known colours
    model.setCcmType(cv2.ccm.CCM_LINEAR)
    model.setDistance(cv2.ccm.DISTANCE_CIE2000)
    model.setLinearization(cv2.ccm.LINEARIZATION_GAMMA)
    model.setLinearizationGamma(2.2)
    model.compute()
    corrected = model.correctImage(img.astype(np.float32) / np.float32(255))
    return np.rint(255.0 * np.clip(corrected, 0, 1)).astype(np.uint8)


Chain = tuple[Callable[[np.ndarray], Found], bool, Callable[..., Any], str]
CHAINS: dict[str, Chain] = {
    "segmentation + colour-science, Cheung (documented)": (
        patches_by_segmentation,
        False,
        whole_frame,
        "Cheung 2004",
    ),
    "segmentation + colour-science, Finlayson (documented)": (
        patches_by_segmentation,
        False,
        whole_frame,
        "Finlayson 2015",
    ),
    "chart finder + colour model of OpenCV (documented)": (patches_by_chart, False, by_model, ""),
    "segmentation at 1/4 + colour-science strips (tuned)": (
        patches_by_segmentation,
        True,
        in_strips,
        "Finlayson 2015",
    ),
    "chart finder at 1/4 + colour model of OpenCV (tuned)": (patches_by_chart, True, by_model, ""),
    "chart finder at 1/4 + colour-science strips (tuned)": (
        patches_by_chart,
        True,
        in_strips,
        "Finlayson 2015",
    ),
}


def correct(path: Path, out: Path, chain: Chain, reference: np.ndarray) -> bool:
    """One photo through one chain; False where the target is not found."""
    find, is_small, apply, method = chain
    img = simplejpeg.decode_jpeg(path.read_bytes(), "RGB")
    seen = find(quarter(img) if is_small else img)
    if seen is None:
        return False
    corrected = apply(img, seen, reference, method)
    out.write_bytes(simplejpeg.encode_jpeg(np.ascontiguousarray(corrected), 92, "RGB", "444"))
    return True


def main() -> None:
    warnings.simplefilter("ignore")
    request = json.loads(sys.argv[1])
    cv2.setNumThreads(1)
    chain = CHAINS[request["chain"]]
    reference = np.array(request["reference_linear"])
    out = Path(request["out"])
    runs, is_found = [], []
    for i in range(request["repeats"] + 1):
        for photo in request["photos"]:
            start = time.process_time(), time.perf_counter()
            found = correct(Path(photo), out, chain, reference)
            run = time.process_time() - start[0], time.perf_counter() - start[1]
            if i > 0:  # the first round warms up
                runs.append(run)
                is_found.append(found)
    status = Path("/proc/self/status").read_text("ascii").splitlines()
    peak = next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))
    answer = {"runs": runs, "found": is_found, "peak_mb": peak}
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
