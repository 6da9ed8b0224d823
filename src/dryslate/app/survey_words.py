"""Plain words for the reservations that figures of a survey carry."""

from __future__ import annotations

from collections.abc import Mapping

from dryslate.base.quality import Flag

SURVEY_FLAGS: Mapping[str, str] = {
    Flag.OF_THESE_PLOTS: "of these plots only",
    Flag.READING_ONLY: "doubt of this reading only",
    Flag.ONE_UNIT: "one unit: no interval",
    Flag.UPPER_LIMIT_ONLY: "nothing found: an upper limit only",
    Flag.LOWER_LIMIT_ONLY: "found everywhere: a lower limit only",
    Flag.NO_SPREAD: "all units alike",
    Flag.FEW_UNITS: "too few units for its interval",
    Flag.NO_SOUND_INTERVAL: "no interval held it often enough in simulations",
    Flag.BLANK_UNITS: "blank units left out",
    Flag.EMPTY_UNITS: "units without anything to examine left out",
    Flag.ZONE_WITHOUT_SPREAD: "a zone without spread: interval too narrow",
    Flag.COVERAGE_LOW: "interval held the truth too seldom in simulations",
    Flag.COVERAGE_HIGH: "interval wider than it need be",
    Flag.COVERAGE_NOT_SIMULATED: "outside what was simulated",
    Flag.WIDTH_MISSING: "width across the line missing",
    Flag.EDGE_READS_HIGH: "every colony touching was counted: reads high",
    Flag.EDGE_READS_LOW: "only colonies wholly inside were counted: reads low",
    Flag.EDGE_NOT_STATED: "edge rule not stated",
    Flag.JUVENILES_READ_LOW: "small colonies on photos: reads low",
    Flag.FEW_COLONIES: "fewer than 50 colonies",
    Flag.SIZES_CUT_OFF: "small colonies left out",
    Flag.SIZES_MISSING: "colonies without a size left out",
    Flag.CHOSEN_LEFT_OUT: "colonies tagged because they were stressed left out",
    Flag.MIX_NOT_COVERED: "the index has no class for some colonies: no number",
    Flag.NAME_IN_NO_LIST: "in no list, kept as written",
    Flag.COLONIES_TAKEN_AS_INDEPENDENT: "colonies taken as independent",
    Flag.HEAT_GAPS: "days without readings: reads low",
    Flag.HEAT_WINDOW_SHORT: "record shorter than 12 weeks",
    Flag.HEAT_OFFSET_NOT_STATED: "logger's offset not stated",
    Flag.DEPLOYMENT_NOT_STATED: "deployment times not stated",
    Flag.ONE_SITE_EACH: "one site each: the contrast alone",
    Flag.ADJUSTED_OUTSIDE: "corrected beyond what can be",
    Flag.RATES_FROM_ELSEWHERE: "by error rates from elsewhere, assumed to hold here",
    Flag.RATES_TAKEN_AS_EXACT: "error rates taken as exact: interval too narrow",
    Flag.OBSERVER_CHANGED: "nobody surveyed at both visits: observer or reef",
    Flag.OBSERVERS_NOT_IN_MODEL: "fewer than five observers: not in the model",
    Flag.MODEL_NOT_CONVERGED: "the model did not settle: do not use",
    Flag.VARIANCE_AT_ZERO: "a variance came out 0",
    Flag.UNPAIRED_UNITS_LEFT_OUT: "units seen once left out",
    Flag.ORDERS_CROSS: "above a lower order: too few units to extrapolate",
    Flag.NAMES_LEAVE_OPEN: "corals not told to genus could be all of this change",
    Flag.NAMES_AS_NOTED: "names as noted: second looks are not carried in",
    Flag.CATEGORIES_MAPPED: "categories of an earlier list brought to the newer",
    Flag.STRESS_HIGH: "stress over 0.2: do not read into the picture",
    Flag.ORDINATION_NOT_REPEATED: "reached by one start only: a better picture may exist",
    Flag.FEW_PERMUTATIONS: "too few ways to exchange: no p of 0.05 or less is possible",
    Flag.GROUPS_SPREAD_UNALIKE: "groups differ in spread",
    Flag.THINGS_NOT_SEARCHED: "names not searched for in every unit left out",
    Flag.NOT_SEARCHED: "not searched for: what was noted, reads low",
}

