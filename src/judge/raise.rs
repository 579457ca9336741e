//! Raises flags: each with its evidence and the chance that clean work raises it.

use rust_decimal::Decimal;

use super::agreement::Agreement;
use super::alike::alike;
use super::carried::AsAssigned;
use super::case::{Case, relative_error};
use super::flags::{Flag, FlagCode};
use super::marks::{Marks, Part, days_late};
use super::questions::{range_questions, written_otherwise};
use super::slips::{Candidate, Explanation, SlipCode};
use crate::columns::Column;
use crate::measure::{as_f64, from_f64, plain, to_figures};
use crate::procedure::CarriedBy;
use crate::stats::{student_t_two_sided, variance_ratio_above};
use crate::submission::{HandIn, TrialLabel};
use crate::truth::Assigned;
use crate::words::counted;
use crate::workup::WorkUp;

/// Two-sided level at which a result counts as off the truth.
pub const FLAG_LEVEL: f64 = 0.01;

/// The factor at [`FLAG_LEVEL`] for infinitely many degrees of freedom, rounded down.
const LEAST_FACTOR: f64 = 2.575;

/// What explains what was found, place by place.
pub(super) struct Slips<'e> {
    pub of_trials: &'e Explanation,
    pub of_readings: &'e Explanation,
    pub of_answer: &'e Explanation,
    /// The student's own answer beside the recomputation.
    pub answer: Option<Agreement>,
    /// Where a titrant carried over is off.
    pub off: Option<&'e AsAssigned>,
}

/// Every flag of a submission, most consequential first. A result is compared with what the class found where what was
/// assigned is off.
pub(super) fn flags(
    case: &Case,
    work_up: &WorkUp,
    compared: Option<Assigned>,
    marks: &Marks,
    slips: &Slips,
) -> Vec<Flag> {
    let mut found = Vec::new();
    let every = slips.of_trials.likely().map(|slip| slip.code) == Some(SlipCode::AllReadUpward);
    if slips.of_readings.likely().is_none() && !every {
        let work_up = slips.off.map_or(work_up, |off| &off.work_up);
        found.extend(inconsistent_truth(case, work_up, compared, slips));
    }
    found.extend(carried_error(case, slips));
    found.extend(not_standardised(case, work_up));
    found.extend(likely_slip(case, work_up, slips));
    found.extend(set_aside(case));
    found.extend(unknown_mismatch(case, work_up));
    if slips.of_answer.likely().is_none() {
        found.extend(reported_differs(case, work_up, slips));
    }
    // what a slip named in a trial that counts does to the scatter is said once
    if !names_counted(slips.of_trials, work_up) && !has_full(marks, Part::Agreement) {
        found.extend(scatter_high(case, work_up));
    }
    found.extend(alike(&case.class.likenesses));
    found.extend(case.class.habits.flags());
    found.extend(few_trials(case, work_up));
    found.extend(recording(case));
    found.extend(instrument(case));
    found.extend(late(case));
    found
}

/// Whether a slip is put forward in a trial that counts.
fn names_counted(explanation: &Explanation, work_up: &WorkUp) -> bool {
    let counts = |number: &u32| {
        let mut trials = work_up.trials.iter();
        trials.any(|t| t.counted && t.trial.number() == Some(*number))
    };
    let likely = explanation.likely();
    likely.is_some_and(|slip| slip.trials.iter().any(counts))
}

/// Rows of a file that nobody could read.
fn set_aside(case: &Case) -> impl Iterator<Item = Flag> {
    let rows = case.settlement.set_aside.iter();
    rows.map(|row| Flag::certain(FlagCode::SetAside, row.clone()))
}

/// Whether a part that is marked has all its points.
fn has_full(marks: &Marks, part: Part) -> bool {
    marks
        .part(part)
        .is_some_and(|mark| mark.points == mark.possible)
}

fn short(value: Decimal) -> String {
    plain(to_figures(value, 4))
}

fn inconsistent_truth(
    case: &Case,
    work_up: &WorkUp,
    compared: Option<Assigned>,
    slips: &Slips,
) -> Option<Flag> {
    let (x, truth, budget) = (work_up.value()?, compared?, work_up.budget.as_ref()?);
    let off = as_f64(x.checked_sub(truth.value)?).abs();
    let own = budget.standard * case.class.spread.between;
    let joined = own.hypot(as_f64(truth.standard_uncertainty));
    // the normal's factor is the least there is, and quicker to have
    if off <= LEAST_FACTOR * joined {
        return None;
    }
    let limit = student_t_two_sided(1.0 - FLAG_LEVEL, budget.degrees_of_freedom) * joined;
    let against = match &case.class.consensus {
        Some(consensus) => format!("found by the class, since {} is off", consensus.cause),
        None => "assigned".to_owned(),
    };
    let titrant = match slips.off {
        Some(_) => " with the molarity assigned to its titrant",
        None => "",
    };
    (off > limit).then(|| {
        let evidence = format!(
            "result {}{titrant} against {} {against}: {} apart, more than the {} that the uncertainty allows at 99 %",
            short(x),
            short(truth.value),
            from_f64(off, 3).map(plain).unwrap_or_default(),
            from_f64(limit, 3).map(plain).unwrap_or_default(),
        );
        Flag {
            candidates: candidates([slips.of_readings]),
            ..Flag::by_chance(FlagCode::InconsistentTruth, evidence, FLAG_LEVEL)
        }
    })
}

