//! Forms that change the course: each a declaration of what is asked and of the changes that follow from it, looked at
//! and entered in one way.

mod course;
mod dates;
mod doubts;
mod experiment;
mod procedure;
mod record;
mod rules;
mod section_lots;
mod stated;
mod truth;

pub use course::CourseForm;
pub use dates::{ExperimentDates, SectionDates};
pub use doubts::doubts;
pub use experiment::{NewExperiment, course_form, course_of, procedure_titles};
pub use procedure::{ProcedureText, handed_in_by_procedure};
pub use record::{How, RecordForm, What, recorded, unit_of};
pub use rules::{RulesForm, rules_of};
pub use section_lots::SectionLotsForm;
pub use stated::{StatedForm, reagents};
pub use truth::ShowTruth;

use super::{Desk, Image};
use crate::changes::{Change, ChangeForm, Who};
use crate::form::{Faults, Field, Typed};
use crate::store::StoreError;
use crate::term::Term;

/// What a form would do.
pub struct Looked {
    pub changes: Vec<Change>,
    /// The field of the reason that it still wants.
    pub reason: Option<Field>,
    /// The fields that do it, with what they would replace.
    pub carried: Typed,
}

/// Why something was not done.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    #[error("{0}")]
    Fields(Faults),
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<Faults> for PrepareError {
    fn from(faults: Faults) -> Self {
        Self::Fields(faults)
    }
}

/// What a form would change; nothing is changed.
pub fn look(
    image: &Image,
    form: &dyn ChangeForm,
    typed: &Typed,
    who: Who<'_>,
) -> Result<Looked, Faults> {
    let term = &image.term;
    form.allowed(typed, term, &image.judged)?;
    let changes = form.changes(typed, term, who)?;
    let asked = form.form(term, typed);
    let reason = form.reason(&changes);
    let is_asked = |name: &str| {
        let name = name.trim_end_matches("[]");
        let known = asked.field(name).is_some() || asked.is_sent_by_button(name);
        known && name != "do" && reason.as_ref().is_none_or(|field| field.name != name)
    };
    let mut carried = form.carried(typed, &changes).only(is_asked);
    match form.seen(typed, term) {
        Some(seen) => carried.set("seen", seen),
        None if !doubts(term, &changes).is_empty() => carried.set("seen", ""),
        None => {}
    }
    Ok(Looked {
        changes,
        reason,
        carried,
    })
}

/// Does what a form asks, with nobody else at the desk. Returns how many of the changes are told.
pub async fn enter(
    desk: &Desk,
    form: &dyn ChangeForm,
    typed: &Typed,
    who: Who<'_>,
) -> Result<usize, PrepareError> {
    let mut told = 0;
    desk.apply_if(who.0, who.1, |image| -> Result<Vec<Change>, PrepareError> {
        let image = image.ok_or(StoreError::NoCourse)?;
        let term = &image.term;
        form.allowed(typed, term, &image.judged)?;
        let changes = form.changes(typed, term, who)?;
        is_as_seen(form, typed, term)?;
        if let Some(field) = form.reason(&changes)
            && typed.text(&field.name).is_empty()
        {
            let what = format!(
                "found nothing, expected a sentence that says {}",
                field.label.to_lowercase()
            );
            return Err(Faults::one(field.name, what).into());
        }
        let doubts = doubts(term, &changes);
        if !doubts.is_empty() && typed.one("seen").is_none() {
            // asked about once, on the page that shows what would change
            return Err(Faults::one("seen", doubts.join("; ")).into());
        }
        told = form.told(&changes);
        Ok(changes)
    })
    .await?;
    Ok(told)
}

/// Whether what the form would replace is still what somebody looked at.
fn is_as_seen(form: &dyn ChangeForm, typed: &Typed, term: &Term) -> Result<(), Faults> {
    let Some(now) = form.seen(typed, term) else {
        return Ok(());
    };
    match typed.one("seen") {
        None if !form.looks_first() => Ok(()),
        Some(seen) if seen == now => Ok(()),
        _ => Err(Faults::one(
            "seen",
            "found that it was changed since you looked at what this would change, expected it as you saw it; look \
             again",
        )),
    }
}

/// How many of them give a bottle a value.
fn values_among(changes: &[Change]) -> usize {
    let values = changes.iter().filter(|c| c.given_value().is_some());
    values.count()
}

/// What a reason is called that is wanted where a value is replaced.
fn reason_for_value(changes: &[Change]) -> Option<Field> {
    let replaces = |change: &Change| {
        let given = change.given_value();
        given.is_some_and(|given| given.version > 1)
    };
    let field = Field::text("reason", "Why the value changes")
        .hint("kept with the value; a later version can take it back")
        .wide();
    changes.iter().any(replaces).then_some(field)
}

fn reason_for_rules() -> Field {
    Field::text("reason", "Why it changes")
        .hint("kept with what stood before")
        .wide()
}
