//! The coordinator prepares a course: its experiments, people, lots and unknowns; and releases its results.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rust_decimal::Decimal;

use super::{Desk, FileTexts, Image};
use crate::change::{Change, next_version};
use crate::course::{Course, Experiment, SectionLots, Student, Zone};
use crate::files;
use crate::procedure::{Dates, is_key};
use crate::store::{StoreError, Texts};
use crate::term::{ExperimentSource, Term};
use crate::truth::{Assigned, Lot, Sealed, Unknown};

/// Why something was not prepared: the field, what was found, what was expected.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// Fields at fault, each with its sentence.
    #[error("{}", .0.iter().map(|(field, what)| format!("{field}: {what}")).collect::<Vec<_>>().join("; "))]
    Fields(Vec<(&'static str, String)>),
    /// Not on disk.
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

/// A course from what was typed.
///
/// # Errors
/// [`PrepareError::Fields`]
pub fn course_of(title: &str, term: &str, zone: &str) -> Result<Course, PrepareError> {
    let mut faults = Vec::new();
    let title = keep("title", files::line_of_text(title), &mut faults);
    let term = keep("term", files::line_of_text(term), &mut faults);
    let zone = keep("time_zone", Zone::new(zone.trim()), &mut faults);
    match (title, term, zone) {
        (Some(title), Some(term), Some(zone)) => Ok(Course { title, term, zone }),
        _ => Err(PrepareError::Fields(faults)),
    }
}

/// Adds an experiment by a procedure the course has or that is shipped, or changes the dates of one. Dates are local.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn new_experiment(
    desk: &Desk,
    [key, procedure, opens, due]: [&str; 4],
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let [key, procedure] = [key.trim().to_owned(), procedure.trim().to_owned()];
    let mut faults = Vec::new();
    if !is_key(&key) {
        let what =
            format!("found \u{201c}{key}\u{201d}, expected lower-case letters, digits and hyphens");
        faults.push(("key", what));
    }
    let opens = keep("opens", files::local_time(opens), &mut faults);
    let due = keep("due", files::local_time(due), &mut faults);
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
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
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
        if old.is_some()
            && term.sources.experiments.get(&key).map(|s| &s.procedure) != Some(&procedure)
        {
            let handed_in = term.submissions.keys().any(|slot| slot.experiment == key);
            if handed_in {
                let what =
                    "found another procedure, expected the one already handed in for".to_owned();
                return Err(PrepareError::Fields(vec![("procedure", what)]));
            }
        }
        let read = FileTexts.procedure(&text, &source, &term.glassware);
        let procedure = read.map_err(|why| PrepareError::Fields(vec![("procedure", why)]))?;
        let section_lots = old.map(|e| e.section_lots.clone()).unwrap_or_default();
        let experiment = Experiment {
            key,
            procedure,
            dates: Dates { opens, due },
            section_lots,
        };
        changes.push(Change::Experiment {
            experiment: Box::new(experiment),
            source,
        });
        Ok(changes)
    })
    .await?;
    Ok(())
}

/// Assigns the lots of an experiment to its sections: (section, titrant lot, excess lot), empty for none.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn assign_lots(
    desk: &Desk,
    key: &str,
    lots: BTreeMap<String, SectionLots>,
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

/// Enters a lot, or another value for one (which then wants a reason).
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn new_lot(
    desk: &Desk,
    [code, reagent, molarity, uncertainty, reason]: [&str; 5],
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let mut faults = Vec::new();
    let code = keep("lot", files::code(code), &mut faults);
    let reagent = keep("reagent", files::line_of_text(reagent), &mut faults);
    let assigned = read_value(
        [("molarity", molarity), ("uncertainty", uncertainty)],
        &mut faults,
    );
    let (Some(code), Some(reagent), Some(molarity)) = (code, reagent, assigned) else {
        return Err(PrepareError::Fields(faults));
    };
    let reason = reason.trim().to_owned();
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        let old = term.lots.get(&code);
        if old.is_some_and(|old| old.molarity == molarity && old.reagent == reagent) {
            return Ok(Vec::new());
        }
        need_reason(old.is_some(), &reason)?;
        let version = next_version(old.map(|l| l.version));
        Ok(vec![Change::Lot {
            lot: Lot {
                code,
                reagent,
                molarity,
                version,
            },
            source: None,
            reason,
        }])
    })
    .await?;
    Ok(())
}

