//! A decision of an assistant or coordinator.

use rust_decimal::Decimal;

use super::{Made, OfSlot, Reach, RecordsOf, SlotEvent, SlotKind, records};
use crate::submission::TrialLabel;
use crate::term::{Decision, Ruling, Slot, Term};
use crate::text::{RecordColumn, code, column, decimal, found, if_any, instant, whole};
use crate::words::signed;

pub type Decide = OfSlot<Decision>;

impl SlotKind for Decision {
    const NAME: &'static str = "decision";
    const FILE: Option<fn() -> RecordsOf<Decide>> = Some(file);

    fn apply(&self, slot: &Slot, term: &mut Term, _: Option<&Made>) {
        term.decisions.push(slot, self.clone());
    }

    fn reach(slot: &Slot) -> Reach {
        Reach::Student(slot.clone())
    }

    fn held(term: &Term, slot: &Slot) -> Vec<Self> {
        term.decisions.get(slot).cloned().unwrap_or_default()
    }

    fn event(&self, _: usize) -> Option<SlotEvent> {
        Some(SlotEvent {
            at: Some(self.at),
            what: self.ruling.in_words(),
            by: Some(self.by.clone()),
            why: self.reason.clone(),
        })
    }
}

fn file() -> RecordsOf<Decide> {
    records(
        "decisions.csv",
        &[],
        [
            column!(Decide: "at", body.at, instant),
            column!(Decide: "by", body.by, code),
            RecordColumn::new(
                "ruling",
                |one: &mut Decide, text, _| {
                    ruling(text.trim()).map(|ruling| one.body.ruling = ruling)
                },
                |one| name(&one.body.ruling).to_owned(),
            ),
            RecordColumn::new(
                "detail",
                |one: &mut Decide, text, _| read_detail(&mut one.body.ruling, text.trim()),
                |one| detail(&one.body.ruling),
            )
            .after("ruling")
            .plain(),
            RecordColumn::new(
                "reason",
                |one: &mut Decide, text, _| {
                    one.body.reason = text.to_owned();
                    Ok(())
                },
                |one| one.body.reason.clone(),
            ),
            // none said: whatever is the last, known once the hand-ins are
            RecordColumn::new(
                "revision",
                |one: &mut Decide, text, _| {
                    let read = if_any(text, |text| whole(text, 1..=10_000));
                    read.map(|number| one.body.revision = number.unwrap_or(0))
                },
                |one| one.body.revision.to_string(),
            )
            .optional(),
        ],
    )
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

impl Ruling {
    /// As people say it.
    pub fn in_words(&self) -> String {
        match self {
            Ruling::Accept => "Accepted".into(),
            Ruling::Return => "Returned to the student".into(),
            Ruling::LeaveOut { trial } => format!("Trial {trial} left out"),
            Ruling::PutBack { trial } => format!("Trial {trial} put back"),
            Ruling::Adjust { points } if points.is_zero() => "Adjustment taken back".into(),
            Ruling::Adjust { points } => format!("Points adjusted by {}", signed(*points)),
            Ruling::AgainstWritten { written: true } => "Marked against the bottle written".into(),
            Ruling::AgainstWritten { written: false } => "Marked against the bottle issued".into(),
            Ruling::ExcuseLate { excused: true } => "Lateness excused".into(),
            Ruling::ExcuseLate { excused: false } => "Lateness counts again".into(),
            Ruling::TakeBack => "Taken back".into(),
        }
    }
}
