"""Setting our typst templates: own fonts, same bytes each time, greys as device grey."""

from __future__ import annotations

import json
import re
from importlib import resources
from pathlib import Path
from typing import Any

from dryslate.base.errors import MissingPartError

_ICC_SPACE = re.compile(rb"(?m)^\d+ 0 obj\s+(\[/ICCBased (\d+) 0 R\])\s+endobj")


def typeset(template: str, data: dict[str, Any]) -> bytes:
    """
    Set one of this package's typst templates.

    Parameters
    ----------
    template : str
        File name within this package.
    data : dict
        JSON-able; the template reads it as ``sys.inputs.data``.

    Returns
    -------
    bytes
        A PDF; the same data give the same bytes.

    Raises
    ------
    MissingPartError
        ``grey-not-device`` if the greys could not be made device grey.
    """
    import matplotlib
    import typst

    source = resources.files("dryslate.documents") / template
    with resources.as_file(source) as source_path:
        pdf = bytes(
            typst.compile(
                str(source_path),
                sys_inputs={"data": json.dumps(data, sort_keys=True)},
                font_paths=[str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")],
                ignore_system_fonts=True,
            )
        )
    return make_grey_device(pdf)


def make_grey_device(pdf: bytes) -> bytes:
    """
    Turn the profiled grey of a PDF into device grey, so that printers use black ink alone.

    Parameters
    ----------
    pdf : bytes
        As typst writes it: grey is a colour space of its own with an embedded profile of one
        channel, which a printer's driver may translate to a mix of inks.

    Returns
    -------
    bytes
        The same document with that colour space named ``/DeviceGray``; nothing moves, since the
        new name is padded to the length of the old.

    Raises
    ------
    MissingPartError
        ``grey-not-device`` if there is no such colour space: the typesetter has changed.

    Notes
    -----
    ISO 32000-1, 8.6.4.2 (DeviceGray) and 8.6.5.5 (ICCBased; N is the number of channels).
    """
    out, n_done = bytearray(pdf), 0
    for match in _ICC_SPACE.finditer(pdf):
        profile = re.search(rb"(?m)^%d 0 obj\s+<<[^>]*/N 1\b" % int(match.group(2)), pdf)
        if profile is not None:
            out[slice(*match.span(1))] = b"/DeviceGray".ljust(len(match.group(1)))
            n_done += 1
    if n_done == 0:
        raise MissingPartError(
            "grey-not-device",
            "The greys of the document could not be made black ink alone: this version of the "
            "typesetter (typst) writes them in another way.",
            "Install the versions this program was released with (requirements.lock).",
        )
    return bytes(out)
