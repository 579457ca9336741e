//! What is known about one submission, as tables: titrations, result, uncertainty, marks, flags.

use super::Found;
use crate::desk::Image;
use crate::judge::{Evaluation, Flag, PartMark};
use crate::language::Language;
use crate::measure::{from_f64, plain, to_decimals, to_figures};
use crate::procedure::Procedure;
use crate::submission::TrialLabel;
use crate::term::Slot;
use crate::web::Uncertainty;
use crate::web::student::record::{Head, TrialRow, readings_table};
use crate::workup::{DerivationPart, WorkUp, derivation};

/// One titration with what became of it.
pub struct TrialLine {
    /// As it was read.
    pub row: TrialRow,
    /// In the result unit; none for a rough trial, a blank, or one that cannot be computed.
    pub result: Option<String>,
    /// Whether it counts, in a word.
    pub counts: &'static str,
    /// Why it does not.
    pub why_not: Option<String>,
}

/// The result beside the truth.
pub struct ResultView {
    /// Mean of what counts.
    pub value: String,
    /// ± at 95 %.
    pub expanded: String,
    /// Range of the trials, percent.
    pub range_percent: Option<String>,
    /// Standard deviation of the trials, and half-width of the 95 % interval of their mean.
    pub scatter: Option<(String, String)>,
    pub assigned: Option<String>,
    /// How far off and which way, such as `1.2 % high`.
    pub off: Option<String>,
}

/// A flag with its evidence.
pub struct FlagView {
    pub words: &'static str,
    /// Whether it asks for a person.
    pub asks: bool,
    pub evidence: String,
    /// How many of them chance alone raises in the section.
    pub by_chance: String,
}

/// Marks with what was lost and added.
pub struct MarksView {
    pub total: String,
    /// Most there is.
    pub possible: String,
    /// By part.
    pub parts: Vec<PartMark>,
    /// Points lost by lateness and why.
    pub late: Option<(String, String)>,
    /// Points added or taken off.
    pub adjustment: Option<String>,
}

/// Decimals that fit the expanded uncertainty at two figures.
fn decimals(evaluation: &Evaluation) -> u32 {
    let outcome = evaluation.outcome.as_ref();
    outcome.map_or(4, |o| to_figures(o.expanded_uncertainty, 2).scale().min(8))
}

/// The titrations, with the heads of what was read.
pub fn trials(found: &Found) -> (Vec<Head>, Vec<TrialLine>) {
    let evaluation = &found.judged.evaluation;
    let Some(last) = found.revisions.last() else {
        return (Vec::new(), Vec::new());
    };
    let places = decimals(evaluation);
    let table = readings_table(
        &found.experiment.procedure,
        &last.hand_in,
        Language::English,
    );
    let lines = table
        .rows
        .into_iter()
        .zip(&evaluation.trials)
        .map(|(row, trial)| TrialLine {
            row,
            result: trial.result.map(|x| to_decimals(x, places).to_string()),
            counts: match (trial.trial, trial.counted) {
                (TrialLabel::Rough, _) => "rough: shown only",
                (TrialLabel::Blank, _) => "blank",
                (TrialLabel::Standard(_), _) => "standard",
                (TrialLabel::Numbered(_), true) => "yes",
                (TrialLabel::Numbered(_), false) => "no",
            },
            why_not: trial.why_not.as_ref().map(ToString::to_string),
        })
        .collect();
    (table.heads, lines)
}

/// The result; none if no trial counts.
pub fn result(evaluation: &Evaluation) -> Option<ResultView> {
    let outcome = evaluation.outcome.as_ref()?;
    let places = decimals(evaluation);
    let off = evaluation
        .relative_error_percent
        .zip(evaluation.true_value)
        .map(|(error, truth)| {
            let way = match outcome.result.cmp(&truth) {
                std::cmp::Ordering::Greater => " high",
                std::cmp::Ordering::Less => " low",
                std::cmp::Ordering::Equal => "",
            };
            format!("{} %{way}", plain(to_figures(error.abs(), 2)))
        });
    Some(ResultView {
        value: to_decimals(outcome.result, places).to_string(),
        expanded: to_figures(outcome.expanded_uncertainty, 2).to_string(),
        range_percent: outcome.range_percent.map(|r| plain(to_figures(r, 2))),
        scatter: outcome
            .std_dev
            .zip(outcome.confidence_95)
            .map(|(s, interval)| (plain(to_figures(s, 2)), plain(to_figures(interval, 2)))),
        assigned: evaluation
            .true_value
            .map(|truth| to_decimals(truth, places).to_string()),
        off,
    })
}

/// The flags, with how many to expect from clean work in the student's section.
pub fn flags(view: &Image, slot: &Slot, found: &Found) -> Vec<FlagView> {
    let section = &found.student.section;
    let mates = view.term.students.iter().filter(|s| s.section == *section);
    let handed_in = mates
        .filter(|mate| {
            let slot = Slot::new(&slot.experiment, &mate.id);
            view.judged.contains_key(&slot)
        })
        .count();
    let flags = found.judged.evaluation.flags.iter();
    flags.map(|flag| flag_view(flag, handed_in)).collect()
}

fn flag_view(flag: &Flag, handed_in: usize) -> FlagView {
    let figures = |value: f64, figures| from_f64(value, figures).map(plain);
    let expected = figures(flag.chance * handed_in as f64, 2);
    let one_in = figures(1.0 / flag.chance.max(f64::MIN_POSITIVE), 1);
    FlagView {
        words: flag.code.words(),
        asks: flag.review,
        evidence: flag.evidence.clone(),
        by_chance: match expected {
            Some(expected) if flag.chance > 0.0 => {
                let one_in = one_in.unwrap_or_default();
                format!(
                    "By chance alone: about 1 hand-in in {one_in}, so {expected} of the {handed_in} of the section."
                )
            }
            _ => String::new(),
        },
    }
}

pub fn marks(evaluation: &Evaluation) -> MarksView {
    let marks = &evaluation.marks;
    MarksView {
        total: marks.total.to_string(),
        possible: marks.possible.to_string(),
        parts: marks.parts.clone(),
        late: (!marks.late_sentence.is_empty()).then(|| {
            let lost = if marks.late.is_zero() {
                marks.late.to_string()
            } else {
                crate::words::signed(-marks.late)
            };
            (lost, marks.late_sentence.to_string())
        }),
        adjustment: (!marks.adjustment.is_zero()).then(|| crate::words::signed(marks.adjustment)),
    }
}

/// The uncertainty and every step of the recomputation.
pub fn recomputed(
    procedure: &Procedure,
    work_up: Option<&WorkUp>,
) -> (Option<Uncertainty>, Vec<DerivationPart>) {
    let Some(work_up) = work_up else {
        return (None, Vec::new());
    };
    let unit = procedure.result.unit.name();
    let budget = work_up.budget.as_ref();
    let uncertainty = budget.map(|budget| Uncertainty::of(budget, unit, Language::English));
    (uncertainty, derivation(work_up, Language::English))
}
