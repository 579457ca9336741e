//! Marks by hand: a procedure whose result is a hundredth of the titre, so that every expectation can be worked out
//! in the head.

use concordant::files::{Folder, read_term};
use concordant::judge::{Evaluation, FlagCode, Part};
use concordant::term::{Status, Term};

use crate::reference::dec;

const PROCEDURE: &str = r#"
key = "plain-acid"
title = "Plain acid"
scheme = "direct"
reactions = ["HCl + NaOH -> NaCl + H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.1"
burette = "burette-50-b"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
[result]
analyte = "HCl"
unit = "mol/L"
[trials]
minimum = 3
accept = { rule = "concordant", within_mL = "0.10" }
[marking]
accuracy = { points = "10", steps = [["0.5", "10"], ["1", "9"], ["2", "7"]] }
agreement = { points = "4", ramp = { full_within = "0.5", zero_from = "3.0" } }
recording = { points = "3" }
calculation = { points = "3", within = "0.5", single_slip_share = "0.5" }
by_hand = { points = "2" }
late = { grace_hours = 2, share_per_day = "0.10", floor = "0.50" }
[text]
summary = "s"
steps = ["s"]
cautions = ["c"]
waste = "w"
"#;

const READINGS: &str =
    "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,submitted_at\n";

/// A course of one student, whose true value is 0.2000 mol/L.
fn course(readings: &str, more: &[(&str, &str)]) -> Term {
    let mut folder = Folder::default();
    let mut put =
        |path: &str, text: &str| folder.insert(path, text.as_bytes().to_vec()).expect("room");
    put(
        "course.toml",
        "title = \"T\"\nterm = \"t\"\ntime_zone = \"Europe/Lisbon\"\n[[experiment]]\nkey = \"x\"\n\
         procedure = \"plain-acid\"\nopens = 2026-10-20T09:00:00\ndue = 2026-10-23T17:00:00\n",
    );
    put(
        "roster.csv",
        "student_id,family_name,given_name,section\n01,Reis,Iva,A\n02,Sol,Rui,A\n",
    );
    put("procedures/plain-acid.toml", PROCEDURE);
    put(
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nL,NaOH,0.1000,0.0001\n",
    );
    put(
        "unknowns.csv",
        "experiment,unknown,true_value,standard_uncertainty\nx,U,0.2000,0.0001\nx,W,0.2100,0.0001\n",
    );
    put("issued.csv", "experiment,student_id,unknown\nx,01,U\n");
    put("readings/x.csv", &format!("{READINGS}{readings}"));
    for (path, text) in more {
        put(path, text);
    }
    read_term(&folder).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Three trials of the given delivered volumes.
fn trials(volumes: &[&str]) -> String {
    volumes
        .iter()
        .enumerate()
        .map(|(i, v)| format!("01,{},L,,0.00,{v},\n", i + 1))
        .collect()
}

fn judged(term: &Term) -> Evaluation {
    let judged = term.judge(&crate::slot("x", "01"));
    std::sync::Arc::unwrap_or_clone(judged.expect("handed in").evaluation)
}

fn points(evaluation: &Evaluation, part: Part) -> String {
    evaluation
        .marks
        .part(part)
        .expect("the part")
        .points
        .to_string()
}

fn has(evaluation: &Evaluation, code: FlagCode) -> bool {
    evaluation.flags.iter().any(|flag| flag.code == code)
}

#[test]
fn a_value_exactly_on_a_limit_takes_the_better_step() {
    for (volume, expected) in [
        ("20.10", "10.00"),
        ("20.11", "9.00"),
        ("20.20", "9.00"),
        ("20.21", "7.00"),
        ("19.60", "7.00"),
        ("19.59", "0.00"),
    ] {
        let evaluation = judged(&course(&trials(&[volume; 3]), &[]));
        assert_eq!(points(&evaluation, Part::Accuracy), expected, "{volume}");
        assert_eq!(points(&evaluation, Part::Agreement), "4.00");
        assert_eq!(points(&evaluation, Part::Recording), "3.00");
    }
}

#[test]
fn agreement_falls_straight_between_its_limits() {
    // 20.00, 20.10, 20.08 lie within 0.10: range 0.10 / mean 20.06 = 0.4985 %, all points
    let evaluation = judged(&course(&trials(&["20.00", "20.10", "20.08"]), &[]));
    assert_eq!(points(&evaluation, Part::Agreement), "4.00");
    // no two agree, all count: range 0.40 / 20.20 = 1.9802 %; 4 × (3 − 1.9802) / 2.5 = 1.63
    let evaluation = judged(&course(&trials(&["20.00", "20.20", "20.40"]), &[]));
    assert_eq!(points(&evaluation, Part::Agreement), "1.63");
    assert!(has(&evaluation, FlagCode::ScatterHigh));
    assert!(evaluation.trials.iter().all(|t| t.counted));
}

#[test]
fn the_largest_concordant_set_counts_ties_go_to_the_smallest_spread_then_to_the_latest() {
    let counted = |volumes: &[&str]| -> Vec<bool> {
        judged(&course(&trials(volumes), &[]))
            .trials
            .iter()
            .map(|t| t.counted)
            .collect()
    };
    // three within exactly 0.10 beat a pair
    assert_eq!(
        counted(&["20.00", "20.10", "20.05", "25.00"]),
        [true, true, true, false]
    );
    assert_eq!(
        counted(&["20.00", "20.11", "20.30", "20.38"]),
        [false, false, true, true]
    );
    // equal spread: the later pair
    assert_eq!(
        counted(&["20.00", "20.05", "21.00", "21.05"]),
        [false, false, true, true]
    );
    // the smaller spread, though earlier
    assert_eq!(
        counted(&["20.00", "20.02", "21.00", "21.05"]),
        [true, true, false, false]
    );
}

#[test]
fn fewer_trials_scale_accuracy_and_agreement() {
    let evaluation = judged(&course(&trials(&["20.00", "20.00"]), &[]));
    // 10 × 2/3 and 4 × 2/3
    assert_eq!(points(&evaluation, Part::Accuracy), "6.67");
    assert_eq!(points(&evaluation, Part::Agreement), "2.67");
    assert!(has(&evaluation, FlagCode::FewTrials));
    let rough = judged(&course("01,rough,L,,0.00,20.00,\n", &[]));
    for part in [Part::Accuracy, Part::Agreement, Part::Recording] {
        assert_eq!(points(&rough, part), "0.00", "no counted trial");
    }
    assert!(rough.outcome.is_none());
}

#[test]
fn recording_counts_readings_of_numbered_trials() {
    // 6 readings, of which 20.0 and 0 are not written with two decimals: 3 × 4/6; the rough one is left out
    let readings = "01,rough,L,,0,20,\n01,1,L,,0.00,20.0,\n01,2,L,,0,20.00,\n01,3,L,,0.00,20.00,\n";
    let evaluation = judged(&course(readings, &[]));
    assert_eq!(points(&evaluation, Part::Recording), "2.00");
    let flag = evaluation
        .flags
        .iter()
        .find(|f| f.code == FlagCode::Recording)
        .expect("flagged");
    assert!(
        flag.evidence
            .contains("burette end (mL) 20.0, 2 decimals expected"),
        "{}",
        flag.evidence
    );
}

#[test]
fn an_answer_is_compared_with_the_students_own_readings() {
    // the readings give 0.2050, which is 2.5 % off the truth: that costs accuracy and not calculation
    let answer = |value: &str| {
        let reported = format!("experiment,student_id,value\nx,01,{value}\n");
        judged(&course(
            &trials(&["20.50"; 3]),
            &[("reported.csv", &reported)],
        ))
    };
    for (value, expected) in [
        ("0.205", "3.00"),
        ("0.2060", "3.00"),
        ("0.2061", "0.00"),
        // right as it is rounded, but with two figures fewer than the readings give
        ("0.2", "0.00"),
        ("0.21", "0.00"),
        ("0.22", "0.00"),
    ] {
        let evaluation = answer(value);
        assert_eq!(points(&evaluation, Part::Calculation), expected, "{value}");
        assert_eq!(
            has(&evaluation, FlagCode::ReportedDiffers),
            expected == "0.00",
            "{value}"
        );
    }
    let none = judged(&course(&trials(&["20.50"; 3]), &[]));
    assert_eq!(points(&none, Part::Calculation), "0.00");
    assert!(!has(&none, FlagCode::ReportedDiffers));
}

/// Due 17:00 in Lisbon on Friday 23 October 2026, which is 16:00 UTC; two hours of grace; clocks go back on the 25th.
#[test]
fn late_work_loses_a_share_per_started_day_after_the_grace_time() {
    let at = |time: &str| {
        let readings = trials(&["20.00"; 3]).replace(",\n", &format!(",{time}\n"));
        judged(&course(
            &readings,
            &[("by-hand.csv", "experiment,student_id,points\nx,01,1.5\n")],
        ))
    };
    // 10 + 4 + 3 + 0 + 1.5 = 18.50 points
    for (time, late, total) in [
        ("2026-10-23T16:00:00Z", "0.00", "18.50"),
        ("2026-10-23T19:00:00+01:00", "0.00", "18.50"),
        ("2026-10-23T18:00:01Z", "1.85", "16.65"),
        ("2026-10-24T18:00:00Z", "1.85", "16.65"),
        ("2026-10-24T18:00:01Z", "3.70", "14.80"),
        ("2026-10-26T18:00:00Z", "5.55", "12.95"),
        ("2026-12-24T18:00:00Z", "9.25", "9.25"),
    ] {
        let evaluation = at(time);
        assert_eq!(evaluation.marks.late.to_string(), late, "{time}");
        assert_eq!(evaluation.marks.total.to_string(), total, "{time}");
        assert_eq!(has(&evaluation, FlagCode::Late), late != "0.00", "{time}");
    }
}

#[test]
fn the_unknown_issued_counts_unless_settled_otherwise() {
    let rows = trials(&["21.00"; 3]).replace(",L,,", ",L,W,");
    let term = course(&rows, &[]);
    let evaluation = judged(&term);
    assert_eq!(evaluation.unknown, "U");
    assert_eq!(evaluation.relative_error_percent, Some(dec("5")));
    let flag = evaluation
        .flags
        .iter()
        .find(|f| f.code == FlagCode::UnknownMismatch)
        .expect("flagged");
    assert_eq!(flag.evidence, "wrote W, was given U: 0 % off W, 5 % off U");
    let settled = course(
        &rows,
        &[(
            "decisions.csv",
            "experiment,student_id,at,by,ruling,detail,reason\nx,01,2026-10-25T09:00:00Z,a,against-written,true,swapped\n",
        )],
    );
    let judged = settled.judge(&crate::slot("x", "01")).expect("handed in");
    assert_eq!(
        (judged.evaluation.unknown.as_str(), judged.status),
        ("W", Status::Settled)
    );
    assert_eq!(points(&judged.evaluation, Part::Accuracy), "10.00");
    // a code that no bottle has is evidence, not a fault
    let strange = self::judged(&course(&rows.replace(",W,", ",Q7,"), &[]));
    let flag = strange
        .flags
        .iter()
        .find(|f| f.code == FlagCode::UnknownMismatch)
        .expect("flagged");
    assert_eq!(
        flag.evidence,
        "wrote Q7, was given U: no bottle has that code"
    );
}

#[test]
fn with_none_issued_the_one_written_counts() {
    let rows = trials(&["21.00"; 3])
        .replace(",L,,", ",L,W,")
        .replace("01,", "02,");
    let term = course(&rows, &[]);
    let evaluation = term
        .judge(&crate::slot("x", "02"))
        .expect("handed in")
        .evaluation;
    assert_eq!(evaluation.unknown, "W");
    assert_eq!(evaluation.relative_error_percent, Some(dec("0")));
    assert!(!has(&evaluation, FlagCode::UnknownMismatch));
}

#[test]
fn a_result_off_the_truth_is_flagged_with_its_evidence() {
    let evaluation = judged(&course(&trials(&["20.50"; 3]), &[]));
    let flag = evaluation
        .flags
        .iter()
        .find(|f| f.code == FlagCode::InconsistentTruth)
        .expect("flagged");
    assert!(
        flag.evidence
            .starts_with("result 0.205 against 0.2 assigned: 0.005 apart"),
        "{}",
        flag.evidence
    );
    assert!(flag.chance > 0.0 && flag.chance * 24.0 < 1.0);
    assert!(!has(
        &judged(&course(&trials(&["20.02"; 3]), &[])),
        FlagCode::InconsistentTruth
    ));
}

#[test]
fn a_trial_left_out_does_not_count_and_points_can_be_adjusted() {
    let decisions = "experiment,student_id,at,by,ruling,detail,reason\n\
                     x,01,2026-10-25T09:00:00Z,a,leave-out,3,spilled\n\
                     x,01,2026-10-25T09:01:00Z,a,adjust,1.25,explained it well\n";
    let evaluation = judged(&course(
        &trials(&["20.00", "20.02", "20.04"]),
        &[("decisions.csv", decisions)],
    ));
    let counted: Vec<bool> = evaluation.trials.iter().map(|t| t.counted).collect();
    assert_eq!(counted, [true, true, false]);
    assert_eq!(
        evaluation.trials[2]
            .why_not
            .as_ref()
            .map(ToString::to_string)
            .as_deref(),
        Some("left out by decision")
    );
    // 6.67 + 2.67 + 3 + 0 + 0 + 1.25
    assert_eq!(evaluation.marks.total.to_string(), "13.59");
    assert_eq!(evaluation.marks.possible.to_string(), "22.00");
}

/// Students of a bench group share one set of readings; the answer and the points by hand are their own.
#[test]
fn a_bench_group_shares_readings_and_nothing_else() {
    let more = [
        (
            "groups.csv",
            "experiment,student_id,group\nx,01,g\nx,02,g\n",
        ),
        (
            "reported.csv",
            "experiment,student_id,value\nx,01,0.25\nx,02,0.2000\n",
        ),
        ("by-hand.csv", "experiment,student_id,points\nx,02,2\n"),
    ];
    let term = course(&trials(&["20.00"; 3]), &more);
    let mate = term
        .judge(&crate::slot("x", "02"))
        .expect("shared")
        .evaluation;
    // nothing was issued to the mate: the bottle that was titrated counts
    assert_eq!(mate.unknown, "U");
    assert_eq!(points(&mate, Part::Calculation), "3.00");
    assert_eq!(points(&mate, Part::ByHand), "2.00");
    assert_eq!(points(&mate, Part::Recording), "3.00");
    let own = judged(&term);
    assert_eq!(
        (own.unknown.as_str(), points(&own, Part::Calculation)),
        ("U", "0.00".to_owned())
    );
    // an answer without readings, and without a group, hands nothing in
    let alone = course(
        "",
        &[("reported.csv", "experiment,student_id,value\nx,02,0.2\n")],
    );
    assert!(alone.judge(&crate::slot("x", "02")).is_none());
    assert_eq!(alone.submissions.len(), 1);
}

/// Every end reading used as the volume: 0.1 × 21.00 / 10 = 0.2100 for 0.1 × 20.00 / 10.
#[test]
fn a_recognised_slip_keeps_its_share_and_is_said_kindly() {
    let readings = "01,1,L,,1.00,21.00,\n01,2,L,,1.02,21.02,\n01,3,L,,0.98,20.98,\n";
    let answered = |value: &str| {
        let reported = format!("experiment,student_id,value\nx,01,{value}\n");
        judged(&course(readings, &[("reported.csv", &reported)]))
    };
    let found = answered("0.2100");
    let slip = found.calculation_slips.likely().expect("a slip");
    assert_eq!(slip.code.code(), "end-not-difference");
    assert_eq!(points(&found, Part::Calculation), "1.50");
    let sentence = &found
        .marks
        .part(Part::Calculation)
        .expect("the part")
        .sentence
        .to_string();
    assert!(
        sentence.contains("the delivered volume is end minus start"),
        "{sentence}"
    );
    assert!(has(&found, FlagCode::LikelySlip));
    assert!(!has(&found, FlagCode::ReportedDiffers));
    // no slip gives this
    let found = answered("0.2247");
    assert_eq!(found.calculation_slips.likely(), None);
    assert_eq!(points(&found, Part::Calculation), "0.00");
    assert!(has(&found, FlagCode::ReportedDiffers));
}

/// Readings that fit the other bottle, 0.2100, and nothing else.
#[test]
fn another_bottle_explains_a_result_off_the_truth() {
    let found = judged(&course(&trials(&["21.00", "21.02", "20.98"]), &[]));
    let slip = found.reading_slips.likely().expect("a slip");
    assert_eq!(
        (slip.code.code(), slip.place.as_str()),
        ("other-unknown", "W")
    );
    assert!(has(&found, FlagCode::LikelySlip));
    assert!(!has(&found, FlagCode::InconsistentTruth));
    // off, but by nothing known
    let found = judged(&course(&trials(&["23.47", "23.50", "23.44"]), &[]));
    assert_eq!(found.reading_slips.likely(), None);
    assert!(has(&found, FlagCode::InconsistentTruth));
}
