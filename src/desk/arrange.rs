//! What a coordinator arranges while the term is running: dates of sections, longer time or a make-up for one student,
//! another bottle.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::prepare::{keep, words};
use super::{Desk, PrepareError};
use crate::change::Change;
use crate::course::{Experiment, SectionDates, Student};
use crate::ids::{ExperimentKey, SectionName, UnknownCode};
use crate::store::StoreError;
use crate::term::{Extension, Reissue, Slot, Term};

/// Dates of a section as typed: its name, when it opens, when it is due; nothing where it goes with the others.
pub type TypedDates = (String, String, String);

/// Longer time or a make-up for one student, as typed.
#[derive(Clone, Debug, Default)]
pub struct TypedExtension {
    /// Id of the student.
    pub student: String,
    /// Due then, local; empty: when the section is.
    pub due: String,
    /// The section they make it up with; empty: their own.
    pub section: String,
    pub reason: String,
}

/// Another bottle for one student, as typed.
#[derive(Clone, Debug, Default)]
pub struct TypedReissue {
    /// Id of the student.
    pub student: String,
    /// Code of the bottle; empty: the one least often given out.
    pub unknown: String,
    pub reason: String,
}

/// Makes changes that follow from the course as it stands when nobody else is at the desk. Returns how many.
pub async fn arrange(
    desk: &Desk,
    (login, at): (&str, Timestamp),
    changes: impl FnOnce(&Term) -> Result<Vec<Change>, PrepareError>,
) -> Result<usize, PrepareError> {
    let written = desk
        .apply_if(login, at, |image| {
            changes(&image.ok_or(StoreError::NoCourse)?.term)
        })
        .await?;
    Ok(written.map_or(0, |written| written.receipts.len()))
}

/// What has to change so that sections have these dates. Sections that are not named keep theirs.
pub fn section_date_changes(
    term: &Term,
    key: &ExperimentKey,
    typed: &[TypedDates],
) -> Result<Vec<Change>, PrepareError> {
    let experiment = experiment(term, key)?;
    let mut section_dates = experiment.section_dates.clone();
    let mut faults = Vec::new();
    for (section, opens, due) in typed {
        if !term.sections().contains(&section.as_str()) {
            return Err(PrepareError::new(
                "section_dates",
                section,
                "a section of the roster",
            ));
        }
        let mut read = |name: &str, text: &str| match text.trim() {
            "" => None,
            text => crate::text::local_time(text)
                .map_err(|what| faults.push(format!("{section}, {name}: {what}")))
                .ok(),
        };
        let own = SectionDates {
            opens: read("opens", opens),
            due: read("due", due),
        };
        if own == SectionDates::default() {
            section_dates.remove(section.as_str());
        } else {
            section_dates.insert(SectionName::new(section.as_str()), own);
        }
        let all = Experiment {
            section_dates: section_dates.clone(),
            ..experiment.clone()
        };
        let dates = all.dates_in(section);
        if dates.due <= dates.opens {
            let (opens, due) = (dates.opens, dates.due);
            faults.push(format!(
                "{section}, due: found {due}, expected a time after it opens on {opens}"
            ));
        }
    }
    if !faults.is_empty() {
        return Err(PrepareError::Fields(vec![(
            "section_dates",
            faults.join("; "),
        )]));
    }
    if section_dates == experiment.section_dates {
        return Ok(Vec::new());
    }
    let source = term.sources.experiments.get(key).cloned();
    Ok(vec![Change::Experiment {
        experiment: Box::new(Experiment {
            section_dates,
            ..experiment.clone()
        }),
        source: source.unwrap_or_default(),
    }])
}

