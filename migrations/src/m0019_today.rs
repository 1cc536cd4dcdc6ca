//! Indexes for questions about today, so that they do not slow down as the past grows: the lots that hold something in the order in
//! which they are shown, and the tickets of a status in the order in which they are planned.
//!
//! The index of open tickets goes: its condition named the statuses, and SQLite, which plans a statement before it knows its
//! parameters, never used it.

crate::migration!("m0019_today", both: BOTH, sqlite: "", postgres: "");

const BOTH: &str = "
CREATE INDEX ix_lots_held ON lots (id) WHERE on_hand > 0;
CREATE INDEX ix_tickets_status ON tickets (status, planned_for, id);
DROP INDEX IF EXISTS ix_tickets_open;
";