/// Slips with their shares, as a flag keeps them.
fn candidates<'e>(of: impl IntoIterator<Item = &'e Explanation>) -> Vec<(SlipCode, Decimal)> {
    let all = of
        .into_iter()
        .flat_map(|explanation| &explanation.candidates);
    all.map(|candidate| (candidate.code, candidate.share))
        .collect()
}

/// Chance that clean work has a reading slip put forward: measured on simulated classes, see the tests.
const SLIP_LEVEL: f64 = 0.003;

fn likely_slip(case: &Case, work_up: &WorkUp, slips: &Slips) -> Option<Flag> {
    let unit = case.procedure.result.unit.name();
    let said = |explanation: &Explanation, what: &dyn Fn(&Candidate) -> String| {
        let slip = explanation.likely()?;
        let place = if slip.place.is_empty() {
            String::new()
        } else {
            format!(" ({})", slip.place)
        };
        let value = short(slip.prediction);
        Some(format!(
            "{}{place}: {} {value} {unit}",
            slip.words(),
            what(slip)
        ))
    };
    let of_trial = |slip: &Candidate| match slip.trials.as_slice() {
        [number] => format!("without it trial {number} agrees with the others and gives"),
        _ => "without it the trials agree and give".to_owned(),
    };
    let all = [slips.of_trials, slips.of_readings, slips.of_answer];
    let found = [
        said(all[0], &of_trial),
        match all[1].likely() {
            Some(slip) if slip.code == SlipCode::OtherUnknown => {
                let compared = slips.off.map_or(work_up, |off| &off.work_up);
                fits_another(case, compared, &slip.place, unit)
            }
            _ => said(all[1], &|_| "without it the result is".to_owned()),
        },
        said(all[2], &|_| "with it the answer is".to_owned()),
    ];
    let evidence: Vec<String> = found.into_iter().flatten().collect();
    let at_the_bench = all[0].likely().is_some() || all[1].likely().is_some();
    let chance = if at_the_bench { SLIP_LEVEL } else { 0.0 };
    let put_forward = all.into_iter().filter(|one| one.likely().is_some());
    let flag = Flag {
        candidates: candidates(put_forward),
        ..Flag::by_chance(FlagCode::LikelySlip, evidence.join("; "), chance)
    };
    // a trial that does not count costs nothing, and an answer's share is given already
    let review = names_counted(all[0], work_up) || all[1].likely().is_some();
    (!evidence.is_empty()).then_some(Flag { review, ..flag })
}

/// That the result fits another bottle of the experiment, and how well.
fn fits_another(case: &Case, work_up: &WorkUp, code: &str, unit: &str) -> Option<String> {
    let assigned = case.known(code)?.truth.open().value;
    let off = relative_error(work_up.value()?, assigned)?;
    let (assigned, off) = (short(assigned), plain(to_figures(off.abs(), 2)));
    Some(format!(
        "fits bottle {code} ({assigned} {unit}): {off} % off"
    ))
}

/// A titrant that its users standardised wrongly. That was flagged in the experiment where they did.
fn carried_error(case: &Case, slips: &Slips) -> Option<Flag> {
    let evidence = slips.off?.evidence(case)?;
    Some(Flag::by_chance(
        FlagCode::CarriedError,
        evidence,
        FLAG_LEVEL,
    ))
}

/// Readings without a result, since nobody has found the molarity of their titrant, or read the standards of their line, yet.
fn not_standardised(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    if let Some((_, from)) = case.procedure.line_taken_over() {
        let waits = case.line.is_none() && work_up.counted() == 0;
        let evidence =
            || format!("no standards of the student in {from}, whose line is taken over");
        return waits.then(|| Flag::certain(FlagCode::NotStandardised, evidence()));
    }
    let carried = case.procedure.carried_over()?;
    let mut rows = case.hand_in.titrations.iter();
    let waits = case.carried.is_none() && rows.any(|row| row.lot.is_none());
    let evidence = || {
        let whose = match carried.by {
            CarriedBy::Student => "the student",
            CarriedBy::Bench => "the bench group",
            CarriedBy::Section => "the section",
        };
        let from = &carried.from;
        format!("no result of {whose} in {from}, which gives the titrant its molarity")
    };
    (waits && work_up.counted() == 0).then(|| Flag::certain(FlagCode::NotStandardised, evidence()))
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
    (!evidence.is_empty()).then(|| Flag::certain(FlagCode::UnknownMismatch, evidence.join("; ")))
}

