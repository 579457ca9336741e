//! When an experiment opens and is due: for everybody, and for sections that go their own way.

use crate::changes::{Change, ChangeForm, Who, as_field, experiment, experiment_as};
use crate::course::{Experiment, SectionDates as OwnDates};
use crate::form::{Faults, Field, Form, Read, Typed};
use crate::ids::{ExperimentKey, SectionName};
use crate::procedure::Dates;
use crate::term::Term;

/// The dates of one experiment, by its key.
pub struct ExperimentDates(pub ExperimentKey);

/// The dates of its sections.
pub struct SectionDates(pub ExperimentKey);

/// The fields of when something opens and is due.
pub(super) fn date_fields() -> Vec<Field> {
    vec![
        Field::local_time("opens", "Opens").needed(),
        Field::local_time("due", "Due").needed(),
    ]
}

/// What those fields say; a due date has to come after it opens.
pub(super) fn read_dates(read: &mut Read<'_>) -> Option<Dates> {
    let (opens, due) = read.local_time("opens").zip(read.local_time("due"))?;
    if due <= opens {
        let what = format!("found {due}, expected a time after it opens on {opens}");
        read.fault("due", what);
    }
    Some(Dates { opens, due })
}

impl ChangeForm for ExperimentDates {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let zone = term.course.zone.name();
        Form::of(date_fields())
            .note(format!(
                "By the clocks of {zone}. What is handed in already is marked anew by a changed due date."
            ))
            .enter("Change the dates")
            .look("See first what it would change")
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let dates = term.experiment(&self.0).map(|experiment| experiment.dates);
        let fields = dates.map(|dates| [("opens", dates.opens), ("due", dates.due)]);
        let fields = fields.into_iter().flatten();
        fields.map(|(name, at)| (name, as_field(at))).collect()
    }

    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let experiment = experiment(term, &self.0)?;
        let mut read = self.form(term, typed).read(typed);
        let dates = read_dates(&mut read);
        read.check()?;
        let dates = dates.unwrap_or(experiment.dates);
        Ok(experiment_as(
            term,
            Experiment {
                dates,
                ..experiment.clone()
            },
        ))
    }
}

impl ChangeForm for SectionDates {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let mut form = Form::default()
            .title("Dates by section")
            .words("Empty where a section goes with the others.")
            .in_rows()
            .enter("Change the dates by section")
            .look("See first what they would change");
        form.buttons
            .iter_mut()
            .for_each(|button| button.quiet = true);
        for section in term.sections() {
            let fields = [("opens", "Opens"), ("due", "Due")]
                .map(|(name, label)| Field::local_time(format!("{name}:{section}"), label));
            form = form.group(section, fields.into());
        }
        form
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let own = term.experiment(&self.0).map(|e| &e.section_dates);
        let own = own.into_iter().flatten();
        let fields = own.flat_map(|(section, dates)| {
            [("opens", dates.opens), ("due", dates.due)]
                .map(|(name, at)| (format!("{name}:{section}"), at.map(as_field)))
        });
        fields.filter_map(|(name, at)| Some((name, at?))).collect()
    }

    /// Sections that are not named keep their dates.
    fn changes(&self, typed: &Typed, term: &Term, _: Who<'_>) -> Result<Vec<Change>, Faults> {
        let mut after = experiment(term, &self.0)?.clone();
        let mut read = self.form(term, typed).read(typed);
        for section in term.sections() {
            let [opens, due] = ["opens", "due"].map(|name| format!("{name}:{section}"));
            if typed.one(&opens).is_none() && typed.one(&due).is_none() {
                continue;
            }
            let own = OwnDates {
                opens: read.local_time(&opens),
                due: read.local_time(&due),
            };
            if own == OwnDates::default() {
                after.section_dates.remove(section);
            } else {
                after.section_dates.insert(SectionName::new(section), own);
            }
            let dates = after.dates_in(section);
            if dates.due <= dates.opens {
                let (opens, found) = (dates.opens, dates.due);
                let what = format!("found {found}, expected a time after it opens on {opens}");
                read.fault(due, what);
            }
        }
        read.check()?;
        Ok(experiment_as(term, after))
    }
}
