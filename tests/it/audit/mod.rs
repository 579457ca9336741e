//! The audit of the truth: the file, what crossed groups come to, and how often it is right on simulated terms.

mod crossed;
mod drift;
mod few;
mod file;
mod hands;
pub mod rehearsal;
mod sections;
mod shifts;
mod simulated;
mod standing_out;
