//! Words of writing a formula.

use super::words;

words! {
    NEW_FORMULA = "New formula";
    NEW_FORMULA_LEAD = "From the bench sheet as it lies there: in percent, in grams, by volume or in parts. Nothing is kept before you save it.";
    EDIT_DRAFT = "Change the draft";
    COPY_TO_VERSION = "New version from this one";
    COPY_TO_FORMULA = "New formula from this one";
    WRITE_DRAFT = "Save the draft";
    WRITE_NEW_VERSION = "Keep mine as a new version";
    WRITE_OVER = "Write mine over it";
    THE_FORMULA = "The formula";
    FORMULA_CODE = "Code";
    MAKES_CODE = "Makes, by code";
    MAKES_HINT = "an intermediate or bulk; a new code is entered with the formula";
    MAKES_KIND = "A new one is";
    KIND_BULK = "a bulk, to be filled";
    KIND_INTERMEDIATE = "an intermediate, for other formulas";
    WRITTEN_AS = "Written in";
    IN_PERCENT = "percent by weight";
    IN_GRAMS = "grams of a bench sheet";
    BY_VOLUME = "by volume";
    IN_PARTS = "parts by weight";
    SHEET_TOTAL = "Its total";
    SHEET_TOTAL_HINT = "of a bench sheet (1000 g) or by volume (10 L)";
    THE_LINES = "The lines, in order of addition";
    THE_LINES_HELP = "A line left without material and amount does not count. A phase is a letter: lines of one phase are handled together.";
    LINE_AMOUNT = "Amount";
    LINE_KIND = "in";
    KIND_PERCENT = "% w/w";
    KIND_GRAM = "g";
    KIND_KILOGRAM = "kg";
    KIND_MILLILITRE = "mL";
    KIND_LITRE = "L";
    KIND_WV = "% w/v";
    KIND_VV = "% v/v";
    KIND_PARTS = "parts";
    KIND_QS = "q.s.";
    LINE_OF = "of it";
    OF_SUPPLIED = "as supplied";
    OF_ACTIVE = "active";
    LINE_FUNCTION = "Function";
    LINE_MORE = "Instruction, limits";
    LINE_INSTRUCTION = "What to do";
    LINE_TOLERANCE = "Weighing tolerance, ± %";
    LINE_TRIM = "Added until, as pH 5.75 to 6.25";
    LINE_STOP = "Stop at";
    LINE_LEAST = "At least, %";
    LINE_MOST = "At most, %";
    LINE_ADD = "Add a line";
    LINE_UP = "Move up";
    LINE_DOWN = "Move down";
    LINE_REMOVE = "Remove";
    THE_BATCH_OF = "Batch, losses, liquid";
    USUAL_BATCH_FIELD = "Usual batch";
    SMALLEST_BATCH = "Smallest batch";
    LARGEST_BATCH = "Largest batch";
    HEEL_FIELD = "Heel";
    HEEL_HINT = "what stays in vessel and hoses, kg";
    LOSS_FIELD = "Process loss, %";
    COST_PER_BATCH_FIELD = "Cost of one batch";
    COST_PER_BATCH_HINT = "labour, cleaning, tests in one figure";
    MAKING_KEPT = "The named costs of making, evaporation and samples stay as the version has them.";
    DENSITY_FIELD = "Density of the liquid";
    DENSITY_DAY = "Measured on";
    CELSIUS = "At, °C";
    SHELF_LIFE_FIELD = "Shelf life";
    SHELF_LIFE_HINT = "18 months, 2 years";
    KIND_BATCH = "kg, or with its unit";
    WANTED_MARGIN = "Margin wanted, %";
    WANTED_MARGIN_HINT = "to see what the liquid may cost; it is not kept";
    AS_IT_STANDS = "As it stands";
    NOT_READ = "It cannot be worked out yet:";
    NOT_READ_YET = "Nothing to work out yet";
    STALE = "These figures are of what was typed before; they could not be worked out anew.";
    LINES_TOTAL = "Lines add up to";
    THE_REST = "q.s. takes";
    ADDS_UP = "makes its total";
    MISSES = "misses its total";
    PUT_RIGHT = "Put it right";
    PUT_RIGHT_HELP = "Nothing is changed until you choose:";
    COSTS_THEN = "costs then, per kg";
    HEADROOM = "Headroom";
    LIQUID_MAY_COST = "The liquid may cost, per kg";
    HEADROOM_OVER = "over by";
    UNIT_COST_OF = "One unit costs";
    NO_PACK_YET = "No pack is filled with it yet, so there is no unit cost and no margin.";
    SHARE_OF_COST = "Share of cost";
    COST_IN_KG = "In one kg";
    CONFLICT = "Somebody else changed this draft while you did. Nothing of yours is lost: it stands below as you typed it.";
    CONFLICT_FIXED = "This version was approved or retired while you wrote. Nothing of yours is lost: keep it as a new version.";
    CONFLICT_DIFFERENCES = "What differs";
    CONFLICT_SAME = "The lines are the same; something else of the draft differs.";
    THEIRS = "Saved by them";
    YOURS = "Typed by you";
    READ_THEIRS = "Drop mine and read theirs";
    NO_LINE = "not there";
    AMOUNT_NEEDED = "say how much, or choose q.s.";
    NO_AMOUNT_FOR_QS = "q.s. takes what is left: leave the amount empty";
    KIND_UNKNOWN = "choose what the amount is in";
    TOTAL_NEEDED = "say what the lines should add up to";
    SEVERAL_OF_NAME = "several materials are called that; use the code";
    LINES_NONE = "there is no line yet";
}

/// What the amount of a line can be in.
pub(crate) const DRAFT_KINDS: [(&str, &str); 9] = [
    ("percent", KIND_PERCENT),
    ("g", KIND_GRAM),
    ("kg", KIND_KILOGRAM),
    ("ml", KIND_MILLILITRE),
    ("l", KIND_LITRE),
    ("wv", KIND_WV),
    ("vv", KIND_VV),
    ("parts", KIND_PARTS),
    ("qs", KIND_QS),
];

/// The words for what an amount is in.
pub(crate) fn draft_kind(kind: &str) -> &'static str {
    DRAFT_KINDS.iter().find(|(known, _)| *known == kind).map_or("", |(_, words)| words)
}

/// A line by its number.
pub(crate) fn line_number(number: usize) -> String {
    format!("Line {number}")
}

/// What a field of a line is, for those who cannot see where it stands.
pub(crate) fn line_field(number: usize, what: &str) -> String {
    format!("Line {number}: {what}")
}
