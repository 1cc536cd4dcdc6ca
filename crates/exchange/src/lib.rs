//! Placeholder; see DEVELOPERS.md.
