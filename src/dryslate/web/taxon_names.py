"""Genus names of a project, for the pages: which words of a text are set in italics."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from dryslate import wiring
from dryslate.app.taxon_words import genus_names, italic_html
from dryslate.web.said import value

if TYPE_CHECKING:
    from dryslate.core.identify.taxa import TaxaData
    from dryslate.web.reach import Reach


def taxa_of(reach: Reach) -> TaxaData:
    """Return the genus data of this server's project, read once."""
    tables = wiring.reference_tables(reach.settings.project)
    return cast("TaxaData", reach.keep("taxa data", lambda: tables.taxa()[0]))


def genera_of(reach: Reach) -> frozenset[str]:
    """Return the genus names that are set in italics, worked out once."""
    taxa = taxa_of(reach)
    return cast("frozenset[str]", reach.keep("genus names", lambda: genus_names(taxa)))


@pass_context
def taxon(context: Context, text: Any) -> Markup:
    """Write a name with its genus, and an epithet, in italics."""
    words = value(context["language"], str(text), of_data=True)
    return Markup(italic_html(words, context["genus_names"](), is_name=True))


@pass_context
def genera(context: Context, text: Any) -> Markup:
    """Write a sentence with its genus names in italics."""
    return Markup(italic_html(str(text), context["genus_names"]()))
