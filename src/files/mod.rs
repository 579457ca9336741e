//! Course folders in and out, and the files of results: bytes to nouns and back.
//!
//! A [`Folder`] is files in memory. [`read_term`] turns one into a [`crate::term::Term`] or names every fault of every
//! file; [`write_term`] turns a term into a folder that reads as the same term. Beside the files of the contract a
//! folder may hold `glassware.toml` (pieces of the laboratory's own), `superseded/KEY.csv` (earlier revisions: the
//! columns of the readings, then `revision`, `reason` and `confirmed`), `decisions.csv`, `releases.csv`, `notes.csv`
//! (what students and staff said), `extensions.csv` and `amendments.csv` (what was arranged and replaced). The last column of readings may be `instrument`, the number on the burette.
//!
//! A text cell that a spreadsheet would run as a formula is written with an apostrophe in front; reading takes it off.

mod arrangements;
mod audit_file;
mod bottles;
mod calendar;
mod course_file;
mod fill;
mod flags_file;
mod folder;
mod glassware_file;
mod gradebook;
mod hand_ins;
mod marking_file;
mod office;
pub mod oneroster;
mod own_file;
mod people;
mod prep_record;
mod prep_room;
mod procedure_file;
mod procedure_text;
mod read;
mod readings_file;
mod record_text;
mod results;
mod separator;
mod set_aside;
mod sheet;
mod shelf;
mod shipped;
pub mod tables;
mod tidy;
mod workbook;
mod write;
mod zipped;

pub use audit_file::audit_csv;
pub use bottles::read_value_lines;
pub use calendar::{CalendarOf, calendar};
pub use fill::{FillChoice, FillPlan, FilledCell, IdKind, Points};
pub use flags_file::flags_csv;
pub use folder::Folder;
pub use glassware_file::read_glassware;
pub use gradebook::{Dialect, FreeText, gradebook_csv, gradebook_xlsx};
pub use marking_file::{read_marking, read_trials, write_marking, write_trials};
pub use own_file::OwnFile;
pub use people::{read_roster_file, write_roster};
pub use prep_room::{PrepRoom, read_prep_records};
pub use procedure_file::read_procedure;
pub use read::{read_term, read_term_set_aside};
pub use record_text::{RecordText, record_entries};
pub use results::{outputs, results_csv};
pub use separator::Separator;
pub use set_aside::{AsideRow, set_aside_csv};
pub use sheet::{Filling, Sheet, column_named};
pub use shipped::{demo_folder, shipped_glassware, shipped_procedure, shipped_procedures};
pub use tidy::Tidy;
pub use write::write_term;
pub use zipped::{pack, unpack};
