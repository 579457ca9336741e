//! Concordant: marks titration practicals from raw readings.
//!
//! Modules in reading order. The pure ones come first: they know no database, web, clock or file.

// rustfmt keeps the order within a group only
pub mod measure;

pub mod chem;

pub mod stats;

pub mod procedure;

pub mod submission;

pub mod columns;

pub mod truth;

pub mod course;

pub mod workup;

pub mod judge;

pub mod term;

pub mod change;

pub mod invent;

pub mod store;

pub mod files;

pub mod desk;

pub mod web;

pub mod commands;
