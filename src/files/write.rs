//! A term written as a course folder.

use super::arrangements::{write_issued, write_releases};
use super::bottles::{write_lots, write_unknowns};
use super::course_file::write_course;
use super::folder::Folder;
use super::hand_ins::{write_readings, write_reported};
use super::people::write_roster;
use super::prep_room::with_version;
use super::shelf::path_of;
use crate::term::Term;
use crate::truth::Bottle;

/// Writes everything a term holds, in canonical order. The folder read and written again is the same, byte by byte.
/// It holds true values: it is for the coordinator.
pub fn write_term(term: &Term) -> Folder {
    let mut folder = Folder::default();
    folder.put("course.toml", write_course(term));
    folder.put("roster.csv", write_roster(&term.students));
    let mut put = |path: &str, text: Option<String>| {
        if let Some(text) = text {
            folder.put(path, text);
        }
    };
    put("lots.csv", write_lots(term));
    put("unknowns.csv", write_unknowns(term));
    put("prep-room.toml", write_prep_room(term));
    put("glassware.toml", term.sources.glassware.clone());
    put("issued.csv", write_issued(term));
    put("reported.csv", write_reported(term));
    put("releases.csv", write_releases(term));
    for (name, text) in term.record_files() {
        put(name, Some(text));
    }
    for experiment in &term.experiments {
        let (key, procedure) = (&experiment.key, &experiment.procedure);
        put(
            &format!("readings/{key}.csv"),
            write_readings(term, key, procedure, false),
        );
        put(
            &format!("superseded/{key}.csv"),
            write_readings(term, key, procedure, true),
        );
    }
    for (key, text) in &term.sources.procedures {
        put(&path_of(key), Some(text.clone()));
    }
    folder
}

/// Records in order of code, unknowns in course order.
fn write_prep_room(term: &Term) -> Option<String> {
    let mut records: Vec<String> = Vec::new();
    for (code, record) in &term.sources.lots {
        if let Some(lot) = term.lots.get(code) {
            let life = term.shelf.get(&Bottle::Lot(code.clone()));
            records.push(with_version(record, lot.version, life));
        }
    }
    for experiment in &term.experiments {
        for (code, unknown) in term.unknowns.get(&experiment.key).into_iter().flatten() {
            let named = (experiment.key.clone(), code.clone());
            let record = term.sources.unknowns.get(&named);
            let life = term.shelf.get(&Bottle::unknown(&experiment.key, code));
            records.extend(record.map(|record| with_version(record, unknown.version, life)));
        }
    }
    (!records.is_empty()).then(|| records.join("\n"))
}
