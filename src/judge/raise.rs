//! Raises flags: each with its evidence and the chance that clean work raises it.

use rust_decimal::Decimal;

use super::alike::alike;
use super::case::{Case, relative_error};
use super::end_digits::end_digits;
use super::flags::{Flag, FlagCode};
use super::marks::{agrees, days_late};
use super::questions::{range_questions, written_otherwise};
use super::scatter::scatter_low;
use super::slips::Explanation;
use crate::columns::Column;
use crate::measure::{as_f64, from_f64, plain, to_figures};
use crate::stats::{student_t_two_sided, variance_ratio_above};
use crate::submission::{HandIn, TrialLabel};
use crate::truth::Assigned;
use crate::words::counted;
use crate::workup::WorkUp;

/// Two-sided level at which a result counts as off the truth, and one-sided level of the scatter test: 24 clean
/// submissions raise a quarter of a flag each by chance.
pub const FLAG_LEVEL: f64 = 0.01;

/// The factor at [`FLAG_LEVEL`] for infinitely many degrees of freedom, rounded down.
const LEAST_FACTOR: f64 = 2.575;

/// Every flag of a submission, most consequential first.
pub(super) fn flags(
    case: &Case,
    work_up: &WorkUp,
    truth: Option<Assigned>,
    (readings, answer): (&Explanation, &Explanation),
) -> Vec<Flag> {
    let mut found = Vec::new();
    if readings.likely().is_none() {
        found.extend(inconsistent_truth(work_up, truth));
    }
    found.extend(likely_slip(case, readings, answer));
    found.extend(unknown_mismatch(case, work_up));
    if answer.likely().is_none() {
        found.extend(reported_differs(case, work_up));
    }
    found.extend(scatter_high(case, work_up));
    found.extend(alike(case.likenesses));
    found.extend(scatter_low(case, work_up));
    found.extend(end_digits(case.procedure, case.hand_in));
    found.extend(few_trials(case, work_up));
    found.extend(recording(case));
    found.extend(instrument(case));
    found.extend(late(case));
    found
}

fn certain(code: FlagCode, evidence: String) -> Flag {
    Flag {
        code,
        evidence,
        chance: 0.0,
    }
}

fn short(value: Decimal) -> String {
    plain(to_figures(value, 4))
}

fn inconsistent_truth(work_up: &WorkUp, truth: Option<Assigned>) -> Option<Flag> {
    let (x, truth, budget) = (work_up.value()?, truth?, work_up.budget.as_ref()?);
    let off = as_f64(x.checked_sub(truth.value)?).abs();
    let joined = budget.standard.hypot(as_f64(truth.standard_uncertainty));
    // the normal's factor is the least there is, and quicker to have
    if off <= LEAST_FACTOR * joined {
        return None;
    }
    let limit = student_t_two_sided(1.0 - FLAG_LEVEL, budget.degrees_of_freedom) * joined;
    (off > limit).then(|| Flag {
        code: FlagCode::InconsistentTruth,
        evidence: format!(
            "result {} against {} assigned: {} apart, more than the {} that the uncertainty allows at 99 %",
            short(x),
            short(truth.value),
            from_f64(off, 3).map(plain).unwrap_or_default(),
            from_f64(limit, 3).map(plain).unwrap_or_default(),
        ),
        chance: FLAG_LEVEL,
    })
}

/// Chance that clean work has a reading slip put forward: measured on simulated classes, see the tests.
const SLIP_LEVEL: f64 = 0.01;

fn likely_slip(case: &Case, readings: &Explanation, answer: &Explanation) -> Option<Flag> {
    let unit = case.procedure.result.unit.name();
    let said = |of: &Explanation, what: &str| {
        let slip = of.likely()?;
        let place = if slip.place.is_empty() {
            String::new()
        } else {
            format!(" ({})", slip.place)
        };
        let words = slip.code.words();
        Some(format!(
            "{words}{place}: {what} {} {unit}",
            short(slip.prediction)
        ))
    };
    let found = [
        said(readings, "without it the result is"),
        said(answer, "with it the answer is"),
    ];
    let evidence: Vec<String> = found.into_iter().flatten().collect();
    let chance = if readings.likely().is_some() {
        SLIP_LEVEL
    } else {
        0.0
    };
    (!evidence.is_empty()).then(|| Flag {
        code: FlagCode::LikelySlip,
        evidence: evidence.join("; "),
        chance,
    })
}

fn unknown_mismatch(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let mut evidence = Vec::new();
    if let (Some(issued), Some(written)) = (case.issued, case.other_code()) {
        let against = |code: &str| {
            let truth = case.known(code)?.truth.open().value;
            Some(plain(to_figures(
                relative_error(work_up.value()?, truth)?,
                2,
            )))
        };
        let fares = match (against(written), against(issued)) {
            (Some(other), Some(own)) => format!(": {other} % off {written}, {own} % off {issued}"),
            (None, _) if case.known(written).is_none() => ": no bottle has that code".to_owned(),
            _ => String::new(),
        };
        evidence.push(format!("wrote {written}, was given {issued}{fares}"));
    } else if case.marked_against().is_none() {
        let written = case.hand_in.unknown_written();
        evidence.push(match written {
            Some(code) => format!("wrote {code}, which no bottle has, and none was issued"),
            None => "no bottle was issued and none is written".to_owned(),
        });
    }
    if case.default_lots.assigned && case.procedure.uses_titrant_lot() {
        let default = case.default_lots.titrant.as_deref();
        let written = case
            .hand_in
            .titrations
            .iter()
            .filter_map(|t| t.lot.as_deref());
        if let Some((written, own)) = written
            .zip(default.into_iter().cycle())
            .find(|(w, own)| w != own)
        {
            evidence.push(format!("wrote lot {written}, the section was given {own}"));
        }
    }
    (!evidence.is_empty()).then(|| certain(FlagCode::UnknownMismatch, evidence.join("; ")))
}

