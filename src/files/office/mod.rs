//! Files of office programs as packages of parts: ISO/IEC 29500-2 (Office Open XML), OpenDocument 1.3 part 2.

pub mod formats;
pub mod formula;
mod kind;
mod package;
pub mod xml;

pub use kind::{no_table, no_table_within};
pub use package::{BookParts, Package, Unreadable};
