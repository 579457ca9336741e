//! Integration tests: one binary, one module per subject.

mod acceptance;
mod access;
mod app;
mod append_only;
mod arrangements;
mod assistant;
mod audit;
mod bench;
mod browser;
mod by_slot;
mod causes;
mod chance;
mod chemistry;
mod connections;
mod coordinator;
mod counting;
mod course;
mod curve_form;
mod curve_slips;
mod demo;
mod department;
mod durable;
mod evidence;
mod fairness;
mod faults;
mod files;
mod full_disk;
mod gradebook_page;
mod guide;
mod hand_in;
mod hosting;
mod instrument;
mod kept_classes;
mod labels;
mod languages;
mod last_drop;
mod layering;
mod likeness;
mod line_slips;
mod live;
mod lti;
mod mail;
mod marking;
mod oneroster;
mod order;
mod outside;
mod own_file;
mod parsers;
mod prep;
mod properties;
mod provider;
mod proving;
mod reference;
mod rehearse;
mod revisions;
mod rules;
mod schemes;
mod sequential;
mod settling;
mod sharing;
mod simulated;
mod slips;
mod student;
mod student_slips;
mod tables;
mod taking_back;
mod tampering;
mod term_habits;
mod through_database;
mod ugly;
mod undecoded;
mod views;
mod web;
mod week;

/// A student's place in an experiment, by what people call the two.
fn slot(experiment: impl AsRef<str>, student: impl AsRef<str>) -> concordant::term::Slot {
    let student = concordant::ids::StudentId::new(student.as_ref());
    concordant::term::Slot::new(&key(experiment), &student)
}

fn key(experiment: impl AsRef<str>) -> concordant::ids::ExperimentKey {
    concordant::ids::ExperimentKey::new(experiment.as_ref())
}
