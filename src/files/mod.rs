//! Course folders in and out, and the files of results: bytes to nouns and back.

mod cells;
mod fault;
mod folder;
mod glassware_file;
mod marking_file;
mod procedure_file;
mod shipped;
mod table;
mod toml_table;

pub use fault::Fault;
pub use folder::Folder;
pub use glassware_file::read_glassware;
pub use marking_file::{read_marking, read_trials};
pub use procedure_file::read_procedure;
pub use shipped::{demo_folder, shipped_glassware, shipped_procedure, shipped_procedures};
