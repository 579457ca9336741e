//! A decision of an assistant or coordinator.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, listed, newer_of, slot_columns};
use crate::ids::StudentId;
use crate::submission::TrialLabel;
use crate::term::{Decision, Ruling, Slot, Term};
use crate::text::{RecordColumn, RecordFile, code, decimal, found, if_any, instant, whole};

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Decide {
    #[serde(flatten)]
    pub slot: Slot,
    #[serde(flatten)]
    pub decision: Decision,
}

of_slot!(Decide);

impl ChangeKind for Decide {
    const NAME: &'static str = "decision";

    fn subject(&self) -> String {
        self.slot.to_string()
    }

    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
        visit(&mut self.slot.student);
    }

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let decisions = term.decisions.entry(self.slot.clone()).or_default();
        decisions.push(self.decision.clone());
    }

    fn reach(&self) -> Reach {
        Reach::Section(self.slot.clone())
    }

    fn file() -> Option<(RecordFile<Self>, fn(&Term) -> Vec<Self>)> {
        let file = RecordFile {
            name: "decisions.csv",
            new: Self::default,
            columns: slot_columns([
                RecordColumn::new(
                    "at",
                    |one: &mut Self, text, _| instant(text).map(|at| one.decision.at = at),
                    |one| one.decision.at.to_string(),
                ),
                RecordColumn::new(
                    "by",
                    |one: &mut Self, text, _| code(text).map(|by| one.decision.by = by),
                    |one| one.decision.by.clone(),
                ),
                RecordColumn::new(
                    "ruling",
                    |one: &mut Self, text, _| ruling(text.trim()).map(|ruling| one.decision.ruling = ruling),
                    |one| name(&one.decision.ruling).to_owned(),
                ),
                RecordColumn::new(
                    "detail",
                    |one: &mut Self, text, _| read_detail(&mut one.decision.ruling, text.trim()),
                    |one| detail(&one.decision.ruling),
                )
                .after("ruling")
                .plain(),
                RecordColumn::new(
                    "reason",
                    |one: &mut Self, text, _| {
                        one.decision.reason = text.to_owned();
                        Ok(())
                    },
                    |one| one.decision.reason.clone(),
                ),
                // none said: whatever is the last, known once the hand-ins are
                RecordColumn::new(
                    "revision",
                    |one: &mut Self, text, _| {
                        let read = if_any(text, |text| whole(text, 1..=10_000));
                        read.map(|number| one.decision.revision = number.unwrap_or(0))
                    },
                    |one| one.decision.revision.to_string(),
                )
                .optional(),
            ]),
            once: &[],
        };
        Some((file, |term| {
            listed(term, &term.decisions, |slot, decision| Self { slot, decision })
        }))
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let fresh = newer_of(&held.decisions, &incoming.decisions);
        fresh
            .map(|(slot, decision)| Self { slot, decision })
            .collect()
    }
}

/// The ruling of that name, its detail not read yet.
fn ruling(text: &str) -> Result<Ruling, String> {
    let rulings = [
        Ruling::Accept,
        Ruling::Return,
        Ruling::LeaveOut { trial: 0 },
        Ruling::PutBack { trial: 0 },
        Ruling::Adjust {
            points: Decimal::ZERO,
        },
        Ruling::AgainstWritten { written: false },
        Ruling::ExcuseLate { excused: false },
        Ruling::TakeBack,
    ];
    let mut rulings = rulings.into_iter();
    rulings.find(|ruling| name(ruling) == text).ok_or_else(|| {
        found(
            text,
            "accept, return, leave-out, put-back, adjust, against-written, excuse-late or take-back",
        )
    })
}

fn name(ruling: &Ruling) -> &'static str {
    match ruling {
        Ruling::Accept => "accept",
        Ruling::Return => "return",
        Ruling::LeaveOut { .. } => "leave-out",
        Ruling::PutBack { .. } => "put-back",
        Ruling::Adjust { .. } => "adjust",
        Ruling::AgainstWritten { .. } => "against-written",
        Ruling::ExcuseLate { .. } => "excuse-late",
        Ruling::TakeBack => "take-back",
    }
}

fn read_detail(ruling: &mut Ruling, text: &str) -> Result<(), String> {
    let yes = || match text {
        "true" => Ok(true),
        "false" => Ok(false),
        other => Err(found(other, "true or false")),
    };
    match ruling {
        Ruling::Accept | Ruling::Return | Ruling::TakeBack if !text.is_empty() => {
            return Err(found(text, "nothing for this ruling"));
        }
        Ruling::Accept | Ruling::Return | Ruling::TakeBack => {}
        Ruling::LeaveOut { trial } | Ruling::PutBack { trial } => {
            *trial = whole(text, 1..=TrialLabel::MAX)?;
        }
        Ruling::Adjust { points } => *points = decimal(text)?,
        Ruling::AgainstWritten { written } => *written = yes()?,
        Ruling::ExcuseLate { excused } => *excused = yes()?,
    }
    Ok(())
}

fn detail(ruling: &Ruling) -> String {
    match ruling {
        Ruling::Accept | Ruling::Return | Ruling::TakeBack => String::new(),
        Ruling::LeaveOut { trial } | Ruling::PutBack { trial } => trial.to_string(),
        Ruling::Adjust { points } => points.to_string(),
        Ruling::AgainstWritten { written } => written.to_string(),
        Ruling::ExcuseLate { excused } => excused.to_string(),
    }
}
