//! Judgement: marks by part, flags with their chance level, and robust figures for the audit of the truth.

mod audit;
mod evaluate;
mod fairness;
mod flags;
mod marking;
mod marks;
mod questions;
mod raise;
pub mod rehearsal;

pub use audit::{AuditKind, AuditRow, audit_group};
pub use evaluate::{
    Case, DefaultLots, Evaluation, FLAG_LEVEL, Outcome, Settlement, TrialView, evaluate,
};
pub use fairness::{Fairness, fairness};
pub use flags::{Flag, FlagCode};
pub use marking::{
    AgreementMeasure, AgreementPart, CalculationPart, Late, Marking, MarkingFault, Scale, Scored,
};
pub use marks::{Marks, Part, PartMark};
pub use questions::{Question, questions, range_questions, refusals, written_otherwise};
