//! The OneRoster CSV exchange of 1EdTech, an open standard, versions 1.1 and 1.2: rosters in, line items and results
//! out, in bulk. Names of columns and their order come from secondary sources (`columns.rs` says which).
//!
//! A delta exchange, which sends only what changed, is refused by name: a roster is compared with ours as a whole.

mod columns;
mod export;
mod package;
mod results;
mod roster;
mod session;

pub use columns::columns;
pub use export::{Export, export};
pub use package::Version;
pub use roster::{RosterChoice, StudentKey, read_roster_package};
