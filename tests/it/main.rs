//! Integration tests: one binary, one module per subject.

mod acceptance;
mod access;
mod app;
mod append_only;
mod assistant;
mod audit;
mod browser;
mod coordinator;
mod course;
mod demo;
mod durable;
mod files;
mod hand_in;
mod layering;
mod marking;
mod outside;
mod parsers;
mod properties;
mod reference;
mod revisions;
mod settling;
mod slips;
mod student;
mod through_database;
mod web;
mod week;