/// What has to change so that a student has other dates, or (with neither date nor section) those of before again.
pub fn extension_changes(
    term: &Term,
    key: &ExperimentKey,
    typed: &TypedExtension,
    (login, at): (&str, Timestamp),
) -> Result<Vec<Change>, PrepareError> {
    let experiment = experiment(term, key)?;
    let mut faults = Vec::new();
    let student = keep("student", enrolled(term, &typed.student), &mut faults);
    let reason = keep("reason", words(&typed.reason), &mut faults);
    let due = match typed.due.trim() {
        "" => None,
        text => keep("due", crate::text::local_time(text), &mut faults),
    };
    let section = Some(typed.section.trim()).filter(|name| !name.is_empty());
    if let Some(name) = section
        && !term.sections().contains(&name)
    {
        let what = format!("found \u{201c}{name}\u{201d}, expected a section of the roster");
        faults.push(("section", what));
    }
    if let (Some(student), Some(name)) = (student, section)
        && student.section == name
    {
        let what = format!("found {name}, the student's own, expected another section or none");
        faults.push(("section", what));
    }
    let held = student.and_then(|s| term.extension(&Slot::new(key, &s.id)));
    let nothing = typed.due.trim().is_empty() && section.is_none();
    if nothing && student.is_some() && held.is_none() {
        let what = "found neither a date nor a section, expected one or both".to_owned();
        faults.push(("due", what));
    }
    if let (Some(student), Some(due)) = (student, due) {
        let opens = experiment
            .dates_in(section.unwrap_or(&student.section))
            .opens;
        if due <= opens {
            let what = format!("found {due}, expected a time after it opens on {opens}");
            faults.push(("due", what));
        }
    }
    let (Some(student), Some(reason), true) = (student, reason, faults.is_empty()) else {
        return Err(PrepareError::Fields(faults));
    };
    Ok(vec![Change::Extend {
        slot: Slot::new(key, &student.id),
        extension: Extension {
            due,
            section: section.map(SectionName::new),
            reason,
            by: login.to_owned(),
            at: Some(at),
        },
    }])
}

/// What has to change so that a student has another bottle.
pub fn reissue_changes(
    term: &Term,
    key: &ExperimentKey,
    typed: &TypedReissue,
    (login, at): (&str, Timestamp),
) -> Result<Vec<Change>, PrepareError> {
    experiment(term, key)?;
    let mut faults = Vec::new();
    let student = keep("student", enrolled(term, &typed.student), &mut faults);
    let reason = keep("reason", words(&typed.reason), &mut faults);
    let held = student.map(|s| term.issued.get(&Slot::new(key, &s.id)));
    let held = match held {
        Some(None) => {
            let what = "found no bottle, expected one: deal the bottles out first".to_owned();
            faults.push(("student", what));
            None
        }
        held => held.flatten(),
    };
    let unknown = held.and_then(|held| {
        let chosen = match typed.unknown.trim() {
            "" => least_given(term, key, held),
            code => another(term, key, held, code),
        };
        keep("unknown", chosen, &mut faults)
    });
    let (Some(student), Some(reason), Some(held), Some(unknown)) = (student, reason, held, unknown)
    else {
        return Err(PrepareError::Fields(faults));
    };
    Ok(vec![Change::Reissue {
        slot: Slot::new(key, &student.id),
        reissue: Reissue {
            unknown,
            instead_of: held.clone(),
            reason,
            by: login.to_owned(),
            at,
        },
    }])
}

fn another(
    term: &Term,
    key: &ExperimentKey,
    held: &str,
    code: &str,
) -> Result<UnknownCode, String> {
    let known = term.unknowns.get(key).and_then(|all| all.get(code));
    let found = || format!("found \u{201c}{code}\u{201d}");
    match known {
        None => Err(format!(
            "{}, expected an unknown of the experiment",
            found()
        )),
        Some(_) if code == held => Err(format!("{}, which they have, expected another", found())),
        Some(unknown) => Ok(unknown.code.clone()),
    }
}

/// The bottle least often given out that is not the one held.
fn least_given(term: &Term, key: &ExperimentKey, held: &str) -> Result<UnknownCode, String> {
    let codes = term.unknowns.get(key).into_iter().flat_map(BTreeMap::keys);
    let given = |code: &UnknownCode| {
        let issued = term.issued.iter();
        let to = issued.filter(|(slot, given)| slot.experiment == key && *given == code);
        to.count()
    };
    let least = codes
        .filter(|code| *code != held)
        .min_by_key(|code| given(code));
    least
        .cloned()
        .ok_or_else(|| format!("found only {held}, expected another unknown of the experiment"))
}

pub(super) fn experiment<'t>(
    term: &'t Term,
    key: &ExperimentKey,
) -> Result<&'t Experiment, PrepareError> {
    let expected = "an experiment of the course";
    let found = term.experiment(key);
    found.ok_or_else(|| PrepareError::new("experiment", key, expected))
}

/// A student of the course by their id, or by their id and name as pages write it: “0042 Fennimore, Ada”.
fn enrolled<'t>(term: &'t Term, typed: &str) -> Result<&'t Student, String> {
    let typed = typed.trim();
    let by = |s: &&Student| s.id == typed || format!("{} {s}", s.id) == typed;
    let found = format!("found \u{201c}{typed}\u{201d}");
    match term.students.iter().find(by) {
        Some(student) if student.is_enrolled() => Ok(student),
        Some(_) => Err(format!(
            "{found}, who has left, expected a student on the course"
        )),
        None => Err(format!(
            "{found}, expected the id of a student on the roster"
        )),
    }
}
