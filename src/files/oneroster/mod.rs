//! The OneRoster CSV exchange of 1EdTech, an open standard, versions 1.1 and 1.2: rosters in, line items and results
//! out, in bulk. Names of columns and their order come from secondary sources (`columns.rs` says which).
//!
//! What an exchange calls students, classes, sessions and line items is kept when a roster comes in (`kept.rs`), so that
//! results go back under the same names. Then neither users nor classes are sent: a file in bulk is the whole of what
//! there is, and who receives ours would take everybody else off. Enrolments are named by nothing that is sent.
//!
//! A delta exchange, which sends only what changed, is refused by name: a roster is compared with ours as a whole.

mod columns;
mod export;
mod kept;
mod package;
mod results;
mod roster;
mod session;

pub use columns::columns;
pub use export::{Export, export};
pub use kept::read_exchange;
pub use package::Version;
pub use roster::{RosterChoice, StudentKey, read_roster_package};
