//! The marking and the rules for trials of an experiment, looked at with every grade they would change and replaced with
//! a reason. What stood before is kept.

mod fields;

use super::reason_for_rules;
use crate::changes::Texts;
use crate::changes::{Change, SetExperiment};
use crate::changes::{ChangeForm, Remarks, Who, experiment};
use crate::course::Experiment;
use crate::desk::FileTexts;
use crate::files;
use crate::form::{Button, Faults, Field, Form, Typed};
use crate::ids::ExperimentKey;
use crate::judge::Marking;
use crate::measure::{from_f64, plain};
use crate::procedure::{Procedure, TrialRules};
use crate::simulate::{Fairness, fairness};
use crate::store::hash;
use crate::term::{Amended, Amendment, ExperimentSource, Term};

/// Students of the class that is simulated to see whether a marking is fair.
const CLASS: usize = 1000;

/// Asked for one experiment, by its key.
pub struct RulesForm(pub ExperimentKey);

impl RulesForm {
    /// Marking and trials that a form asks for; none: as the procedure says.
    fn wanted(
        &self,
        typed: &Typed,
        term: &Term,
    ) -> Result<(Option<Marking>, Option<TrialRules>), Faults> {
        if typed.text("use") == "procedure" {
            return Ok((None, None));
        }
        let now = &experiment(term, &self.0)?.procedure.trials;
        let mut read = fields::form().read(typed);
        let (marking, trials) = fields::read(&mut read, typed, now);
        read.check()?;
        Ok((Some(marking), trials))
    }
}

impl ChangeForm for RulesForm {
    fn form(&self, term: &Term, _: &Typed) -> Form {
        let mut form = fields::form().look("See what it would change");
        form.title = "Rules".to_owned();
        let source = term.sources.experiments.get(&self.0);
        if source.is_some_and(|s| s.marking.is_some() || s.trials.is_some()) {
            form.buttons.push(Button {
                looks: true,
                ..Button::new("Go back to what the procedure says …")
                    .quiet()
                    .sends("use", "procedure")
            });
        }
        form
    }

    fn held(&self, term: &Term, _: &Typed) -> Typed {
        let experiment = term.experiment(&self.0);
        experiment.map_or_else(Typed::default, |e| fields::filled(&e.procedure))
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        let (login, at) = who;
        let (marking, trials) = self.wanted(typed, term)?;
        let old = experiment(term, &self.0)?;
        let held = term.sources.experiments.get(&self.0).cloned();
        let held = held.unwrap_or_default();
        let plain = ExperimentSource {
            marking: None,
            trials: None,
            ..held.clone()
        };
        let own = procedure(term, &plain)?;
        // what the procedure says already is not said again
        let marking = marking.filter(|m| *m != own.marking);
        let trials = trials.filter(|t| *t != own.trials);
        let after = own.clone().with(trials.clone(), marking.clone());
        let mut source = held.clone();
        let mut changes = Vec::new();
        let mut amend = |what, before: &Option<String>| {
            changes.push(Change::Amend(Amendment {
                what,
                key: self.0.to_string(),
                before: before.clone(),
                reason: typed.text("reason").to_owned(),
                by: login.to_owned(),
                at,
            }));
        };
        if after.marking != old.procedure.marking {
            amend(Amended::Marking, &held.marking);
            source.marking = marking.as_ref().map(files::write_marking);
        }
        if after.trials != old.procedure.trials {
            amend(Amended::Trials, &held.trials);
            source.trials = trials.as_ref().map(files::write_trials);
        }
        if changes.is_empty() {
            return Ok(changes);
        }
        given_by_hand(term, &self.0, &after.marking)?;
        changes.push(
            SetExperiment::new(
                Experiment {
                    procedure: procedure(term, &source)?,
                    ..old.clone()
                },
                source,
            )
            .into(),
        );
        still_readable(term, &changes)?;
        Ok(changes)
    }

    fn seen(&self, _: &Typed, term: &Term) -> Option<String> {
        let source = term.sources.experiments.get(&self.0);
        let procedure = source.and_then(|s| term.sources.procedures.get(&s.procedure));
        Some(hash(&format!("{source:?}{procedure:?}")))
    }

