//! Cost sheets as they are printed: each figure rounded once, and lines that add up to their total.
