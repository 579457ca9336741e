//! Marking, rules for trials, and texts of procedures replaced while hand-ins are there: looked at first, then everything
//! marked anew at once, with what stood before kept.

use jiff::Timestamp;

use super::arrange::experiment;
use super::prepare::words;
use super::{Desk, FileTexts, PrepareError, arrange};
use crate::change::Change;
use crate::course::Experiment;
use crate::files;
use crate::ids::ExperimentKey;
use crate::judge::Marking;
use crate::procedure::{Procedure, TrialRules};
use crate::store::{Texts, hash};
use crate::term::{Amended, Amendment, ExperimentSource, Term};
use crate::text::Fault;

/// How an experiment is to be marked and which of its trials count. None: as its procedure says.
#[derive(Clone, Debug, Default)]
pub struct Rules {
    /// Points by part.
    pub marking: Option<Marking>,
    /// How many trials, and which count.
    pub trials: Option<TrialRules>,
}

/// What the rules of an experiment rest on now, by which somebody else's change is noticed.
pub fn rules_seen(term: &Term, key: &ExperimentKey) -> String {
    let source = term.sources.experiments.get(key);
    let procedure = source.and_then(|s| term.sources.procedures.get(&s.procedure));
    hash(&format!("{source:?}{procedure:?}"))
}

/// What has to change so that an experiment goes by these rules: nothing if it does.
pub fn rule_changes(
    term: &Term,
    key: &ExperimentKey,
    rules: &Rules,
    reason: &str,
    (login, at): (&str, Timestamp),
) -> Result<Vec<Change>, PrepareError> {
    let old = experiment(term, key)?;
    let held = term.sources.experiments.get(key).cloned();
    let held = held.unwrap_or_default();
    let plain = ExperimentSource {
        marking: None,
        trials: None,
        ..held.clone()
    };
    let own = procedure(term, &plain)?;
    // what the procedure says already is not said again
    let marking = rules.marking.as_ref().filter(|m| **m != own.marking);
    let trials = rules.trials.as_ref().filter(|t| **t != own.trials);
    let after = own.clone().with(trials.cloned(), marking.cloned());
    let mut source = held.clone();
    let mut changes = Vec::new();
    let mut amend = |what, before: &Option<String>| {
        changes.push(Change::Amend(Amendment {
            what,
            key: key.to_string(),
            before: before.clone(),
            reason: reason.to_owned(),
            by: login.to_owned(),
            at,
        }));
    };
    if after.marking != old.procedure.marking {
        amend(Amended::Marking, &held.marking);
        source.marking = marking.map(files::write_marking);
    }
    if after.trials != old.procedure.trials {
        amend(Amended::Trials, &held.trials);
        source.trials = trials.map(files::write_trials);
    }
    if changes.is_empty() {
        return Ok(changes);
    }
    given_by_hand(term, key, &after.marking)?;
    changes.push(Change::Experiment {
        experiment: Box::new(Experiment {
            procedure: procedure(term, &source)?,
            ..old.clone()
        }),
        source,
    });
    Ok(changes)
}

/// Makes an experiment go by these rules; everything handed in for it is marked anew. Returns how many changes it took.
pub async fn enter_rules(
    desk: &Desk,
    key: &ExperimentKey,
    rules: &Rules,
    reason: &str,
    seen: &str,
    who: (&str, Timestamp),
) -> Result<usize, PrepareError> {
    arrange(desk, who, |term| {
        if seen != rules_seen(term, key) {
            return Err(stale());
        }
        let reason = why(reason)?;
        let changes = rule_changes(term, key, rules, &reason, who)?;
        still_readable(term, &changes)?;
        Ok(changes)
    })
    .await
}