    fn looks_first(&self) -> bool {
        true
    }

    fn reason(&self, _: &[Change]) -> Option<Field> {
        Some(reason_for_rules())
    }

    fn remarks(&self, term: &Term, changes: &[Change]) -> Box<dyn FnOnce() -> Remarks + Send> {
        let before = term.experiment(&self.0).map(|e| e.procedure.clone());
        let after = changes.iter().find_map(|change| {
            let experiment = SetExperiment::try_from(change.clone()).ok()?;
            experiment.procedure
        });
        Box::new(move || after.map_or_else(Remarks::default, |after| rules_of(&after, before)))
    }
}

/// Whether a marking is fair: careful students simulated under it, and under the one before if there is one to compare
/// with. Two classes of a thousand take a while.
pub fn rules_of(procedure: &Procedure, before: Option<Procedure>) -> Remarks {
    let now = match fairness(procedure, CLASS, 1) {
        Ok(now) => now,
        Err(why) => {
            return Remarks {
                warnings: vec![format!("Whether it is fair cannot be said: {why}")],
                sentences: Vec::new(),
            };
        }
    };
    let before = before.and_then(|before| fairness(&before, CLASS, 1).ok());
    let figures = |value: f64| from_f64(value, 3).map(plain).unwrap_or_default();
    let mean = |one: &Fairness| one.parts.iter().map(|(_, mean, _)| mean).sum::<f64>();
    let most: rust_decimal::Decimal = now.parts.iter().map(|(_, _, most)| *most).sum();
    let was = before.as_ref().map(|one| {
        format!(
            " (now {}, and {} %)",
            figures(mean(one)),
            figures(one.full_accuracy_percent)
        )
    });
    Remarks {
        sentences: vec![format!(
            "Careful students have {} of {} points on average for what is measured, and {} % of them all points for accuracy{}.",
            figures(mean(&now)),
            plain(most),
            figures(now.full_accuracy_percent),
            was.unwrap_or_default()
        )],
        warnings: now.warnings,
    }
}

fn procedure(term: &Term, source: &ExperimentSource) -> Result<Procedure, Faults> {
    let text = term.sources.procedures.get(&source.procedure);
    let none = || Faults::one("rules", format!("found no procedure {}", source.procedure));
    FileTexts
        .procedure(text.ok_or_else(none)?, source, &term.glassware)
        .map_err(|why| Faults::one("rules", why))
}

/// Whether the course could still be written to a folder and read again after changes: rules and procedures must be
/// such that everything handed in keeps its place.
pub(in crate::desk) fn still_readable(term: &Term, changes: &[Change]) -> Result<(), Faults> {
    if changes.is_empty() {
        return Ok(());
    }
    let mut after = term.clone();
    changes.iter().for_each(|change| after.apply(change, None));
    let faults = match files::read_term(&files::write_term(&after)) {
        Ok(_) => return Ok(()),
        Err(faults) => faults,
    };
    let shown: Vec<String> = faults.iter().take(5).map(ToString::to_string).collect();
    let more = faults.len().saturating_sub(shown.len());
    let more = if more > 0 {
        format!("; and {more} more")
    } else {
        String::new()
    };
    let what = format!(
        "found readings that do not fit it ({}{more}), expected it to hold everything handed in",
        shown.join("; ")
    );
    Err(Faults::one("rules", what))
}

/// Points given by hand must have their part and fit into it.
fn given_by_hand(term: &Term, key: &ExperimentKey, marking: &Marking) -> Result<(), Faults> {
    let given = term
        .by_hand
        .iter()
        .filter(|(slot, _)| slot.experiment == key);
    let most = given.map(|(_, points)| *points).max();
    let allowed = marking.by_hand;
    match most {
        Some(most) if allowed.is_none_or(|allowed| allowed < most) => {
            let found = allowed.map_or("none".to_owned(), |points| points.to_string());
            let what =
                format!("found {found}, expected at least the {most} that are given already");
            Err(Faults::one("by_hand_points", what))
        }
        _ => Ok(()),
    }
}