/// Enters an unknown of an experiment, or another value for one (which then wants a reason).
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn new_unknown(
    desk: &Desk,
    [experiment, code, value, uncertainty, reason]: [&str; 5],
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    let mut faults = Vec::new();
    let code = keep("unknown", files::code(code), &mut faults);
    let assigned = read_value(
        [("true_value", value), ("uncertainty", uncertainty)],
        &mut faults,
    );
    let (Some(code), Some(assigned)) = (code, assigned) else {
        return Err(PrepareError::Fields(faults));
    };
    let (experiment, reason) = (experiment.to_owned(), reason.trim().to_owned());
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let term = &image.ok_or(StoreError::NoCourse)?.term;
        if term.experiment(&experiment).is_none() {
            return Err(PrepareError::new(
                "experiment",
                &experiment,
                "an experiment of the course",
            ));
        }
        let old = term.unknowns.get(&experiment).and_then(|u| u.get(&code));
        if old.is_some_and(|old| *old.truth.open() == assigned) {
            return Ok(Vec::new());
        }
        need_reason(old.is_some(), &reason)?;
        let version = next_version(old.map(|u| u.version));
        let unknown = Unknown {
            code,
            truth: Sealed::new(assigned),
            version,
        };
        Ok(vec![Change::Unknown {
            experiment,
            unknown,
            source: None,
            reason,
        }])
    })
    .await?;
    Ok(())
}

/// What a roster would change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RosterPlan {
    /// Not on the roster yet.
    pub joining: Vec<Student>,
    /// On it with another name, section or address: before and after.
    pub altered: Vec<(Student, Student)>,
    /// On it already, just so.
    pub unchanged: usize,
    /// On the roster but not in the file; they stay.
    pub absent: Vec<Student>,
}

/// Compares a roster file with the roster.
#[must_use]
pub fn plan_roster(term: &Term, incoming: &[Student]) -> RosterPlan {
    let mut plan = RosterPlan::default();
    let known: BTreeMap<&str, &Student> =
        term.students.iter().map(|s| (s.id.as_str(), s)).collect();
    for student in incoming {
        match known.get(student.id.as_str()) {
            None => plan.joining.push(student.clone()),
            Some(old) if *old == student => plan.unchanged += 1,
            Some(old) => plan.altered.push(((*old).clone(), student.clone())),
        }
    }
    let named: BTreeSet<&str> = incoming.iter().map(|s| s.id.as_str()).collect();
    plan.absent = term
        .students
        .iter()
        .filter(|s| !named.contains(s.id.as_str()))
        .cloned()
        .collect();
    plan
}

impl RosterPlan {
    /// The changes that carry it out.
    #[must_use]
    pub fn changes(&self) -> Vec<Change> {
        let altered = self.altered.iter().map(|(_, after)| after);
        self.joining
            .iter()
            .chain(altered)
            .cloned()
            .map(Change::Student)
            .collect()
    }
}

/// Releases the results of an experiment to its students.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn release(
    desk: &Desk,
    experiment: &str,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    set_release(desk, experiment, Some(at), (login, at)).await
}

/// Withdraws the results of an experiment.
///
/// # Errors
/// [`PrepareError`]; then nothing changed.
pub async fn withdraw(
    desk: &Desk,
    experiment: &str,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    set_release(desk, experiment, None, (login, at)).await
}

async fn set_release(
    desk: &Desk,
    experiment: &str,
    released: Option<Timestamp>,
    (login, at): (&str, Timestamp),
) -> Result<(), PrepareError> {
    desk.apply_if(login, at, |image| -> Result<Vec<Change>, PrepareError> {
        let image: &Image = image.ok_or(StoreError::NoCourse)?;
        if image.term.experiment(experiment).is_none() {
            return Err(PrepareError::new(
                "experiment",
                experiment,
                "an experiment of the course",
            ));
        }
        if image.is_released(experiment) == released.is_some() {
            return Ok(Vec::new());
        }
        Ok(vec![Change::Release {
            experiment: experiment.to_owned(),
            at: released,
        }])
    })
    .await?;
    Ok(())
}

fn keep<T>(
    field: &'static str,
    read: Result<T, String>,
    faults: &mut Vec<(&'static str, String)>,
) -> Option<T> {
    read.map_err(|what| faults.push((field, what))).ok()
}

fn read_value(
    [(value_field, value), (u_field, u)]: [(&'static str, &str); 2],
    faults: &mut Vec<(&'static str, String)>,
) -> Option<Assigned> {
    let value: Option<Decimal> = keep(value_field, files::decimal(value), faults);
    let u: Option<Decimal> = keep(u_field, files::decimal(u), faults);
    let assigned = Assigned::new(value?, u?);
    assigned
        .map_err(|(what, why)| {
            faults.push((
                if what == "value" {
                    value_field
                } else {
                    u_field
                },
                why,
            ))
        })
        .ok()
}

fn need_reason(known: bool, reason: &str) -> Result<(), PrepareError> {
    if known && reason.is_empty() {
        return Err(PrepareError::Fields(vec![(
            "reason",
            "found nothing, expected a sentence that says why the value changes".to_owned(),
        )]));
    }
    Ok(())
}
