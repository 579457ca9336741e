//! Tables of other people, taken as they are: any encoding, any separator, spreadsheets, headers of their own.

mod book;
mod cell;
mod columns;
mod grid;
mod open_document;
mod open_xml;
mod plain;
mod roster;

pub use cell::Odd;
pub use columns::{RosterColumns, RosterField};
pub use grid::{Grid, GridRow, read_grids};
pub use plain::{any_text, plain_csv};
pub use roster::{RosterFile, RosterRead, read_roster};
