//! Integration tests: one binary, one module per subject.

mod course;
mod files;
mod reference;
mod revisions;
