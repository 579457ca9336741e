//! Concordant: marks titration practicals from raw readings.
//!
//! Modules in reading order. The pure ones come first: they know no database, web, clock or file, and their integer and
//! decimal arithmetic is checked, since a decimal operator panics on overflow and division by zero.

// rustfmt keeps the order within a group only
pub mod ids;

pub mod text;

#[deny(clippy::arithmetic_side_effects)]
pub mod language;

#[deny(clippy::arithmetic_side_effects)]
pub mod measure;

#[deny(clippy::arithmetic_side_effects)]
pub mod chem;

#[deny(clippy::arithmetic_side_effects)]
pub mod stats;

#[deny(clippy::arithmetic_side_effects)]
pub mod form;

#[deny(clippy::arithmetic_side_effects)]
pub mod procedure;

#[deny(clippy::arithmetic_side_effects)]
pub mod submission;

#[deny(clippy::arithmetic_side_effects)]
pub mod columns;

#[deny(clippy::arithmetic_side_effects)]
pub mod truth;

#[deny(clippy::arithmetic_side_effects)]
pub mod course;

#[deny(clippy::arithmetic_side_effects)]
pub mod workup;

#[deny(clippy::arithmetic_side_effects)]
pub mod schemes;

#[deny(clippy::arithmetic_side_effects)]
pub mod judge;

#[deny(clippy::arithmetic_side_effects)]
pub mod term;

#[deny(clippy::arithmetic_side_effects)]
pub mod changes;

#[deny(clippy::arithmetic_side_effects)]
pub mod simulate;

pub mod campus;

pub mod lti;

pub mod mail;

pub mod store;

pub mod files;

pub mod desk;

#[deny(clippy::arithmetic_side_effects)]
pub mod guide;
pub mod web;

pub mod words;

pub mod commands;
