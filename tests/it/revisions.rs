//! Hand-ins, revisions and answers in files: what a folder can say, and what a term made elsewhere keeps.

use concordant::files::write_term;
use concordant::judge::DefaultLots;
use concordant::measure::Reading;
use concordant::submission::HandIn;
use concordant::term::{Decision, Revision, Ruling, Term};

use crate::course::{faults, folder_with, read, term, text};

/// Writes, reads and writes again; both folders must be the same.
fn settled(term: &Term) -> Term {
    let first = write_term(term);
    let again = read(&first);
    assert_eq!(write_term(&again), first);
    again
}

fn at(text: &str) -> Option<jiff::Timestamp> {
    Some(text.parse().unwrap())
}

#[test]
fn revisions_answers_and_reasons_are_read() {
    let term = term();
    let revisions = &term
        .submissions
        .get(&crate::slot("hardness", "0017"))
        .expect("is there");
    assert_eq!(revisions.len(), 2);
    assert_eq!(revisions[1].reason, "end of trial 2\nmisread");
    assert_eq!(revisions[1].hand_in.confirmed, ["2:burette_end_mL"]);
    let answers: Vec<_> = revisions
        .iter()
        .map(|r| r.hand_in.reported.as_ref().unwrap().written())
        .collect();
    assert_eq!(answers, ["200.1", "200.5"]);
    assert_eq!(revisions[1].hand_in.titrations[2].fillings(), 2);
    let late = &term
        .submissions
        .get(&crate::slot("hardness", "0018"))
        .expect("is there")[0];
    assert_eq!(late.submitted_at, at("2026-09-14T13:05:00Z"));
    assert_eq!(
        late.hand_in.titrations[0].submitted_at,
        at("2026-09-14T13:00:00Z")
    );
    assert_eq!(late.hand_in.titrations[0].unknown.as_deref(), Some("U9"));
    // an answer without readings is a hand-in without titrations
    let bare = &term
        .submissions
        .get(&crate::slot("hardness", "0019"))
        .expect("is there")[0];
    assert_eq!(
        (
            bare.hand_in.titrations.len(),
            bare.hand_in.reported.as_ref().unwrap().decimals()
        ),
        (0, 1)
    );
    assert_ne!(
        term.default_lots(&term.experiments[0], "A"),
        DefaultLots::default()
    );
    settled(&term);
}

#[test]
fn a_hand_in_made_at_the_bench_survives_the_folder() {
    let mut term = term();
    let slot = crate::slot("hardness", "0019");
    let mut titration = term
        .submissions
        .get(&crate::slot("hardness", "0018"))
        .expect("is there")[0]
        .hand_in
        .titrations[0]
        .clone();
    titration.submitted_at = None;
    let revision = |titrations, reported: Option<&str>, time: &str, reason: &str| Revision {
        hand_in: HandIn {
            titrations,
            reported: reported.map(|text| Reading::parse_answer(text).unwrap()),
            confirmed: Vec::new(),
        }
        .into(),
        submitted_at: at(time),
        reason: reason.to_owned(),
        receipt: Some(4),
    };
    // the first without any titration, the second with a reason a spreadsheet would run, the third without one
    let revisions = vec![
        revision(Vec::new(), None, "2026-09-14T10:00:00Z", ""),
        revision(
            vec![titration],
            Some("12"),
            "2026-09-14T11:00:00.123Z",
            "=1+1, \"again\"\r\n'-",
        ),
        revision(
            Vec::new(),
            Some("0,5"),
            "2026-09-14T12:00:00Z",
            " withdrawn ",
        ),
    ];
    term.submissions.insert(slot.clone(), revisions.clone());
    let again = settled(&term);
    let kept = &again.submissions.get(&slot).expect("is there");
    assert_eq!(kept.len(), 3);
    for (kept, made) in kept.iter().zip(&revisions) {
        assert_eq!(
            (&kept.reason, kept.submitted_at),
            (&made.reason, made.submitted_at)
        );
        assert_eq!(kept.hand_in.reported, made.hand_in.reported);
        assert_eq!(kept.hand_in.titrations.len(), made.hand_in.titrations.len());
    }
    assert_eq!(term.judge_all().len(), again.judge_all().len());
    assert_eq!(term.judge(&slot), again.judge(&slot));
}

#[test]
fn every_ruling_survives_the_folder() {
    let mut term = term();
    let slot = crate::slot("antacid", "0018");
    let rulings = [
        Ruling::Accept,
        Ruling::Return,
        Ruling::LeaveOut { trial: 3 },
        Ruling::PutBack { trial: 3 },
        Ruling::Adjust {
            points: "-1.25".parse().unwrap(),
        },
        Ruling::AgainstWritten { written: true },
        Ruling::ExcuseLate { excused: false },
    ];
    let decisions: Vec<Decision> = rulings
        .into_iter()
        .map(|ruling| Decision {
            revision: 1,
            ruling,
            reason: "@note, with \"quotes\"".to_owned(),
            by: "ta1".to_owned(),
            at: at("2026-09-22T08:00:00Z").unwrap(),
        })
        .collect();
    term.decisions.insert(slot.clone(), decisions.clone());
    assert_eq!(settled(&term).decisions.get(&slot), Some(&decisions));
}

