"""What was asked of the comparison of units, as words, checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, get_args

from dryslate.app.community import Community, CommunitySettings, compare_communities
from dryslate.app.community_table import By, Kind
from dryslate.base.errors import SettingsError
from dryslate.core.survey.dispersion import Middle
from dryslate.core.survey.dissimilarity import Dissimilarity, Transform

if TYPE_CHECKING:
    from dryslate.app.ports import SurveyStore
    from dryslate.app.survey_records import Category

CHOICES: Mapping[str, Sequence[str]] = {
    "by": get_args(By),
    "kind": get_args(Kind),
    "measure": [str(one) for one in Dissimilarity],
    "transform": [str(one) for one in Transform],
    "middle": get_args(Middle),
}


def compare_as_asked(
    store: SurveyStore, asked: Mapping[str, Any], pairs: Sequence[str], usual: Sequence[Category]
) -> Community:
    """
    Compare units as words say.

    Parameters
    ----------
    store : SurveyStore
    asked : mapping
        Words for the fields of `CommunitySettings`.
    pairs : sequence of str
        ``SITE=GROUP``; with any, sites are compared by these groups.
    usual : sequence of Category

    Returns
    -------
    Community

    Raises
    ------
    SettingsError
        ``community-what`` for a word that is no choice.
    InputError
        ``community-site-unknown``.
    """
    for name, choices in CHOICES.items():
        word = asked.get(name)
        if word is not None and word not in choices:
            raise SettingsError(
                "community-what",
                f"{word} is no choice here.",
                f"Give one of {', '.join(choices)}.",
            )
    group_of = dict(_pair(pair) for pair in pairs)
    words = {**asked, "by": "group"} if group_of else dict(asked)
    if words["by"] == "group" and len(set(group_of.values())) < 2:
        raise SettingsError(
            "community-what",
            "Groups of sites are two at least.",
            "Give --group SITE=GROUP once for each site.",
        )
    settings = CommunitySettings(
        **{
            **words,
            "measure": Dissimilarity(words["measure"]),
            "transform": Transform(words["transform"]),
        },
        group_of=group_of,
        usual=usual,
    )
    return compare_communities(store, settings)


def _pair(text: str) -> tuple[str, str]:
    """Return a site and its group."""
    site, sign, group = text.partition("=")
    if not sign or not site.strip() or not group.strip():
        raise SettingsError(
            "community-what", f"{text} is no site with its group.", "Write SITE=GROUP."
        )
    return site.strip(), group.strip()
