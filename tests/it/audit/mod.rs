//! The audit of the truth: the file, what crossed groups come to, and how often it is right on simulated terms.

mod crossed;
mod file;
pub mod rehearsal;
mod sections;
mod simulated;
mod standing_out;
