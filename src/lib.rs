//! Concordant: marks titration practicals from raw readings.
//!
//! Modules in reading order. The pure ones come first: they know no database, web, clock or file.

pub mod change;
pub mod chem;
pub mod columns;
pub mod course;
pub mod desk;
pub mod judge;
pub mod measure;
pub mod procedure;
pub mod stats;
pub mod store;
pub mod submission;
pub mod term;
pub mod truth;
pub mod web;
pub mod workup;
