//! Each mistake in readings written down here, rounded as students round: its slip is named, and the share is given.

use super::course::{Graded, grade};
use super::{Answer, LABS, Lab, Sheet, Standing, Taken, line};
use crate::reference::near;

/// What must come of an answer.
enum Expected {
    Right,
    /// One of these; where there is one, it is put forward.
    Slip(Vec<&'static str>),
    Nothing,
}

/// What was done, the answer, what must come of it.
type Case = (String, Answer, Expected);

/// All that is not as expected, a line each.
fn amiss(lab: &Lab, sheet: &Sheet, cases: &[Case]) -> Vec<String> {
    let right = sheet.right;
    let answers = cases.iter().map(|(_, answer, _)| answer.text.clone());
    let graded = grade(lab, &[(sheet.clone(), answers.collect())]).remove(0);
    let line = |(what, answer, _): &Case, graded: &Graded| {
        format!(
            "{}: {what}, {} for {right:.5}: named {:?}, listed {:?}, {} points",
            lab.key, answer.text, graded.named, graded.candidates, graded.points
        )
    };
    cases
        .iter()
        .zip(&graded)
        .filter(|((_, _, expected), graded)| !is_met(expected, graded))
        .map(|(case, graded)| line(case, graded))
        .collect()
}

fn is_met(expected: &Expected, graded: &Graded) -> bool {
    match expected {
        Expected::Right => graded.is_right() && graded.named.is_none(),
        Expected::Slip(codes) if codes.len() == 1 => {
            let named = graded.named.as_deref() == Some(codes[0]);
            named && graded.flagged && graded.has_share()
        }
        Expected::Slip(codes) => {
            let listed = graded
                .candidates
                .iter()
                .any(|c| codes.contains(&c.as_str()));
            listed && graded.has_share()
        }
        Expected::Nothing => graded.named.is_none() && graded.points == "0.00",
    }
}

/// The answers, rounded as students round, with what must come of them.
fn cases(lab: &Lab, sheet: &Sheet, answers: impl Iterator<Item = f64>) -> Vec<Case> {
    let case = |(given, figures): (f64, usize)| {
        let answer = Answer::new(given, figures);
        let codes = sheet.codes_of(&answer);
        let what = codes.join(" or ");
        let expected = match answer.standing(sheet.right, lab.within) {
            Standing::Right => Expected::Right,
            Standing::Wrong => Expected::Slip(codes),
            Standing::Between => panic!("{}: {what}, {} tells nothing", lab.key, answer.text),
        };
        (what, answer, expected)
    };
    answers
        .flat_map(|given| lab.figures.map(|figures| (given, figures)))
        .map(case)
        .collect()
}

/// In every scheme where the slip can be made.
fn is_named(code: &str) {
    let answers = |sheet: &Sheet| -> Vec<f64> {
        let made = sheet.wrong.iter().filter(|wrong| wrong.code == code);
        made.map(|wrong| wrong.answer).collect()
    };
    check(|lab, sheet| cases(lab, sheet, answers(sheet).into_iter()));
}

fn check(cases: impl Fn(&Lab, &Sheet) -> Vec<Case>) {
    let (mut lines, mut tried, mut wrong) = (Vec::new(), 0, 0);
    for lab in LABS {
        let sheet = (lab.written)();
        let cases = cases(lab, &sheet);
        tried += cases.len();
        let is_wrong = |case: &&Case| !matches!(case.2, Expected::Right);
        wrong += cases.iter().filter(is_wrong).count();
        if !cases.is_empty() {
            lines.extend(amiss(lab, &sheet, &cases));
        }
    }
    assert!(wrong > 0, "nothing but right answers was tried");
    let (amiss, lines) = (lines.len(), lines.join("\n"));
    assert!(amiss == 0, "{amiss} of {tried} amiss:\n{lines}");
}

/// Numbers that no mistake gives: they must be none of those worked out here.
fn nonsense(lab: &Lab, sheet: &Sheet, factors: &[f64]) -> Vec<Case> {
    let case = |factor: &f64| {
        let answer = Answer::new(sheet.right * factor, lab.figures[1]);
        let near = |given: f64| (given / answer.value - 1.0).abs() < 0.005;
        let given = sheet.all().find(|wrong| near(wrong.answer));
        assert!(given.is_none(), "{}: {factor} is {given:?}", lab.key);
        (format!("{factor} times"), answer, Expected::Nothing)
    };
    factors.iter().map(case).collect()
}

#[test]
fn the_results_are_those_of_the_arithmetic_here() {
    for lab in LABS {
        let sheet = (lab.written)();
        let (right, answer) = (sheet.right, Answer::new(sheet.right, lab.figures[1]));
        let graded = grade(lab, &[(sheet, vec![answer.text])])
            .remove(0)
            .remove(0);
        near(graded.result, right, 1e-6, lab.key);
        assert!(graded.is_right() && graded.named.is_none(), "{graded:?}");
    }
}

#[test]
fn end_not_difference() {
    is_named("end-not-difference");
}

#[test]
fn start_not_zero_ignored() {
    is_named("start-not-zero-ignored");
}

// What should panic here is what an instructor would tell and the judgement does not tell yet: a test that no longer
// panics says that it does, and loses the mark.
#[test]
#[should_panic]
fn millilitres_as_litres() {
    is_named("millilitres-as-litres");
}

#[test]
fn ratio_inverted() {
    is_named("ratio-inverted");
}

#[test]
fn ratio_ignored() {
    is_named("ratio-ignored");
}

#[test]
fn volumes_exchanged() {
    is_named("volumes-exchanged");
}

#[test]
#[should_panic]
fn nominal_molarity() {
    is_named("nominal-molarity");
}

#[test]
fn dilution_omitted() {
    is_named("dilution-omitted");
}

#[test]
fn blank_omitted() {
    is_named("blank-omitted");
}

#[test]
fn back_not_subtracted() {
    is_named("back-not-subtracted");
}

#[test]
fn rough_included() {
    is_named("rough-included");
}

#[test]
fn one_trial_only() {
    is_named("one-trial-only");
}

#[test]
#[should_panic]
fn wrong_species() {
    is_named("wrong-species");
}

#[test]
#[should_panic]
fn unit_slip() {
    is_named("unit-slip");
}

#[test]
#[should_panic]
fn rounded_early() {
    is_named("rounded-early");
}

fn is_a_dilution_left_out(taken: Taken) {
    check(|lab, sheet| {
        let made = sheet.diluted.iter().filter(|(what, _)| *what == taken);
        cases(lab, sheet, made.map(|(_, answer)| *answer))
    });
}

/// 10 mL of vinegar made up to 250 mL: what 250 mL holds, in 100 mL of it.
#[test]
#[should_panic]
fn the_flask_taken_for_the_sample() {
    is_a_dilution_left_out(Taken::FlaskForSample);
}

/// What is read off the line is handed in as it is.
#[test]
#[should_panic]
fn the_solution_measured_taken_for_the_sample() {
    is_a_dilution_left_out(Taken::MeasuredForSample);
}

/// That 20 mL were made up to 50 mL for their colour is forgotten, and the dilution before that is not.
#[test]
#[should_panic]
fn the_solution_pipetted_taken_for_the_one_measured() {
    is_a_dilution_left_out(Taken::PipettedForMeasured);
}

/// 1130 mg/L is 1133 mg/L to three figures: the noughts before the point are where the rounding ends.
#[test]
#[should_panic]
fn answers_rounded_before_the_point() {
    let (lab, sheet) = (&line::LAB, line::strong());
    let label = sheet.wrong.iter().filter(|w| w.code == "nominal-molarity");
    let cases = cases(lab, &sheet, label.map(|wrong| wrong.answer));
    assert!(cases.iter().any(|(_, answer, _)| answer.unit == 10.0));
    let lines = amiss(lab, &sheet, &cases);
    assert!(lines.is_empty(), "{}", lines.join("\n"));
}

#[test]
fn numbers_that_are_no_slip_are_not_named() {
    check(|lab, sheet| nonsense(lab, sheet, &[1.07, 0.93]));
}

/// The flask of the standards in the place of the samples' flask, or the other way about.
#[test]
fn flasks_exchanged_in_a_line_are_no_dilution_left_out() {
    let exchanged = line::STANDARD_FLASK / line::SAMPLE_FLASK;
    check(|lab, sheet| match lab.key {
        key if key == line::LAB.key => nonsense(lab, sheet, &[exchanged, 1.0 / exchanged]),
        _ => Vec::new(),
    });
}
