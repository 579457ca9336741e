//! The bench form while it is typed: kept by the server, so that it outlives a phone, and looked at by the procedure's
//! own rules. It is no hand-in, and nobody is marked by it.

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::bench::{find, is_bottle, issued, own_form};
use super::entry::{Entry, FieldFault, doubts, trial_words};
use super::worth::{Standing, standing, watched};
use crate::columns::read_cells;
use crate::course::Experiment;
use crate::desk::{DraftKept, TypedAtBench, keep_typed};
use crate::ids::ExperimentKey;
use crate::judge::refusals;
use crate::language::{Arg, Message, message};
use crate::procedure::Procedure;
use crate::store::BenchDraft;
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::term::{Slot, Term};
use crate::web::{Fields, PageResult, StudentVisitor};
use crate::workup::work_up_readings;

/// Fields that are of the form and not of what is typed into it.
const OF_THE_FORM: [&str; 4] = ["owner", "key", "action", "kept"];

/// What is whole of a form.
pub struct Whole {
    pub rows: Vec<Titration>,
    /// Rows that are begun and not whole, or cannot be.
    pub left_out: Vec<TrialLabel>,
    pub entry: Entry,
}

impl Whole {
    pub fn of(procedure: &Procedure, entry: Entry) -> Self {
        let (rows, left_out) = rows(procedure, &entry);
        Self {
            rows,
            left_out,
            entry,
        }
    }

    /// The whole rows as a hand-in; or what is wrong with the rest of the form.
    pub fn hand_in(&self, term: &Term, experiment: &Experiment) -> Result<HandIn, Vec<String>> {
        let mut entry = self.entry.clone();
        entry.rows.retain(|row| !self.left_out.contains(&row.trial));
        let read = entry.read(&experiment.procedure, |code| term.lots.contains_key(code));
        read.map_err(|faults| {
            let words = |fault: FieldFault| format!("{}: {}", fault.label, fault.what);
            faults.into_iter().map(words).collect()
        })
    }
}

/// How far somebody is, by what is typed.
pub struct Progress {
    /// Rows that are whole.
    pub finished: Vec<TrialLabel>,
    /// The row that is being done.
    pub in_hand: Option<TrialLabel>,
    /// How the numbered ones of the finished rows stand to each other.
    pub standing: Standing,
}

impl Progress {
    pub fn of(procedure: &Procedure, entry: &Entry) -> Self {
        let (finished, left_out) = rows(procedure, entry);
        let hand_in = HandIn {
            titrations: finished,
            ..HandIn::default()
        };
        Self {
            in_hand: left_out.last().copied(),
            standing: standing(procedure, &work_up_readings(procedure, &hand_in)),
            finished: hand_in.titrations.iter().map(|row| row.trial).collect(),
        }
    }
}

/// The rows of a form that are whole, and those that are begun and are not.
fn rows(procedure: &Procedure, entry: &Entry) -> (Vec<Titration>, Vec<TrialLabel>) {
    let (mut finished, mut left_out) = (Vec::new(), Vec::new());
    for row in entry.rows.iter().filter(|row| !row.is_blank()) {
        let titration = read_cells(procedure, row.trial, &row.cells).map(|readings| Titration {
            readings,
            spoiled: (!row.spoiled.is_empty()).then(|| row.spoiled.clone()),
            ..Titration::new(row.trial)
        });
        let sound = titration
            .ok()
            .filter(|titration| refusals(procedure, finished.len(), titration).is_empty());
        match sound {
            Some(titration) => finished.push(titration),
            None => left_out.push(row.trial),
        }
    }
    (finished, left_out)
}

/// The form that a draft was typed in.
pub fn entry_of(procedure: &Procedure, draft: &BenchDraft) -> PageResult<Entry> {
    Fields::new(draft.fields.clone()).map(|fields| Entry::of_fields(procedure, &fields))
}