fn reported_differs(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let (answer, value) = (case.hand_in.reported.as_ref()?, work_up.value()?);
    let within = case.procedure.marking.within();
    (!agrees(answer, value, within)).then(|| {
        certain(
            FlagCode::ReportedDiffers,
            format!("answered {answer}, the readings give {}", short(value)),
        )
    })
}

fn scatter_high(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let spread = work_up.spread.as_ref()?;
    let (s, predicted) = (spread.s?, work_up.predicted_scatter?);
    // s no larger than predicted never is far too large
    if s <= predicted && !work_up.none_agree {
        return None;
    }
    let freedom = spread.n as f64 - 1.0;
    let of_model = work_up
        .budget
        .as_ref()
        .map_or(f64::INFINITY, |b| b.predicted_degrees_of_freedom);
    let p = variance_ratio_above((s / predicted).powi(2), freedom, of_model);
    let unit = case.procedure.result.unit.name();
    let figures = |v: f64| from_f64(v, 3).map(plain).unwrap_or_default();
    let agree = if work_up.none_agree {
        "no two titres agree; "
    } else {
        ""
    };
    (work_up.none_agree || p < FLAG_LEVEL).then(|| Flag {
        code: FlagCode::ScatterHigh,
        evidence: format!(
            "{agree}s of {} trials is {} {unit}, reading and endpoint predict {} {unit} (chance {})",
            spread.n,
            figures(s),
            figures(predicted),
            if p < 0.000_1 {
                "below 0.0001".to_owned()
            } else {
                figures(p)
            }
        ),
        chance: FLAG_LEVEL,
    })
}

fn few_trials(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let (counted, minimum) = (work_up.counted(), case.procedure.trials.minimum);
    let mut evidence = Vec::new();
    if counted < minimum as usize {
        let trials = if minimum == 1 {
            "trial counts"
        } else {
            "trials count"
        };
        evidence.push(format!("{counted} of {minimum} {trials}"));
        let reasons = work_up
            .trials
            .iter()
            .filter_map(|t| Some((t.trial.number()?, t.why_not.as_ref()?)));
        evidence.extend(reasons.map(|(n, why)| format!("trial {n}: {why}")));
    }
    if work_up.blank_missing {
        evidence.push("no blank was titrated".to_owned());
    }
    (!evidence.is_empty()).then(|| certain(FlagCode::FewTrials, evidence.join("; ")))
}

fn recording(case: &Case) -> Option<Flag> {
    let rows = case
        .hand_in
        .titrations
        .iter()
        .filter(|t| t.trial.number().is_some());
    let mut evidence: Vec<String> = rows
        .flat_map(|t| {
            written_otherwise(case.procedure, t).map(move |(column, expected)| {
                let reading = column.get(t).map_or("", |r| r.written());
                format!(
                    "{} {reading}, {} expected",
                    place(t.trial, column),
                    counted(expected, "decimal", "decimals")
                )
            })
        })
        .collect();
    if !case.hand_in.confirmed.is_empty() {
        let places = case.hand_in.confirmed.iter();
        let places: Vec<String> = places.map(|id| asked_about(case.hand_in, id)).collect();
        evidence.push(format!(
            "confirmed against a question: {}",
            places.join(", ")
        ));
    }
    (!evidence.is_empty()).then(|| certain(FlagCode::Recording, evidence.join("; ")))
}

/// What people call a reading.
fn place(trial: TrialLabel, column: Column) -> String {
    let trial = match trial {
        TrialLabel::Numbered(n) => format!("trial {n}"),
        other => other.to_string(),
    };
    let mut label = column.label();
    if let Some(first) = label.get_mut(..1) {
        first.make_ascii_lowercase();
    }
    format!("{trial}, {label}")
}

/// What a question that a student stood by was about.
fn asked_about(hand_in: &HandIn, id: &str) -> String {
    let reading = || {
        let (row, column) = id.split_once(':')?;
        let row = row.parse::<usize>().ok()?.checked_sub(1)?;
        let titration = hand_in.titrations.get(row)?;
        Some(place(titration.trial, Column::from_name(column)?))
    };
    match id {
        "unknown" => "the code on the bottle".to_owned(),
        _ => reading().unwrap_or_else(|| id.to_owned()),
    }
}

fn instrument(case: &Case) -> Option<Flag> {
    let rows = case.hand_in.titrations.iter().enumerate();
    let evidence: Vec<String> = rows
        .flat_map(|(row, t)| {
            range_questions(case.procedure, row, t)
                .into_iter()
                .map(move |q| (t.trial, q))
        })
        .map(|(trial, question)| match trial {
            TrialLabel::Numbered(n) => format!("trial {n}: {}", question.text),
            other => format!("{other}: {}", question.text),
        })
        .collect();
    (!evidence.is_empty()).then(|| certain(FlagCode::Instrument, evidence.join("; ")))
}

fn late(case: &Case) -> Vec<Flag> {
    let grace = case
        .procedure
        .marking
        .late
        .as_ref()
        .map_or(Decimal::ZERO, |late| late.grace_hours);
    let mut found = Vec::new();
    let days = days_late(case.submitted_at, case.due, grace);
    if days > 0 {
        let days = counted(days, "started day", "started days");
        found.push(certain(
            FlagCode::Late,
            format!("{days} after the grace time"),
        ));
    }
    if case.revision > 1 && case.submitted_at > case.due && case.due.is_some() {
        found.push(certain(
            FlagCode::RevisedAfterDue,
            format!(
                "revision {} was handed in after the due time",
                case.revision
            ),
        ));
    }
    found
}
