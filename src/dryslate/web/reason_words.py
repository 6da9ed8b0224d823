"""In a few words why photos or units wait for somebody: one to four words for each slug."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.web.languages import N_, catalogue

REASON_WORDS: Mapping[str, str] = {
    # photos that cannot be read
    "photo-truncated": N_("file breaks off"),
    "photo-empty": N_("empty file"),
    "photo-damaged": N_("damaged file"),
    "photo-missing": N_("file is gone"),
    "photo-unreadable": N_("file cannot be opened"),
    "photo-not-a-photo": N_("no photo inside"),
    "photo-unsupported": N_("kind of file not read"),
    "photo-too-large": N_("too large to read"),
    "photo-cmyk": N_("inks for print, no camera light"),
    "photo-grey": N_("grey only, no colour"),
    # photos without a card, or whose card gives no colour
    "correct-no-card": N_("no card in sight"),
    "card-one-marker": N_("only one marker seen"),
    "colour-twins-differ": N_("two copies of one grey differ"),
    "colour-no-red-signal": N_("no red light left"),
    "colour-no-signal": N_("a colour channel is empty"),
    "colour-ramp-not-monotone": N_("greys out of order"),
    "colour-too-few-patches": N_("too few patches seen"),
    "colour-too-uncertain": N_("colours too doubtful"),
    "colour-point-clipped": N_("point too bright or too dark"),
    "corners-outside": N_("corners outside the photo"),
    "corners-folded": N_("corners cross over"),
    "corners-on-a-line": N_("corners on one line"),
    "corners-wrong-order": N_("corners in the wrong order"),
    # units whose notes do not add up
    "cell-not-in-quadrat": N_("cell outside the quadrat"),
    "cell-sum": N_("cells do not make 100 %"),
    "point-off-its-place": N_("point off its place"),
    "point-twice": N_("point noted twice"),
    "row-blank": N_("line without an entry"),
    "row-category-unknown": N_("category in no list"),
    "row-count-negative": N_("count below zero"),
    "row-count-twice": N_("counted twice"),
    "row-cover-outside": N_("share outside 0 to 100 %"),
    "row-health-blank": N_("a share left blank"),
    "row-health-sum": N_("shares do not make 100 %"),
    "row-kind-not-of-design": N_("line of another way of sampling"),
    "row-read-and-unreadable": N_("both read and unreadable"),
    "row-size-across-longer": N_("wider than long"),
    "row-size-implausible": N_("a size that cannot be"),
    "row-size-not-positive": N_("a size of zero or less"),
    "unit-design-incomplete": N_("how it was sampled is not all said"),
    "unit-design-not-positive": N_("a size of the unit is zero or less"),
}
"""What the lists of the pages say instead of a slug; the link behind it explains at length."""


def reason_words(language: str, slug: str) -> str:
    """
    Say in a few words why something waits.

    Parameters
    ----------
    language : str
        Of the page.
    slug : str
        Of the first problem that stands in the way.

    Returns
    -------
    str
        The slug itself where it has no words of its own.

    Examples
    --------
    >>> reason_words("en", "photo-truncated"), reason_words("en", "new-slug")
    ('file breaks off', 'new-slug')
    """
    words = REASON_WORDS.get(slug)
    return catalogue(language).gettext(words) if words else slug
