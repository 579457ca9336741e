//! The coordinator prepares a course: its experiments, people, lots and unknowns.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{Desk, FileTexts};
use crate::change::Change;
use crate::course::{Course, Experiment, SectionLots, Zone};
use crate::files;
use crate::ids::{ExperimentKey, SectionName};
use crate::procedure::{Dates, is_key};
use crate::store::{StoreError, Texts};
use crate::term::{ExperimentSource, Term};

/// Why something was not prepared: the field, what was found, what was expected.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// Fields at fault, each with its sentence.
    #[error("{}", .0.iter().map(|(field, what)| format!("{field}: {what}")).collect::<Vec<_>>().join("; "))]
    Fields(Vec<(&'static str, String)>),
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl PrepareError {
    /// One field at fault.
    pub fn new(field: &'static str, found: &str, expected: &str) -> Self {
        Self::Fields(vec![(
            field,
            format!("found \u{201c}{found}\u{201d}, expected {expected}"),
        )])
    }
}

/// Sets up a course in a database that has none.
pub async fn new_course(
    desk: &Desk,
    [title, term, zone]: [&str; 3],
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let course = course_of(title, term, zone)?;
    desk.apply_if(login, at, |image| match image {
        Some(image) => {
            let held = &image.term.course.title;
            Err(PrepareError::new(
                "title",
                held,
                "no course in the database yet",
            ))
        }
        None => Ok(vec![Change::Course(course)]),
    })
    .await?;
    Ok(())
}

/// A course from what was typed.
pub fn course_of(title: &str, term: &str, zone: &str) -> Result<Course, PrepareError> {
    let mut faults = Vec::new();
    let title = keep("title", words(title), &mut faults);
    let term = keep("term", words(term), &mut faults);
    let zone = keep("time_zone", Zone::new(zone.trim()), &mut faults);
    match (title, term, zone) {
        (Some(title), Some(term), Some(zone)) => Ok(Course { title, term, zone }),
        _ => Err(PrepareError::Fields(faults)),
    }
}

/// Adds an experiment by a procedure the course has or that is shipped, or changes the dates of one. Dates are local.
pub async fn new_experiment(
    desk: &Desk,
    typed: [&str; 4],
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(login, at, |image| {
        experiment_changes(&image.ok_or(StoreError::NoCourse)?.term, typed)
    })
    .await?;
    Ok(())
}

/// What has to change so that the term has such an experiment: key, procedure, local dates.
pub fn experiment_changes(
    term: &Term,
    [key, procedure, opens, due]: [&str; 4],
) -> Result<Vec<Change>, PrepareError> {
    let (key, procedure) = (ExperimentKey::new(key.trim()), procedure.trim().to_owned());
    let mut faults = Vec::new();
    if !is_key(&key) {
        let what =
            format!("found \u{201c}{key}\u{201d}, expected lower-case letters, digits and hyphens");
        faults.push(("key", what));
    }
    let opens = keep("opens", crate::text::local_time(opens), &mut faults);
    let due = keep("due", crate::text::local_time(due), &mut faults);
    if let (Some(opens), Some(due)) = (opens, due)
        && due <= opens
    {
        faults.push((
            "due",
            format!("found {due}, expected a time after it opens on {opens}"),
        ));
    }
    let (Some(opens), Some(due), true) = (opens, due, faults.is_empty()) else {
        return Err(PrepareError::Fields(faults));
    };
    let mut changes = Vec::new();
    let held = term.sources.procedures.get(&procedure).cloned();
    let text = match held {
        Some(text) => text,
        None => {
            let shipped = files::shipped_procedures()
                .into_iter()
                .find(|(key, _)| *key == procedure);
            let (key, text) = shipped.ok_or_else(|| {
                PrepareError::new(
                    "procedure",
                    &procedure,
                    "the key of a procedure of the course or a shipped one",
                )
            })?;
            changes.push(Change::Procedure {
                key,
                text: text.clone(),
            });
            text
        }
    };
    let old = term.experiment(&key);
    let source = match term.sources.experiments.get(&key) {
        Some(source) if source.procedure == procedure => source.clone(),
        _ => ExperimentSource {
            procedure: procedure.clone(),
            ..ExperimentSource::default()
        },
    };
    if old.is_some() && term.sources.experiments.get(&key).map(|s| &s.procedure) != Some(&procedure)
    {
        let handed_in = term.submissions.keys().any(|slot| slot.experiment == key);
        if handed_in {
            let what = "found another procedure, expected the one already handed in for".to_owned();
            return Err(PrepareError::Fields(vec![("procedure", what)]));
        }
    }
    let read = FileTexts.procedure(&text, &source, &term.glassware);
    let procedure = read.map_err(|why| PrepareError::Fields(vec![("procedure", why)]))?;
    let section_lots = old.map(|e| e.section_lots.clone()).unwrap_or_default();
    let section_dates = old.map(|e| e.section_dates.clone()).unwrap_or_default();
    let experiment = Experiment {
        key,
        procedure,
        dates: Dates { opens, due },
        section_lots,
        section_dates,
    };
    changes.push(Change::Experiment {
        experiment: Box::new(experiment),
        source,
    });
    Ok(changes)
}

/// Assigns the lots of an experiment to its sections: (section, titrant lot, excess lot), empty for none.
pub async fn assign_lots(
    desk: &Desk,
    key: &ExperimentKey,
    lots: BTreeMap<SectionName, SectionLots>,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let experiment = term.experiment(key);
        let experiment =
            experiment.ok_or_else(|| PrepareError::new("experiment", key, "one of the course"))?;
        let codes = lots
            .values()
            .flat_map(|l| [&l.titrant, &l.excess])
            .flatten();
        if let Some(unknown) = codes
            .into_iter()
            .find(|code| !term.lots.contains_key(*code))
        {
            return Err(PrepareError::new("lot", unknown, "a lot of the course"));
        }
        if experiment.section_lots == lots {
            return Ok(Vec::new());
        }
        let source = term
            .sources
            .experiments
            .get(key)
            .cloned()
            .unwrap_or_default();
        let experiment = Experiment {
            section_lots: lots,
            ..experiment.clone()
        };
        Ok(vec![Change::Experiment {
            experiment: Box::new(experiment),
            source,
        }])
    })
    .await?;
    Ok(())
}

/// A line of text that says something.
pub(super) fn words(text: &str) -> Result<String, String> {
    match crate::text::line_of_text(text)? {
        empty if empty.is_empty() => Err("found nothing, expected a word or more".to_owned()),
        text => Ok(text),
    }
}

pub(super) fn keep<T>(
    field: &'static str,
    read: Result<T, String>,
    faults: &mut Vec<(&'static str, String)>,
) -> Option<T> {
    read.map_err(|what| faults.push((field, what))).ok()
}
