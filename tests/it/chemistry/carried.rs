//! A titrant that students standardised is carried over to the next experiment: its value, its uncertainty, its errors.

use concordant::changes::{Change, HandInMade, HandedIn, UnknownValue};
use concordant::chem::Formula;
use concordant::desk::{Desk, bring_in, grade, verify};
use concordant::files::{Folder, read_term, write_term};
use concordant::ids::{ExperimentKey, StudentId};
use concordant::judge::{Evaluation, FlagCode, Part};
use concordant::store::Store;
use concordant::term::{BySlot, Judged, Revision, Slot, Status, Term};
use concordant::truth::{Assigned, Sealed};
use concordant::workup::Cause;

use super::{read, text_of};
use crate::reference::{dec, f, near};

/// 1000 × 0.5123 g × 0.9998 / 204.2223 g/mol of phthalate, mmol (C8H5KO4, atomic weights of 2021).
const PHTHALATE: f64 = 1000.0 * 0.5123 * 0.9998 / 204.222_3;
/// mL of hydroxide on it: of the first student, and of the second, who stops too early.
const TITRES: [f64; 2] = [25.06, 24.54];
/// %w/v of acetic acid for a molarity: 21.36 mL on 25 of 100 mL, from 10 mL; CH3COOH is 60.0520 g/mol.
fn vinegar(molarity: f64) -> f64 {
    molarity * 21.36 * (100.0 / 25.0) * 60.052_0 / 10.0 / 10.0
}

const WEEK_1: &str =
    "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_before_g,sample_after_g\n";
const WEEK_2: &str = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n";

