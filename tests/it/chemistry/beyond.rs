//! Results that no sample can have.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::judge::questions;
use concordant::simulate::check_report;
use concordant::submission::{HandIn, TrialLabel};

use super::{read, row, text_of, titre};

fn report(text: &str) -> String {
    let procedure = read(text).unwrap_or_else(|why| panic!("{why:?}"));
    check_report(&procedure, &shipped_glassware()).expect("a report")
}

#[test]
fn check_says_where_the_scale_leaves_what_can_be() {
    for key in ["eggshell-carbonate", "vitamin-c-iodimetric"] {
        let found = report(&text_of(key));
        assert!(
            found.contains("warning    100 %w/w is reached at a titre of"),
            "{key}: {found}"
        );
    }
    // 3 g of antacid use up any excess the pipette gives
    let heavy = text_of("antacid-back").replace("nominal = \"0.3000\"", "nominal = \"3.0000\"");
    let found = report(&heavy);
    assert!(found.contains("%w/w has its titre below 0"), "{found}");
    let well = report(&text_of("well-water-hardness"));
    assert!(!well.contains("%w/w"), "{well}");
}

#[test]
fn a_result_that_no_sample_can_have_is_asked_about() {
    let procedure = read(&text_of("antacid-back")).expect("shipped");
    let asked = |end: &str, sample: &str| -> Vec<String> {
        let mut trial = titre(TrialLabel::Numbered(1), end);
        let weighed = row(
            TrialLabel::Rough,
            &[
                (Column::SampleBefore, sample),
                (Column::SampleAfter, "10.0000"),
            ],
        );
        trial.readings.extend(weighed.readings);
        let hand_in = HandIn {
            titrations: vec![trial],
            ..HandIn::default()
        };
        questions(&procedure, &hand_in)
            .into_iter()
            .map(|q| q.text.to_string())
            .collect()
    };
    let impossible =
        |texts: Vec<String>| texts.iter().any(|t| t.contains("no sample can have that"));
    // 50 mL − 10 mL of 0.2 mol/L are 4 mmol of Mg(OH)2, 233 mg, out of 100 mg
    assert!(impossible(asked("10.00", "10.1000")));
    assert!(!impossible(asked("10.00", "10.3000")));
}