/// Keeps what a form holds. An empty form is kept only where there was more in it, or a hand is up.
pub async fn keep(
    visitor: &StudentVisitor,
    slot: &Slot,
    fields: &Fields,
    entry: &Entry,
) -> PageResult<Option<DraftKept>> {
    let hand = match fields.text("action") {
        "hand-up" => Some(true),
        "hand-down" => Some(false),
        _ => None,
    };
    let from = fields.text("kept").parse().ok();
    if entry.is_empty() && hand != Some(true) && from.is_none() {
        return Ok(None);
    }
    let typed = TypedAtBench {
        form: entry.key.clone(),
        from,
        fields: fields
            .only(|name| !OF_THE_FORM.contains(&name))
            .into_pairs(),
        hand,
    };
    let kept = keep_typed(&visitor.state.desk, slot, typed, visitor.now()).await?;
    Ok(Some(kept))
}

/// `POST /student/experiments/{key}/bench/draft`: the form as it is typed so far. The answer says what the server keeps of
/// it, whether a hand is up, the sentences on agreement, and names of fields with what is odd about each, all from the
/// readings alone. Where nothing can be kept the rest is said all the same.
pub async fn draft(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    fields: Fields,
) -> PageResult<Response> {
    own_form(&visitor, &fields).await?;
    let view = visitor.view().await?;
    let (experiment, slot) = find(&view, &key, &visitor)?;
    let procedure = &experiment.procedure;
    let language = visitor.language();
    let mut entry = Entry::of_fields(procedure, &fields);
    let kept = keep(&visitor, &slot, &fields, &entry).await;
    let (_, unread) = entry.take_up_curves(procedure);
    let (hand_in, mut faults) = entry.so_far(procedure);
    faults.extend(unread);
    let mut asked = doubts(procedure, &hand_in, issued(&view, &slot), |code| {
        is_bottle(&view, &key, code)
    });
    asked.retain(|doubt| !entry.confirmed.contains(&doubt.id));
    let faults = faults
        .into_iter()
        .map(|fault| (fault.field, language.say(&fault.what)));
    let asked = asked
        .into_iter()
        .map(|doubt| (doubt.field, language.say(&doubt.text)));
    let (kept, elsewhere, hand) = match kept {
        Ok(Some(DraftKept::Kept(draft))) => {
            let words = language.sentence(&kept_words(procedure, &entry));
            (words, false, draft.hand_at.is_some())
        }
        Ok(Some(DraftKept::Elsewhere)) => {
            (language.text("bench.elsewhere").to_owned(), true, false)
        }
        Ok(None) => (String::new(), false, false),
        Err(why) => {
            tracing::warn!(error = ?why, "a draft is not kept");
            (String::new(), false, false)
        }
    };
    let words = json!({
        "agreement": watched(procedure, &work_up_readings(procedure, &hand_in), language),
        "fields": faults.chain(asked).collect::<Vec<_>>(),
        "kept": kept,
        "elsewhere": elsewhere,
        "hand": hand,
    });
    let kind = [(header::CONTENT_TYPE, "application/json")];
    Ok((kind, words.to_string()).into_response())
}

/// What the student may rely on.
fn kept_words(procedure: &Procedure, entry: &Entry) -> Message {
    let (finished, _) = rows(procedure, entry);
    if finished.is_empty() {
        return message!("bench.server-has");
    }
    let (numbered, others): (Vec<_>, Vec<_>) = finished
        .iter()
        .map(|row| row.trial)
        .partition(|trial| trial.number().is_some());
    let others = others.into_iter().map(|trial| trial_words(trial).into());
    let mut parts: Vec<Arg> = others.collect();
    let numbers = numbered.iter().filter_map(|trial| trial.number());
    let numbers: Vec<Arg> = numbers.map(Arg::from).collect();
    parts.extend(match numbers.len() {
        0 => None,
        1 => Some(message!("bench.trial-alone", numbers = numbers).into()),
        _ => Some(message!("bench.trials-together", numbers = numbers).into()),
    });
    message!("bench.server-has-rows", rows = parts, n = finished.len())
}