/// What has to change so that a procedure has this text: the experiments by it follow.
pub fn procedure_changes(
    term: &Term,
    file: &str,
    text: &str,
    reason: &str,
    (login, at): (&str, Timestamp),
) -> Result<(String, Vec<Change>), Vec<Fault>> {
    let key = files::read_procedure(file, text, &term.glassware)?
        .key
        .clone();
    let before = term.sources.procedures.get(&key);
    if before.is_some_and(|held| held == text) {
        return Ok((key, Vec::new()));
    }
    let mut changes = vec![Change::Procedure {
        key: key.clone(),
        text: text.to_owned(),
    }];
    let followers = followers(term, &key);
    for (experiment, source) in &followers {
        let read = FileTexts.procedure(text, source, &term.glassware);
        let procedure = read.map_err(|why| vec![Fault::of_file(file, why)])?;
        changes.push(Change::Experiment {
            experiment: Box::new(Experiment {
                procedure,
                ..(*experiment).clone()
            }),
            source: (*source).clone(),
        });
    }
    if !followers.is_empty() {
        changes.push(Change::Amend(Amendment {
            what: Amended::Procedure,
            key: key.clone(),
            before: before.cloned(),
            reason: reason.to_owned(),
            by: login.to_owned(),
            at,
        }));
    }
    Ok((key, changes))
}

/// Replaces a procedure's text: the experiments by it follow, and everything handed in for them is marked anew at once.
/// `seen` is what [`procedure_seen`] said when somebody looked at what it would change.
pub async fn replace_procedure(
    desk: &Desk,
    (file, text): (&str, &str),
    reason: &str,
    seen: &str,
    who: (&str, Timestamp),
) -> Result<usize, PrepareError> {
    arrange(desk, who, |term| {
        let reason = why(reason)?;
        let (key, changes) =
            procedure_changes(term, file, text, &reason, who).map_err(|faults| {
                let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
                PrepareError::Fields(vec![("rules", faults.join("; "))])
            })?;
        if seen != procedure_seen(term, &key) {
            return Err(stale());
        }
        still_readable(term, &changes)?;
        Ok(changes)
    })
    .await
}

/// The text a procedure has now, by which somebody else's change is noticed.
pub fn procedure_seen(term: &Term, key: &str) -> String {
    let text = term.sources.procedures.get(key);
    hash(text.map_or("", String::as_str))
}

/// How many hand-ins there are for the experiments by a procedure.
pub fn handed_in_by_procedure(term: &Term, key: &str) -> usize {
    let followers = followers(term, key);
    let by_it = |slot: &&crate::term::Slot| followers.iter().any(|(e, _)| e.key == slot.experiment);
    term.submissions.keys().filter(by_it).count()
}

/// Whether the course could still be written to a folder and read again after changes: rules and procedures must be
/// such that everything handed in keeps its place.
pub fn still_readable(term: &Term, changes: &[Change]) -> Result<(), PrepareError> {
    if changes.is_empty() {
        return Ok(());
    }
    let mut after = term.clone();
    changes
        .iter()
        .cloned()
        .for_each(|change| after.apply(change));
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
    Err(PrepareError::Fields(vec![("rules", what)]))
}

/// A reason that says something.
pub(super) fn why(reason: &str) -> Result<String, PrepareError> {
    let said = words(reason);
    said.map_err(|_| {
        let what = "found nothing, expected a sentence that says why it changes";
        PrepareError::Fields(vec![("reason", what.to_owned())])
    })
}

/// Somebody else was faster.
pub(super) fn stale() -> PrepareError {
    let what = "found that it was changed since you looked at what this would change, expected it as you saw it; look again";
    PrepareError::Fields(vec![("reason", what.to_owned())])
}

fn procedure(term: &Term, source: &ExperimentSource) -> Result<Procedure, PrepareError> {
    let rules = |why| PrepareError::Fields(vec![("rules", why)]);
    let text = term.sources.procedures.get(&source.procedure);
    let text = text.ok_or_else(|| rules(format!("found no procedure {}", source.procedure)))?;
    FileTexts
        .procedure(text, source, &term.glassware)
        .map_err(rules)
}

fn followers<'t>(term: &'t Term, key: &str) -> Vec<(&'t Experiment, &'t ExperimentSource)> {
    let with_source = |e: &'t Experiment| Some((e, term.sources.experiments.get(&e.key)?));
    let all = term.experiments.iter().filter_map(with_source);
    all.filter(|(_, source)| source.procedure == key).collect()
}

/// Points given by hand must have their part and fit into it.
fn given_by_hand(term: &Term, key: &ExperimentKey, marking: &Marking) -> Result<(), PrepareError> {
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
            Err(PrepareError::Fields(vec![("by_hand_points", what)]))
        }
        _ => Ok(()),
    }
}
