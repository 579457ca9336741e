//! Schemes that read more than one titre, or none: a student's readings through the form, out into a folder and back.

use concordant::columns::Column;
use concordant::desk::bring_in;
use concordant::files::{
    Folder, read_procedure, read_term, shipped_glassware, shipped_procedure, write_term,
};
use concordant::judge::signal::Bench;
use concordant::procedure::Procedure;
use concordant::simulate::hands::Hands;
use concordant::simulate::simulate;
use concordant::submission::HandIn;
use concordant::truth::{Assigned, Lot};
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use crate::app::TestApp;
use crate::reference::{dec, f};

/// Key, a true value in its unit, and the reagent of its lot.
pub const SCHEMES: [(&str, &str); 12] = [
    ("soda-two-indicators", "40.0"),
    ("magnesium-by-difference", "24.0"),
    ("sulfate-gravimetric", "42.0"),
    ("brine-density", "1.1200"),
    ("iron-absorbance", "9.00"),
    ("zinc-tablet-flame", "12.0"),
    ("nitrite-griess", "0.250"),
    ("copper-addition-flame", "10.0"),
    ("iron-wine-addition", "3.50"),
    ("food-colours", "80.0"),
    ("low-sodium-salt", "45.0"),
    ("washing-soda-mass", "65.0"),
];

fn procedure(key: &str) -> Procedure {
    let text = shipped_procedure(key).expect(key);
    read_procedure(key, &text, &shipped_glassware()).expect(key)
}

/// A course of all of them, with one student.
pub fn folder() -> Folder {
    let mut course = "title = \"Quantitative analysis\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Lisbon\"\n".to_owned();
    let mut unknowns = "experiment,unknown,true_value,standard_uncertainty\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut lots = "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\n".to_owned();
    for (key, truth) in SCHEMES {
        course.push_str(&format!(
            "[[experiment]]\nkey = \"{key}\"\nprocedure = \"{key}\"\nopens = 2020-01-01T08:00:00\ndue = 2099-01-01T08:00:00\n"
        ));
        unknowns.push_str(&format!("{key},U,{truth},0.001\n"));
        issued.push_str(&format!("{key},01,U\n"));
        if let Some((species, nominal)) = procedure(key).lot_reagent() {
            lots.push_str(&format!("L-{key},{species},{nominal},0.000001\n"));
        }
    }
    let mut folder = Folder::default();
    let roster = "student_id,family_name,given_name,section\n01,Reis,Iva,A\n";
    for (path, text) in [
        ("course.toml", course.as_str()),
        ("roster.csv", roster),
        ("unknowns.csv", &unknowns),
        ("issued.csv", &issued),
        ("lots.csv", &lots),
    ] {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    }
    folder
}

fn lot(procedure: &Procedure) -> Option<Lot> {
    let (species, nominal) = procedure.lot_reagent()?;
    Some(Lot {
        code: concordant::ids::LotCode::new(format!("L-{}", procedure.key)),
        reagent: species.to_string(),
        molarity: Assigned::new(nominal, Decimal::ZERO).expect("a molarity"),
        version: 1,
        standardised: None,
    })
}

fn readings(procedure: &Procedure, truth: f64) -> HandIn {
    let lot = lot(procedure);
    let bench = Bench {
        truth,
        lot: lot.as_ref(),
        excess_lot: None,
        blank: 0.1,
    };
    let hands = Hands::careful(procedure, 0.5);
    simulate(
        procedure,
        &bench,
        &hands,
        &mut ChaCha20Rng::seed_from_u64(8),
    )
    .expect("readings")
}

#[tokio::test]
async fn readings_of_every_scheme_go_in_by_the_form_and_come_out_as_a_result() {
    let app = TestApp::spawn().await;
    bring_in(&app.desk, &folder(), "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    let mut student = app.person("01").await;
    for (index, (key, truth)) in SCHEMES.into_iter().enumerate() {
        let procedure = procedure(key);
        let hand_in = readings(&procedure, f(dec(truth)));
        let mut fields: Vec<(String, String)> = vec![
            (
                "key".into(),
                format!("0123456789abcdef0123456789abcde{index}"),
            ),
            ("seen".into(), "0".into()),
            ("trials".into(), hand_in.numbered().count().to_string()),
            (
                "lot".into(),
                lot(&procedure)
                    .map(|lot| lot.code.to_string())
                    .unwrap_or_default(),
            ),
            ("unknown".into(), String::new()),
            ("reported".into(), String::new()),
        ];
        for row in &hand_in.titrations {
            for column in Column::of_row(&procedure, row.trial, 3) {
                if let Some(reading) = column.get(row) {
                    fields.push((
                        format!("{}.{column}", row.trial),
                        reading.written().to_owned(),
                    ));
                }
            }
        }
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(n, v)| (n.as_str(), v.as_str()))
            .collect();
        let path = format!("/student/experiments/{key}/hand-in");
        let answer = student.post_form(&path, &fields).await;
        assert_eq!(answer.status, 303, "{key}: {}", answer.body);
        let receipt = student.get(answer.location()).await;
        let first = hand_in.numbered().next().expect("a trial").1;
        let column = Column::of_row(&procedure, first.trial, 1)[0];
        let written = column.get(first).expect("read").written();
        assert!(receipt.body.contains(written), "{key}: {written}");
        let view = app.desk.view().await.expect("a course");
        let evaluation = &view
            .judged
            .get(&crate::slot(key, "01"))
            .expect("is there")
            .evaluation;
        let result = f(evaluation.outcome.as_ref().expect(key).result);
        let off = (result / f(dec(truth)) - 1.0).abs();
        assert!(off < 0.02, "{key}: {result} for {truth}");
        let titrated = evaluation
            .outcome
            .as_ref()
            .expect(key)
            .mean_delivered
            .is_some();
        assert_eq!(titrated, procedure.burette().is_some(), "{key}");
    }
    // out as a folder, back in, and judged alike
    let view = app.desk.view().await.expect("a course");
    let back = read_term(&write_term(&view.term)).unwrap_or_else(|faults| panic!("{faults:?}"));
    for (key, _) in SCHEMES {
        let slot = crate::slot(key, "01");
        let judged = back.judge(&slot).expect(key);
        assert_eq!(
            judged.evaluation,
            view.judged.get(&slot).expect("is there").evaluation,
            "{key}"
        );
    }
}
