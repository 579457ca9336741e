//! Integration tests: one binary, one module per subject.

mod audit;
mod course;
mod files;
mod layering;
mod reference;
mod revisions;
mod through_database;
