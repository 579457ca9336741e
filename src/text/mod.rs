//! Text as files hold it, to checked values and back: cells, tables of comma-separated values, TOML tables, and what is
//! wrong with them.

mod cells;
mod curve_text;
mod exact;
mod fault;
mod known;
mod records;
mod table;
mod toml_table;

pub use cells::*;
pub use curve_text::{CurveText, read_curve};
pub(crate) use exact::exact;
pub use fault::*;
pub use known::Known;
pub(crate) use records::column;
pub use records::{
    RecordColumn, RecordFile, RecordRow, WrittenColumn, if_any, or_empty, write_columns,
};
pub use table::*;
pub use toml_table::*;
