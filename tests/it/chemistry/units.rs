//! Units of results beyond concentrations and percent.

use concordant::files::shipped_glassware;
use concordant::simulate::check_report;
use concordant::submission::TrialLabel;

use super::{lot, read, text_of, titre, worked};
use crate::reference::{f, near};

/// 50.0 mL of a water that takes 17.85 mL of 0.01000 mol/L EDTA: 3.57 mmol/L, which is 20.02 °dH (0.1783 mmol/L each, DIN
/// 38409-6) and 35.7 °f (0.1 mmol/L each).
#[test]
fn degrees_of_hardness() {
    let value = |species: &str, unit: &str| {
        let text = text_of("well-water-hardness")
            .replace("as = \"CaCO3\"", &format!("as = \"{species}\""))
            .replace("unit = \"mg/L\"", &format!("unit = \"{unit}\""))
            .replace("cylinder-50-b", "pipette-50-a")
            .replace("nominal = \"50.0\"", "nominal = \"50.00\"");
        let procedure = read(&text)?;
        let rows = vec![titre(TrialLabel::Numbered(1), "17.85")];
        let done = worked(&procedure, rows, (&lot("T", "0.01000"), None));
        Ok::<f64, Vec<String>>(f(done.value().expect("a result")))
    };
    near(
        value("CaO", "°dH").expect("German"),
        3.57 / 0.1783,
        2e-4,
        "°dH",
    );
    near(value("CaCO3", "°f").expect("French"), 35.7, 1e-3, "°f");
    let faults = value("CaCO3", "°dH").expect_err("CaO");
    assert!(
        faults[0].contains("expected CaO, by which °dH is defined"),
        "{faults:?}"
    );
}

/// Out of 0.3000 g: 0.5 mmol of Mg(OH)2 is 1.667 mmol/g, and 29.16 mg are 9.720 %, 97198 ppm.
#[test]
fn of_a_mass() {
    let value = |unit: &str| {
        let text =
            text_of("antacid-back").replace("unit = \"%w/w\"", &format!("unit = \"{unit}\""));
        let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
        let mut trial = titre(TrialLabel::Numbered(1), "45.00");
        let ends = [
            ("10.3000", concordant::columns::Column::SampleBefore),
            ("10.0000", concordant::columns::Column::SampleAfter),
        ];
        for (text, column) in ends {
            let read = concordant::measure::Reading::parse(text).expect("a reading");
            trial.readings.insert(column, read);
        }
        let excess = lot("E", "0.2000");
        let done = worked(
            &procedure,
            vec![trial],
            (&lot("T", "0.2000"), Some(&excess)),
        );
        let report = check_report(&procedure, &shipped_glassware()).expect("a report");
        assert_eq!(
            report.contains("counted by mass"),
            unit.starts_with("pp"),
            "{report}"
        );
        f(done.value().expect("a result"))
    };
    near(value("mmol/g"), 0.5 / 0.3, 1e-9, "mmol/g");
    near(value("ppm"), 97_198.3, 1e-5, "ppm");
    near(value("ppb"), 97_198_333.0, 1e-5, "ppb");
    // nothing said of a portion: the sample is one
    near(value("mg/portion"), 29.1595, 1e-5, "mg/portion");
}

#[test]
fn units_are_refused_where_they_do_not_belong() {
    for (key, from, to, expected) in [
        (
            "antacid-back",
            "\"%w/w\"",
            "\"g/mol\"",
            "found g/mol for a sample by mass-difference, expected one of %w/w",
        ),
        (
            "water-alkalinity",
            "\"mg/L\"",
            "\"ppm\"",
            "found ppm for a sample by volume",
        ),
        (
            "aspirin-tablet",
            "\"mg/portion\"",
            "\"%w/w\"",
            "sample.portion: found one, expected it only where the result is in mg/portion",
        ),
    ] {
        let faults = read(&text_of(key).replace(from, to)).expect_err(key);
        assert!(
            faults.iter().any(|f| f.contains(expected)),
            "{expected}: {faults:?}"
        );
    }
}

/// A titrant has no portions, and of nothing but itself no sample holds more than all of it, in whichever unit.
#[test]
fn what_no_sample_can_have_is_asked_about_in_every_unit_of_mass() {
    use concordant::columns::Column;
    use concordant::judge::questions;
    use concordant::submission::HandIn;
    let titrant = text_of("naoh-against-khp").replace("\"mol/L\"", "\"mg/portion\"");
    let refused = read(&titrant).expect_err("no portions").join("; ");
    assert!(
        refused.contains("found mg/portion for a sample"),
        "{refused}"
    );
    // 0.2000 mol/L on all 50 mL of acid of 0.2000 mol/L: 10.00 − 0.20 = 9.80 mmol, 4.90 of Mg(OH)2, 285.8 mg of 0.2600 g
    for (unit, shown) in [
        ("%w/w", "110 %w/w"),
        ("ppm", "1100000 ppm"),
        ("mmol/g", "18.8 mmol/g"),
    ] {
        let text = text_of("antacid-back").replace("\"%w/w\"", &format!("\"{unit}\""));
        let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
        let asked = |before: &str| {
            let mut trial = titre(TrialLabel::Numbered(1), "1.00");
            for (text, column) in [
                (before, Column::SampleBefore),
                ("10.0000", Column::SampleAfter),
            ] {
                let read = concordant::measure::Reading::parse(text).expect("a reading");
                trial.readings.insert(column, read);
            }
            let hand_in = HandIn {
                titrations: vec![trial],
                ..HandIn::default()
            };
            let all = questions(&procedure, &hand_in).into_iter();
            all.map(|question| question.text.to_string())
                .collect::<Vec<_>>()
                .join("; ")
        };
        let more = asked("10.2600");
        assert!(
            more.contains(shown) && more.contains("more than all of it"),
            "{more}"
        );
        assert!(!asked("10.3000").contains("more than all"), "{unit}");
    }
}
