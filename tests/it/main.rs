//! Integration tests: one binary, one module per subject.

mod audit;
mod course;
mod files;
mod reference;
mod revisions;
mod through_database;
