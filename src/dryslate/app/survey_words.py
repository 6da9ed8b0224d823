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
    Flag.STRESS_HIGH: "stress over 0.2: do not read into the picture",
    Flag.ORDINATION_NOT_REPEATED: "reached by one start only: a better picture may exist",
    Flag.FEW_PERMUTATIONS: "too few ways to exchange: no p of 0.05 or less is possible",
    Flag.GROUPS_SPREAD_UNALIKE: "groups differ in spread",
}
