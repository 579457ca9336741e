//! One simulated class for everything that needs one: whether a procedure can be marked fairly, how often slips, copies
//! and bad bottles are found, the invented courses of demonstrations and load tests, and the tests.
//!
//! From the bottom up: `hands` is what people do, `student` one of them at the bench, `supplies` what the prep room
//! made, `mistakes`, `arithmetic` and `copying` what goes wrong, `class` and `course` whole terms, `slips`, `singles`,
//! `sections` and `fairness` what came of them, `table` the rows that are printed. Everything is drawn from a seed.

pub mod arithmetic;
mod calibration;
// counts of people and places, which cannot overflow
#[allow(clippy::arithmetic_side_effects)]
pub mod class;
pub mod copying;
#[allow(clippy::arithmetic_side_effects)]
mod course;
mod curve;
mod fairness;
pub mod hands;
mod mistakes;
mod people;
mod remedies;
mod report;
#[allow(clippy::arithmetic_side_effects)]
pub mod sections;
#[allow(clippy::arithmetic_side_effects)]
pub mod singles;
mod slips;
mod student;
pub mod supplies;
#[allow(clippy::arithmetic_side_effects)]
pub mod table;
mod way;
pub mod why;

pub use course::{Plan, PlannedExperiment, invent};
pub use fairness::{Expected, Fairness, fairness};
pub use mistakes::Mistake;
pub use remedies::{Remedy, remedies};
pub use report::check_report;
pub use slips::{Confusion, Count, confusion};
pub use student::simulate;
