//! Tables of other people, taken as they are: any encoding, any separator, spreadsheets, headers of their own.

mod book;
mod columns;
mod grid;
mod open_document;
mod plain;
mod roster;

pub use columns::{RosterColumns, RosterField};
pub use grid::{Grid, GridRow, read_grids};
pub use plain::{any_text, plain_csv};
pub use roster::{RosterFile, RosterRead, read_roster};
