//! Categories, line items and results as tables.

use std::collections::HashMap;

use jiff::civil::Date;
use rust_decimal::Decimal;
use sha2::{Digest, Sha256};

use super::super::folder::Folder;
use super::super::gradebook::points;
use super::columns::columns;
use super::kept::kept_line_item;
use super::package::Version;
use crate::course::{Course, Experiment};
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Judged, Slot, Status, Term};
use crate::text::write_exchange;
use crate::words::hexadecimal;

/// A class whose results are written.
pub(super) struct Place {
    pub class: String,
    pub school: String,
    /// The section it is here.
    pub section: String,
    /// Grading period of each experiment, in course order.
    pub sessions: Vec<String>,
    /// Ids of the students here and as users there.
    pub students: Vec<(StudentId, String)>,
}

/// Names that stay the same from one export to the next and stand nowhere else: a UUID of version 8 (RFC 9562) from a
/// SHA-256 over the course and what is named.
pub(super) struct Names(String);

impl Names {
    pub fn of(course: &Course) -> Self {
        Self(format!("{}\n{}", course.title, course.term))
    }

    pub fn id(&self, what: &[&str]) -> String {
        let mut digest = Sha256::new();
        digest.update(self.0.as_bytes());
        for part in what {
            digest.update([0]);
            digest.update(part.as_bytes());
        }
        let mut bytes: Vec<u8> = digest.finalize().iter().take(16).copied().collect();
        for (place, keep, set) in [(6, 0x0f, 0x80), (8, 0x3f, 0x80)] {
            if let Some(byte) = bytes.get_mut(place) {
                *byte = *byte & keep | set;
            }
        }
        let hex = hexadecimal(&bytes);
        let group = |range: std::ops::Range<usize>| hex.get(range).unwrap_or_default();
        [
            group(0..8),
            group(8..12),
            group(12..16),
            group(16..20),
            group(20..32),
        ]
        .join("-")
    }
}

/// Writes `categories.csv`, `lineItems.csv` and `results.csv`.
pub(super) fn put(
    folder: &mut Folder,
    (version, names, today): (Version, &Names, Date),
    term: &Term,
    judged: &[(Slot, Judged)],
    places: &[Place],
) {
    let second = version == Version::V1p2;
    let category = names.id(&["category"]);
    let first = ["", "", "Laboratory"].map(str::to_owned);
    let mut row = vec![category.clone()];
    row.extend(first);
    row.extend(second.then(String::new));
    let of: HashMap<&Slot, &Judged> = judged.iter().map(|(slot, one)| (slot, one)).collect();
    let (mut items, mut results) = (Vec::new(), Vec::new());
    let mut ours = false;
    for place in places {
        for (experiment, session) in term.experiments.iter().zip(&place.sessions) {
            let theirs = kept_line_item(term, experiment, &place.class);
            let item = theirs.map_or_else(
                || names.id(&["line-item", &experiment.key, &place.class]),
                |one| one.sourced_id.clone(),
            );
            let category = theirs.map_or(&category, |one| &one.belongs_to);
            ours |= theirs.is_none();
            items.push(line_item(
                &item,
                experiment,
                place,
                (category, session),
                second,
            ));
            for (student, user) in &place.students {
                let slot = Slot::new(&experiment.key, student);
                if let Some(one) = of.get(&slot) {
                    let id = names.id(&["result", &experiment.key, student]);
                    let ids = [id, item.clone(), user.clone(), place.class.clone()];
                    let day = scored_on(term, &experiment.key, &place.section, today);
                    results.push(result(ids, one, day, second));
                }
            }
        }
    }
    if ours {
        put_table(folder, version, "categories.csv", vec![row]);
    }
    put_table(folder, version, "lineItems.csv", items);
    put_table(folder, version, "results.csv", results);
}

/// A table of ours with the columns the version gives it.
pub(super) fn put_table(
    folder: &mut Folder,
    version: Version,
    file: &'static str,
    rows: Vec<Vec<String>>,
) {
    let columns = columns(version, file).unwrap_or_default();
    folder.put(file, write_exchange(&columns, rows));
}

/// Writes the manifest: what is in the folder is there in bulk, all else absent.
pub(super) fn put_manifest(folder: &mut Folder, version: Version) {
    let mut rows = vec![
        ["manifest.version", "1.0"].map(str::to_owned).to_vec(),
        ["oneroster.version", version.name()]
            .map(str::to_owned)
            .to_vec(),
    ];
    for file in version.files() {
        let there = folder.get(&format!("{file}.csv")).is_some();
        let mode = if there { "bulk" } else { "absent" };
        rows.push(vec![format!("file.{file}"), mode.to_owned()]);
    }
    rows.push(
        ["source.systemName", "Concordant"]
            .map(str::to_owned)
            .to_vec(),
    );
    put_table(folder, version, "manifest.csv", rows);
}

fn line_item(
    id: &str,
    experiment: &Experiment,
    place: &Place,
    (category, session): (&str, &str),
    second: bool,
) -> Vec<String> {
    let most: Decimal = experiment.procedure.marking.possible();
    let dates = experiment.dates_in(&place.section);
    let mut row = vec![
        id.to_owned(),
        String::new(),
        String::new(),
        experiment.procedure.title.clone(),
        String::new(),
        dates.opens.date().to_string(),
        dates.due.date().to_string(),
        place.class.clone(),
        category.to_owned(),
        session.to_owned(),
        points(Decimal::ZERO),
        points(most),
    ];
    row.extend(second.then(|| place.school.clone()));
    row
}

fn result(
    [id, item, user, class]: [String; 4],
    judged: &Judged,
    day: Date,
    second: bool,
) -> Vec<String> {
    let marks = &judged.evaluation.marks;
    let status = match judged.status {
        Status::Clear | Status::Settled => "fully graded",
        // its points may still change
        Status::ToReview | Status::Returned => "partially graded",
    };
    let mut row = vec![
        id,
        String::new(),
        String::new(),
        item,
        user,
        status.to_owned(),
        points(marks.total),
        day.to_string(),
        String::new(),
    ];
    if second {
        let late = (marks.late > Decimal::ZERO).to_string();
        let no = || "false".to_owned();
        row.extend([String::new(), class, no(), no(), late, no()]);
    }
    row
}

/// The day of the release, in the course's zone; before that, the day of the export.
fn scored_on(term: &Term, experiment: &ExperimentKey, section: &str, today: Date) -> Date {
    let released = term.released_to(experiment, section);
    released.map_or(today, |at| term.course.zone.local(at).date())
}