BY_LOOKS = "names as second looks settled them"
BY_TABLE = "names by a table from outside"
TOGETHER = "names that are corrected together"

FIGURE_WORDS: Mapping[str, str] = {
    "cover_frac": "Cover (share of what was read)",
    "cover_adjusted_frac": "Cover, corrected for misnaming",
    "density_adjusted_per_m2": "Density, corrected for misnaming (a square metre)",
    "count_adjusted_per_min": "Counts a minute, corrected for misnaming",
    "density_per_m2": "Colonies or animals per square metre",
    "count_per_min": "Counts per minute",
    "juvenile_density_per_m2": "Juveniles per square metre",
    "geometric_mean_cm": "Longest diameter, geometric mean (cm)",
    "cv_pct": "Longest diameter, coefficient of variation (%)",
    "log_sd": "Standard deviation of natural log size",
    "log_skewness": "Skewness of log size",
    "log_kurtosis": "Kurtosis of log size",
    "size_q10_cm": "Longest diameter that a tenth of colonies do not exceed (cm)",
    "size_q25_cm": "Longest diameter that a quarter of colonies do not exceed (cm)",
    "size_q50_cm": "Longest diameter, median (cm)",
    "size_q75_cm": "Longest diameter that three quarters of colonies do not exceed (cm)",
    "size_q90_cm": "Longest diameter that nine tenths of colonies do not exceed (cm)",
    "class_share_frac": "Share of colonies in a size class",
    "geometric_mean_change_frac": "Longest diameter, change of its geometric mean (share)",
    "geometric_mean_ratio": "Geometric mean size over that of the visit before",
    "prevalence_bleached_frac": "Colonies with any bleached part (share of those examined)",
    "prevalence_pale_or_bleached_frac": "Colonies with any pale or bleached part (share)",
    "prevalence_recently_dead_frac": "Colonies with any recently dead part (share)",
    "prevalence_old_dead_frac": "Colonies with any long dead part (share)",
    "prevalence_bleached_adjusted_frac": "Colonies with any bleached part, corrected for misnaming",
    "prevalence_pale_or_bleached_adjusted_frac": "Colonies with any pale or bleached part, "
    "corrected for misnaming",
    "prevalence_recently_dead_adjusted_frac": "Colonies with any recently dead part, "
    "corrected for misnaming",
    "prevalence_old_dead_adjusted_frac": "Colonies with any long dead part, "
    "corrected for misnaming",
    "bleached_of_live_frac": "Bleached share of live tissue",
    "partial_mortality_recent_frac": "Recently dead share of a colony, mean",
    "partial_mortality_old_frac": "Long dead share of a colony, mean",
    "prevalence_lesion_frac": "Colonies with a lesion (share of those looked at)",
    **{
        f"hill_q{order}_{where}": f"{number}, {words}"
        for order, number in enumerate(
            (
                "Genera (Hill number of order 0)",
                "Genera, exponential of Shannon's entropy (order 1)",
                "Genera, inverse Simpson (order 2)",
            )
        )
        for where, words in (
            ("at_survey", "in the units surveyed"),
            ("at_size", "in equal units"),
            ("at_coverage", "at equal coverage"),
        )
    },
    "sample_coverage_frac": "Coverage of genera by the survey",
    "richness_chao2": "Genera there are at least, Chao2 from units",
    "richness_chao1_classic": "Genera there are at least, Chao1 (classic) from colonies",
    "richness_chao1_bias_corrected": "Genera there are at least, Chao1 (bias-corrected)",
    "shannon_nat": "Shannon's entropy of the colonies (natural logarithm)",
    "gini_simpson_frac": "Gini-Simpson index of the colonies",
    "bleaching_index_seven_classes_pct": "Bleaching index of seven classes (0 to 100)",
}


def figure_words(figure: str) -> str:
    """
    Return a figure in plain words.

    Parameters
    ----------
    figure : str

    Returns
    -------
    str
        The figure's own name where it has no others.

    Examples
    --------
    >>> figure_words("cover_frac")
    'Cover (share of what was read)'
    """
    return FIGURE_WORDS.get(figure, figure)
