//! Integration tests.

mod app;
mod browser;
mod course;
mod files;
mod reference;
mod revisions;
mod web;