/// Three students: the third has standardised nothing.
fn folder(by: &str, forgive: bool) -> Folder {
    let own = text_of("vinegar-own-hydroxide")
        .replace("key = \"vinegar-own-hydroxide\"", "key = \"own\"")
        .replace("by = \"student\"", &format!("by = \"{by}\""))
        .replace(
            "forgive_carried_error = true",
            &format!("forgive_carried_error = {forgive}"),
        );
    let mut first = WEEK_1.to_owned();
    let mut second = WEEK_2.to_owned();
    for trial in 1..=3 {
        first.push_str(&format!("01,{trial},,,0.04,25.10,16.8432,16.3309\n"));
        first.push_str(&format!("02,{trial},,,0.04,24.58,14.8432,14.3309\n"));
        for student in ["01", "02", "03"] {
            second.push_str(&format!("{student},{trial},,,0.30,21.66\n"));
        }
    }
    let experiment = |key: &str, procedure: &str| {
        format!(
            "[[experiment]]\nkey = \"{key}\"\nprocedure = \"{procedure}\"\nopens = 2020-01-01T08:00:00\ndue = 2099-01-01T08:00:00\n"
        )
    };
    let course = format!(
        "title = \"Quantitative analysis\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Lisbon\"\n{}{}",
        experiment("week-1", "naoh-against-khp"),
        experiment("week-2", "own")
    );
    let issued: String = ["01", "02", "03"]
        .map(|id| format!("week-1,{id},N1\nweek-2,{id},V1\n"))
        .concat();
    let truth = vinegar(0.1001);
    let mut folder = Folder::default();
    for (path, text) in [
        ("course.toml", course),
        ("procedures/own.toml", own),
        (
            "roster.csv",
            "student_id,family_name,given_name,section\n01,Reis,Iva,A\n02,Sousa,Rui,A\n03,Melo,Ana,A\n"
                .to_owned(),
        ),
        (
            "unknowns.csv",
            format!(
                "experiment,unknown,true_value,standard_uncertainty\nweek-1,N1,0.1001,0.0001\nweek-2,V1,{truth:.6},0.005\n"
            ),
        ),
        (
            "issued.csv",
            format!("experiment,student_id,unknown\n{issued}"),
        ),
        (
            "groups.csv",
            "experiment,student_id,group\nweek-2,01,b1\nweek-2,02,b1\n".to_owned(),
        ),
        ("readings/week-1.csv", first),
        ("readings/week-2.csv", second),
    ] {
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

/// The same folder with these files in the place of its own.
fn with(folder: &Folder, files: &[(&str, &str)]) -> Folder {
    let mut fresh = Folder::default();
    let others = folder.files();
    let others = others.filter(|(path, _)| files.iter().all(|(other, _)| other != path));
    for (path, bytes) in others {
        fresh.insert(path, bytes.to_vec()).expect("room");
    }
    for (path, text) in files {
        fresh.insert(path, text.as_bytes().to_vec()).expect("room");
    }
    fresh
}

fn term(by: &str, forgive: bool) -> Term {
    read_term(&folder(by, forgive)).unwrap_or_else(|why| panic!("{why:?}"))
}

fn slot(week: &str, student: &str) -> Slot {
    Slot::new(&ExperimentKey::new(week), &StudentId::new(student))
}

fn judged(term: &Term, week: &str, student: &str) -> Judged {
    term.judge(&slot(week, student)).expect("handed in")
}

fn has(evaluation: &Evaluation, code: FlagCode) -> bool {
    evaluation.flags.iter().any(|flag| flag.code == code)
}

#[test]
fn the_value_is_the_students_own_and_its_uncertainty_does_not_average_out() {
    let term = term("student", true);
    for (student, titre) in [("01", TITRES[0]), ("02", TITRES[1])] {
        let first = judged(&term, "week-1", student).evaluation;
        let second = judged(&term, "week-2", student).evaluation;
        let molarity = PHTHALATE / titre;
        let first = first.outcome.clone().expect("standardised");
        near(f(first.result), molarity, 1e-9, student);
        let result = f(second.outcome.as_ref().expect("a result").result);
        near(result, vinegar(molarity), 1e-8, student);
        // the result is in proportion to the molarity: u(x)/x holds all of u(c)/c, though there are three trials
        let part = result * f(first.standard_uncertainty) / molarity;
        let work_up = term.with_case(&slot("week-2", student), |case| case.work_up());
        let budget = work_up.expect("worked up").budget.expect("a budget");
        let carried = budget.contributions.iter();
        let carried: Vec<_> = carried
            .filter(|c| matches!(c.cause, Cause::Standardisation(_)))
            .collect();
        assert_eq!(carried.len(), 1);
        near(carried[0].amount, part, 1e-8, "u of the standardisation");
        assert_eq!(carried[0].name(), "molarity found in week-1");
        let rest: f64 = budget
            .contributions
            .iter()
            .map(|c| c.amount.powi(2))
            .sum::<f64>()
            - part.powi(2);
        near(budget.standard, (rest + part.powi(2)).sqrt(), 1e-9, "u");
        assert!(second.titrant_lots_written().is_empty());
        let versions: Vec<String> = second.versions.iter().map(ToString::to_string).collect();
        assert_eq!(versions, ["titrant found in week-1 v1", "unknown V1 v1"]);
    }
}

/// Four trials of the standardisation scatter: their s/2 has three degrees of freedom, and what they carry over is put
/// together by Welch and Satterthwaite from the one number that the standardisation states.
#[test]
fn degrees_of_freedom_are_carried_over() {
    let mut folder = folder("student", true);
    let rows = [25.10, 25.30, 24.90, 25.20]
        .iter()
        .enumerate()
        .map(|(n, end)| format!("01,{},,,0.04,{end:.2},16.8432,16.3309\n", n + 1));
    let rows = format!("{WEEK_1}{}", rows.collect::<String>());
    folder = with(&folder, &[("readings/week-1.csv", &rows)]);
    let term = read_term(&folder).expect("sound");
    let first = judged(&term, "week-1", "01").evaluation.outcome.clone();
    let first = first.expect("standardised");
    let freedom = f(first.degrees_of_freedom.expect("finite"));
    // s of the four molarities over √4, beside all that is shared: nearer to 3 the less that is
    assert!((3.0..6.0).contains(&freedom), "{freedom}");
    let second = judged(&term, "week-2", "01").evaluation.outcome.clone();
    let second = second.expect("a result");
    let (u, x) = (f(second.standard_uncertainty), f(second.result));
    let part = x * f(first.standard_uncertainty) / f(first.result);
    let expected = freedom * (u / part).powi(4);
    let found = f(second.degrees_of_freedom.expect("finite"));
    near(found, expected, 1e-6, "degrees of freedom");
}

#[test]
fn a_bad_standardisation_is_named_and_charged_once_or_twice_as_the_course_says() {
    let molarity = PHTHALATE / TITRES[1];
    let percent = 100.0 * (molarity / 0.1001 - 1.0);
    near(percent, 2.098, 1e-3, "the second student's error");
    for (forgive, points) in [(true, "9"), (false, "6")] {
        let term = term("student", forgive);
        let second = judged(&term, "week-2", "02").evaluation;
        let found = second.carried.as_ref().expect("carried over");
        assert!(found.is_off);
        let as_assigned = f(found.result_as_assigned.expect("a result"));
        near(as_assigned, vinegar(0.1001), 1e-8, "as assigned");
        assert!(has(&second, FlagCode::CarriedError));
        for code in [FlagCode::InconsistentTruth, FlagCode::LikelySlip] {
            assert!(!has(&second, code), "{:?}", second.flags);
        }
        let accuracy = second.marks.part(Part::Accuracy).expect("marked");
        assert_eq!(accuracy.points, dec(points), "{}", accuracy.sentence);
        assert!(
            accuracy
                .sentence
                .to_string()
                .contains("2.1 % off the assigned value"),
            "{}",
            accuracy.sentence
        );
        let once = accuracy.sentence.to_string().contains("is charged once");
        assert_eq!(once, forgive, "{}", accuracy.sentence);
        // it is the standardisation that a person is asked about
        let first = judged(&term, "week-1", "02").evaluation;
        assert!(first.flags.iter().any(|flag| flag.review));
        let other = judged(&term, "week-2", "01").evaluation;
        assert!(!has(&other, FlagCode::CarriedError), "{:?}", other.flags);
        assert!(!other.carried.as_ref().expect("carried over").is_off);
    }
}

/// Answered 0.1044 mol/L the week before, and reckoned on with that: 0.1044 × 21.36 × 4 × 60.0520 / 100 = 5.357.
#[test]
fn a_wrong_sum_of_the_week_before_is_not_charged_again() {
    let mut folder = folder("student", true);
    let reported = "experiment,student_id,value\nweek-1,01,0.1044\nweek-2,01,5.357\nweek-1,02,0.1022\nweek-2,02,5.500\n";
    folder = with(&folder, &[("reported.csv", reported)]);
    let term = read_term(&folder).expect("sound");
    let first = judged(&term, "week-2", "01").evaluation;
    let calculation = first.marks.part(Part::Calculation).expect("marked");
    assert_eq!(calculation.points, dec("3"), "{}", calculation.sentence);
    assert!(
        calculation
            .sentence
            .to_string()
            .contains("from your answer for the titrant")
    );
    assert!(!has(&first, FlagCode::ReportedDiffers));
    let second = judged(&term, "week-2", "02").evaluation;
    assert!(second.marks.part(Part::Calculation).expect("marked").points < dec("3"));
}

#[tokio::test]
async fn a_late_or_corrected_standardisation_marks_again_what_rests_on_it() {
    let now = "2026-10-01T12:00:00Z".parse().expect("a time");
    let desk = Desk::open(Store::passing().await.expect("a store")).await;
    let desk = desk.expect("a desk");
    let brought = bring_in(&desk, &folder("student", true), "test", now).await;
    brought.expect("brought in");
    let view = desk.view().await.expect("a course");
    let waits = &view.judged.get(&slot("week-2", "03")).expect("is there");
    assert_eq!(waits.status, Status::ToReview);
    assert!(waits.evaluation.outcome.is_none());
    assert!(has(&waits.evaluation, FlagCode::NotStandardised));
    assert!(!has(&waits.evaluation, FlagCode::FewTrials));
    let why = waits.evaluation.trials[0].why_not.as_ref();
    let why = why.map(ToString::to_string);
    let why = why.as_deref();
    assert_eq!(
        why,
        Some("titrant, trial 1: found no standardisation of it")
    );

    let before = view.judged.clone();
    let hand_in = view
        .term
        .submissions
        .get(&slot("week-1", "01"))
        .expect("is there")[0]
        .hand_in
        .clone();
    drop(view);
    let revision = Revision {
        hand_in,
        submitted_at: Some(now),
        reason: String::new(),
        receipt: None,
    };
    let made = HandInMade {
        slot: slot("week-1", "03"),
        body: HandedIn {
            revision,
            key: None,
        },
    };
    let late: Vec<Change> = vec![made.into()];
    desk.apply(late, "test", now).await.expect("made");
    let view = desk.view().await.expect("a course");
    let result = view
        .judged
        .get(&slot("week-2", "03"))
        .expect("is there")
        .evaluation
        .outcome
        .clone();
    let molarity = PHTHALATE / TITRES[0];
    near(
        f(result.expect("a result").result),
        vinegar(molarity),
        1e-8,
        "late",
    );
    let same = |student: &str| {
        let slot = slot("week-2", student);
        let found = |all: &BySlot<Judged>| Some(all.get(&slot)?.evaluation.outcome.clone());
        found(&view.judged) == found(&before)
    };
    assert!(same("01") && same("02"));

    // the bottle was assigned too little: nobody's standardisation is off any more
    let mut unknown = view.term.unknowns["week-1"]["N1"].clone();
    drop(view);
    unknown.version += 1;
    let value = Assigned::new(dec("0.1022"), dec("0.0001")).expect("a molarity");
    unknown.truth = Sealed::new(value);
    let corrected = UnknownValue {
        experiment: ExperimentKey::new("week-1"),
        unknown,
        source: None,
        reason: "weighed again".into(),
    };
    desk.apply(vec![corrected.into()], "test", now)
        .await
        .expect("made");
    let view = desk.view().await.expect("a course");
    let off = |student: &str| {
        let evaluation = &view
            .judged
            .get(&slot("week-2", student))
            .expect("is there")
            .evaluation;
        evaluation.carried.as_ref().expect("carried over").is_off
    };
    assert!(off("01") && !off("02"));
    let (number, differ) = verify(&desk).await.expect("read");
    assert!(number > 0 && differ.is_empty());
}

/// Two results of one bottle, c₁ and c₂: their mean, with the mean of their own uncertainties (of which most is shared)
/// beside 1.25 s*/√2, where Algorithm A pulls nothing in and s* is 1.134 s.
#[test]
fn a_bench_or_a_section_pools_what_it_found() {
    let molarities = TITRES.map(|titre| PHTHALATE / titre);
    let mean = (molarities[0] + molarities[1]) / 2.0;
    let s = (molarities[1] - molarities[0]).abs() / 2f64.sqrt();
    for (by, third) in [("bench", false), ("section", true)] {
        let term = term(by, true);
        let own = ["01", "02"].map(|id| judged(&term, "week-1", id).evaluation.outcome.clone());
        let own = own.map(|outcome| f(outcome.expect("standardised").standard_uncertainty));
        let expected = ((own[0] + own[1]) / 2.0).hypot(1.25 * 1.134 * s / 2f64.sqrt());
        for student in ["01", "02", "03"] {
            let carried = term.carried_titrant(&slot("week-2", student));
            let Some(carried) = carried else {
                assert!(student == "03" && !third, "{by}, {student}");
                continue;
            };
            let molarity = carried.lot.molarity;
            near(f(molarity.value), mean, 1e-9, by);
            near(f(molarity.standard_uncertainty), expected, 1e-6, by);
            let result = judged(&term, "week-2", student).evaluation.outcome.clone();
            near(f(result.expect("a result").result), vinegar(mean), 1e-8, by);
        }
        assert_eq!(
            term.carried_titrant(&slot("week-2", "03")).is_some(),
            third,
            "{by}"
        );
    }
}

/// Somebody who missed the first week works with a bottle of the prep room, and says which.
#[test]
fn a_lot_that_is_written_down_counts() {
    let mut folder = folder("student", true);
    let rows = format!("{WEEK_2}03,1,S-1,,0.30,21.66\n");
    let lots =
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nS-1,NaOH,0.0998,0.0001\n";
    folder = with(
        &folder,
        &[("readings/week-2.csv", &rows), ("lots.csv", lots)],
    );
    let term = read_term(&folder).expect("sound");
    let third = judged(&term, "week-2", "03").evaluation;
    let result = f(third.outcome.as_ref().expect("a result").result);
    near(result, vinegar(0.0998), 1e-8, "by lot");
    assert_eq!(third.titrant_lots_written(), "S-1");
    assert!(!has(&third, FlagCode::NotStandardised) && !has(&third, FlagCode::UnknownMismatch));
}

#[tokio::test]
async fn a_folder_keeps_it_and_is_graded() {
    let folder = folder("section", false);
    let term = read_term(&folder).expect("sound");
    let again = read_term(&write_term(&term)).expect("sound");
    assert_eq!(write_term(&again), write_term(&term));
    assert_eq!(again.judge_all(), term.judge_all());
    let now = "2026-10-01T12:00:00Z".parse().expect("a time");
    let graded = grade(&folder, now).await.expect("graded");
    let text = |path: &str| String::from_utf8_lossy(graded.get(path).expect(path)).into_owned();
    assert!(text("results.csv").contains("week-2"), "results");
}

#[test]
fn what_cannot_be_carried_over_is_refused_or_said() {
    let vinegar = text_of("vinegar-own-hydroxide");
    let fault = |text: &str| {
        read(text)
            .map(|_| String::new())
            .unwrap_or_else(|f| f.join("; "))
    };
    let elsewhere = vinegar.replace("by = \"student\"", "by = \"course\"");
    let said = fault(&elsewhere);
    assert!(
        said.ends_with(
            "key titrant.by: found \u{201c}course\u{201d}, expected student, bench or section"
        ),
        "{said}"
    );
    let alone = vinegar.replace("from = \"naoh-against-khp\"\n", "");
    assert!(fault(&alone).contains("expected it only beside from"));
    let standard = text_of("naoh-against-khp").replace(
        "burette = \"burette-50-a\"\n",
        "burette = \"burette-50-a\"\nfrom = \"other\"\n",
    );
    let said = fault(&standard);
    assert!(
        said.contains("titrant.from") && said.contains("is what is asked for"),
        "{said}"
    );
    // an experiment after it, or of another species, is none it comes from
    let mut term = term("student", true);
    let titrant = Formula::parse("NaOH").expect("a formula");
    assert_eq!(
        term.experiments[1]
            .procedure
            .titrant()
            .expect("one")
            .species,
        titrant
    );
    let second = term.experiments[1].clone();
    assert_eq!(
        term.standardised_in(&second).map(|e| e.key.as_str()),
        Some("week-1")
    );
    term.experiments.swap(0, 1);
    assert!(term.standardised_in(&second).is_none());
    let waits = judged(&term, "week-2", "01").evaluation;
    assert!(has(&waits, FlagCode::NotStandardised));
}

/// On the bench form: what the student found is said, no lot is asked for, and a result comes out.
#[tokio::test]
async fn the_bench_form_says_what_is_carried_over() {
    let app = crate::app::TestApp::spawn().await;
    bring_in(&app.desk, &folder("student", true), "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    let path = "/student/experiments/week-2/bench";
    let mut first = app.person("01").await;
    let page = first.get(path).await.body;
    // u is 0.09 % of 0.10008, two figures of it
    assert!(page.contains("NaOH: 0.10008"), "{page}");
    assert!(
        page.contains("as you found in Sodium hydroxide against"),
        "{page}"
    );
    assert!(!page.contains("name=\"lot\""));
    let shell = first.get(&format!("{path}?shell=yes")).await.body;
    assert!(
        !shell.contains("0.10008"),
        "nobody's own stands in the empty form"
    );
    let mut third = app.person("03").await;
    let page = third.get(path).await.body;
    assert!(page.contains("you standardised none yet"), "{page}");
    let fields = [
        ("key", "0123456789abcdef0123456789abcdef"),
        ("seen", "1"),
        ("trials", "1"),
        ("reason", "read again"),
        ("unknown", ""),
        ("reported", ""),
        ("1.burette_start_mL", "0.30"),
        ("1.burette_end_mL", "21.70"),
    ];
    let answer = third
        .post_form("/student/experiments/week-2/hand-in", &fields)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let receipt = third.get(answer.location()).await.body;
    assert!(receipt.contains("21.70"), "{receipt}");
}
