//! `invent`: an invented course folder.

use std::path::Path;

use jiff::civil::date;

use super::Failure;
use crate::course::{Course, Zone};
use crate::files;
use crate::ids::{ExperimentKey, SectionName};
use crate::procedure::Dates;
use crate::simulate::copying::Copying;
use crate::simulate::{Plan, PlannedExperiment, invent};

/// Day of October on which the week of the last experiment begins.
const LAST_WEEK: i8 = 19;

/// Writes the folder.
pub fn run(folder: &Path, sections: usize, students: usize, seed: u64) -> Result<(), Failure> {
    let glassware = files::shipped_glassware();
    let zone = Zone::new("Atlantic/Reykjavik").map_err(Failure::Other)?;
    let shipped = files::shipped_procedures();
    let planned =
        |key: &str, week: i8, prefix: &str, missing: usize| -> Result<PlannedExperiment, Failure> {
            let text = shipped
                .iter()
                .find(|(known, _)| known == key)
                .map(|(_, text)| text.clone());
            let text = text.ok_or_else(|| {
                Failure::Other(format!("found no shipped procedure {key}, expected one"))
            })?;
            let procedure =
                files::read_procedure(key, &text, &glassware).map_err(Failure::Faults)?;
            // the last experiment is under way, the others are over
            let open = week == LAST_WEEK;
            let under_review = prefix == "W";
            let day = if open { week + 11 } else { week + 4 };
            let dates = Dates {
                opens: date(2026, 10, week).at(8, 0, 0, 0),
                due: date(2026, 10, day).at(17, 0, 0, 0),
            };
            let (key, prefix) = (key.to_owned(), prefix.to_owned());
            Ok(PlannedExperiment {
                key: ExperimentKey::new(key.as_str()),
                procedure: (key, text, procedure),
                dates,
                prefix,
                unknowns: 12,
                missing,
                open,
                // the one that waits for review has a badly made bottle, and a shared page
                bad_bottle: under_review.then_some((6, 3.0)),
                copying: Vec::from_iter(under_review.then_some(Copying::Shifted)),
            })
        };
    let plan = Plan {
        course: Course {
            title: "Quantitative Laboratory Practice, Ostermere College".into(),
            term: "autumn 2026".into(),
            zone,
            language: crate::language::Language::default(),
        },
        sections: (0..sections)
            .map(section_name)
            .map(SectionName::new)
            .collect(),
        students_per_section: students,
        experiments: vec![
            planned("naoh-against-khp", 5, "N", 0)?,
            planned("well-water-hardness", 12, "W", 2)?,
            planned("eggshell-carbonate", LAST_WEEK, "E", 6)?,
        ],
        seed,
    };
    let term = invent(&plan, glassware).ok_or_else(|| {
        let what = "found a procedure that cannot be carried out, expected a result of each";
        Failure::Other(what.into())
    })?;
    files::write_term(&term)
        .write(folder)
        .map_err(|fault| Failure::Faults(vec![fault]))?;
    println!("{}", folder.display());
    Ok(())
}

/// A, B, …, Z, then S27 and on.
fn section_name(index: usize) -> String {
    let letter = u8::try_from(index)
        .ok()
        .and_then(|i| b'A'.checked_add(i))
        .filter(u8::is_ascii_uppercase);
    letter.map_or_else(
        || format!("S{}", index + 1),
        |letter| char::from(letter).to_string(),
    )
}
