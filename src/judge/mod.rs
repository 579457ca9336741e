//! Judgement: marks by part, flags with their chance level, and robust figures for the audit of the truth.

mod agreement;
mod alike;
mod audit;
mod carried;
mod case;
mod class;
mod end_digits;
mod endpoint;
mod evaluate;
mod flags;
mod habits;
mod live;
mod marking;
mod marks;
mod proving;
mod questions;
mod raise;
pub mod signal;
pub mod slips;

/// The version of all rules by which results, marks and flags come about. It is counted up whenever the same hand-in is
/// judged otherwise than before, so that a difference tells new rules from tampering.
pub const RULES: u32 = 3;

pub use alike::{
    EarlierLikeness, EarlierSets, GENEROUS, Likeness, LikenessIndex, Peer, likenesses,
};
pub use audit::{
    AUDIT_LEVEL, AuditGroup, AuditKind, Crossed, Drift, DriftDay, FEWEST_OF_ALL, FEWEST_TO_JUDGE,
    GroupName, GroupOff, Observed, OwnShift, ResultScore, Rival, Ruled, Scores, Verdict, audit,
    audited, audited_if_off, outlier, scores, shifts, shifts_at,
};
pub use carried::{CarriedLine, CarriedOutcome, CarriedTitrant};
pub use case::{Case, DefaultLots, Settlement};
pub use class::{ClassEvidence, ClassSpread, Consensus, Habits, median_of_s};
pub use end_digits::{EndDigits, OddDigits, TERM_DIGITS_LEVEL};
pub use endpoint::{Endpoint, endpoint, endpoint_warning};
pub use evaluate::{Evaluation, Outcome, TrialView, UsedValue, UsedVersion, evaluate, result_of};
pub use flags::{Flag, FlagCode};
pub use habits::{
    EvenTrials, ScatterShare, TERM_SCATTER_LEVEL, TermScatter, class_scatter, pooled_digits,
    pooled_scatter,
};
pub use live::{LiveCall, LiveResult, LiveSubject, LiveValues, live_calls, live_result};
pub use marking::{
    AgreementMeasure, AgreementPart, CalculationPart, Late, Marking, MarkingFault, Scale, Scored,
};
pub use marks::{Marks, Part, PartMark};
pub use proving::{KnownValue, ProvedDifference, ProvingReadings, joined};
pub use questions::{Question, questions, range_questions, refusals, row_label, written_otherwise};
pub use raise::FLAG_LEVEL;
pub use slips::{Candidate, Explanation, SlipCode};