fn reported_differs(case: &Case, work_up: &WorkUp, slips: &Slips) -> Option<Flag> {
    let (answer, value) = (case.hand_in.reported.as_ref()?, work_up.value()?);
    (!slips.answer?.agrees).then(|| Flag {
        candidates: candidates([slips.of_answer]),
        ..Flag::certain(
            FlagCode::ReportedDiffers,
            format!(
                "answered {answer}, the readings give {}{}",
                short(value),
                multiple(as_f64(answer.value()) / as_f64(value))
            ),
        )
    })
}

/// What an answer is of the result, where it is a small whole multiple or part of it: whoever reads that knows where to
/// look, though no slip on the list does it.
fn multiple(ratio: f64) -> String {
    const NEAR: f64 = 0.002;
    let is = |of: f64| (ratio / of - 1.0).abs() < NEAR;
    let named = [
        (0.25, "a quarter"),
        (1.0 / 3.0, "a third"),
        (0.5, "half"),
        (2.0, "twice"),
        (3.0, "three times"),
        (4.0, "four times"),
    ];
    let found = named.into_iter().find(|(of, _)| is(*of));
    found.map_or_else(String::new, |(of, words)| match of > 1.0 {
        true => format!("; it is {words} as much"),
        false => format!("; it is {words} of that"),
    })
}

/// One-sided level of the scatter test, on what the class shows: people who work roughly are seen in their points, and a
/// person is asked only for what hardly anybody does.
const SCATTER_LEVEL: f64 = 0.000_5;

fn scatter_high(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let spread = work_up.spread.as_ref()?;
    let (s, predicted) = (spread.s?, work_up.predicted_scatter?);
    let usual = predicted * case.class.spread.within;
    // s no larger than usual never is far too large
    if s <= usual {
        return None;
    }
    let freedom = spread.n as f64 - 1.0;
    let of_model = work_up
        .budget
        .as_ref()
        .map_or(f64::INFINITY, |b| b.predicted_degrees_of_freedom);
    let p = variance_ratio_above((s / usual).powi(2), freedom, of_model);
    let unit = case.procedure.result.unit.name();
    let figures = |v: f64| from_f64(v, 2).map(plain).unwrap_or_default();
    let agree = if work_up.none_agree {
        "no two titres agree; "
    } else {
        ""
    };
    (p < SCATTER_LEVEL).then(|| {
        let evidence = format!(
            "{agree}s of {} trials is {} {unit}, where the class shows {} {unit} ({} by chance)",
            spread.n,
            figures(s),
            figures(usual),
            odds(p),
        );
        Flag::by_chance(FlagCode::ScatterHigh, evidence, SCATTER_LEVEL)
    })
}

/// A probability as people say it: about 1 in 200.
pub(super) fn odds(p: f64) -> String {
    if p < 1e-6 {
        return "less than 1 in a million".to_owned();
    }
    let among = from_f64(1.0 / p, 1).map(plain).unwrap_or_default();
    format!("about 1 in {among}")
}

fn few_trials(case: &Case, work_up: &WorkUp) -> Option<Flag> {
    let (counted, minimum) = (work_up.counted(), case.procedure.trials.minimum);
    let mut evidence = Vec::new();
    if counted < minimum as usize && not_standardised(case, work_up).is_none() {
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
    let flag = Flag::certain(FlagCode::FewTrials, evidence.join("; "));
    // fewer trials than asked for cost points by the rule; without a result or a blank somebody has to decide
    let review = counted == 0 || work_up.blank_missing;
    (!evidence.is_empty()).then_some(Flag { review, ..flag })
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
    (!evidence.is_empty()).then(|| Flag::certain(FlagCode::Recording, evidence.join("; ")))
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
    (!evidence.is_empty()).then(|| Flag::certain(FlagCode::Instrument, evidence.join("; ")))
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
        let days = counted(days, "day", "days");
        found.push(Flag::certain(FlagCode::Late, format!("{days} late")));
    }
    if case.revision > 1 && case.submitted_at > case.due && case.due.is_some() {
        found.push(Flag::certain(
            FlagCode::RevisedAfterDue,
            format!(
                "revision {} was handed in after the due time",
                case.revision
            ),
        ));
    }
    found
}