#[test]
fn versions_of_stated_values_survive_the_folder() {
    let mut term = term();
    term.lots.get_mut("E-1").unwrap().version = 3;
    term.unknowns
        .get_mut("hardness")
        .unwrap()
        .get_mut("U1")
        .unwrap()
        .version = 2;
    let again = settled(&term);
    assert_eq!(again.lots["E-1"].version, 3);
    assert_eq!(again.lots["A-1"].version, 1);
    assert_eq!(again.unknowns["hardness"]["U1"].version, 2);
    assert_eq!(
        again.unknowns["hardness"]["U1"],
        term.unknowns["hardness"]["U1"]
    );
}

#[test]
fn an_experiment_keeps_its_own_marking() {
    let own = "\n[experiment.marking.accuracy]\npoints = 6\nsteps = [[1, 6], [\"2.5\", 3.5]]\n\n[[experiment]]\nkey = \"antacid\"";
    let course = text("course.toml").replace("\n[[experiment]]\nkey = \"antacid\"", own);
    let changed = folder_with(&[("course.toml", &course)]);
    let term = settled(&read(&changed));
    assert_eq!(
        term.experiments[0].procedure.marking.possible(),
        "6".parse().unwrap()
    );
    assert_eq!(
        term.experiments[1].procedure.marking.possible(),
        "20".parse().unwrap()
    );
    let bad = folder_with(&[("course.toml", &course.replace("[[1, 6]", "[[3, 6]"))]);
    assert_eq!(
        faults(&bad),
        [
            "course.toml:20, key experiment.marking.accuracy.steps: found [2.5, 3.5] after [3, 6], expected rising limits and falling points"
        ]
    );
}

#[test]
fn revisions_and_answers_must_fit_together() {
    let superseded = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL,revision\n\
        0017,1,E-1,U1,0.00,10.02,49.9,2\n0018,1,E-1,U1,0.00,10.02,49.9,1\n0019,1,E-1,U1,0.00,10.02,49.9,1\n";
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL,revision,reason\n\
        0017,1,E-1,U1,0.00,10.02,49.9,2,a\n0017,2,E-1,U1,0.00,10.02,49.9,3,b\n0018,1,E-1,U1,0.00,10.02,49.9,7,\n";
    let bad = folder_with(&[
        ("superseded/hardness.csv", superseded),
        ("readings/hardness.csv", readings),
        (
            "reported.csv",
            "experiment,student_id,value,revision\nhardness,0017,1e,1\nhardness,0018,5,9\nhardness,0018,5,\nhardness,0018,6,2\n",
        ),
    ]);
    assert_eq!(
        faults(&bad),
        [
            "readings/hardness.csv:3, column reason: found “b”, expected nothing, or what line 2 says of the same hand-in",
            "readings/hardness.csv:3, column revision: found “3”, expected nothing, or what line 2 says of the same hand-in",
            "readings/hardness.csv:4, column revision: found “7”, expected 2: superseded/ has 1 before it",
            "reported.csv:2, column value: found “1e”, expected digits with at most one decimal point or comma, such as 18.40",
            "reported.csv:3, column revision: found “9”, expected a revision from 1 to 2",
            "reported.csv:5, column revision: found “2”, expected one answer for each revision",
            "superseded/hardness.csv:2, column revision: found “2”, expected revision 1 of this student first",
            "superseded/hardness.csv:4, column student_id: found “0019”, expected readings of this student that replace these",
        ]
    );
}

#[test]
fn a_row_without_trial_or_readings_is_refused_unless_it_says_when() {
    let bad = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,sample_mL,submitted_at\n\
        0017,,,,,,,\n0018,,,,,,,2026-09-14T12:00:00Z\n0019,1,,,,,,2101-09-14T12:00:00Z\n";
    let found = faults(&folder_with(&[
        ("readings/hardness.csv", bad),
        ("superseded/hardness.csv", ""),
        ("reported.csv", ""),
    ]));
    assert_eq!(
        found,
        [
            "readings/hardness.csv:2, column burette_end_mL: found nothing, expected a reading in mL with 2 decimals",
            "readings/hardness.csv:2, column burette_start_mL: found nothing, expected a reading in mL with 2 decimals",
            "readings/hardness.csv:2, column trial: found “”, expected 1 to 50, rough or blank (or standard-1 and so on, for a calibration line)",
            "readings/hardness.csv:4, column burette_end_mL: found nothing, expected a reading in mL with 2 decimals",
            "readings/hardness.csv:4, column burette_start_mL: found nothing, expected a reading in mL with 2 decimals",
            "readings/hardness.csv:4, column sample_mL: found nothing, expected a reading in mL with 1 decimal",
            "readings/hardness.csv:4, column submitted_at: found “2101-09-14T12:00:00Z”, expected a date in the years 2000 to 2100",
        ]
    );
}
