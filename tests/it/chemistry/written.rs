//! How many figures are shown: of the answer, and in a derivation.

use concordant::language::Language;
use concordant::submission::TrialLabel;
use concordant::workup::{derivation, significant_figures};

use super::{lot, read, text_of, titre, worked};

fn decimals(text: &str) -> usize {
    text.split_once('.').map_or(0, |(_, behind)| behind.len())
}

/// A lot typed as 0.1 mol/L is assigned and does not decide: readings of four figures give an answer of four.
#[test]
fn assigned_values_do_not_decide_the_figures() {
    let procedure = read(&text_of("bleach-iodometric")).expect("shipped");
    let rows = vec![titre(TrialLabel::Numbered(1), "25.00")];
    let done = worked(&procedure, rows, (&lot("T", "0.1"), None));
    let result = done.result.expect("a result");
    assert_eq!(significant_figures(&done.graph, result), Some(4));
}

/// Two figures of the uncertainty, and the value to the same place; a reading stays as it was written.
#[test]
fn value_and_uncertainty_end_at_one_place() {
    for key in ["bleach-iodometric", "spring-chloride", "vinegar-acidity"] {
        let procedure = read(&text_of(key)).expect(key);
        let rows = ["20.00", "20.04", "20.02"].into_iter().zip(1..);
        let rows = rows
            .map(|(end, n)| titre(TrialLabel::Numbered(n), end))
            .collect();
        let nominal = procedure.titrant().expect("a titrant").nominal.to_string();
        let mut titrant = lot("T", &nominal);
        titrant.molarity.standard_uncertainty =
            titrant.molarity.value * crate::reference::dec("0.001");
        let done = worked(&procedure, rows, (&titrant, None));
        let mut compared = 0;
        for line in derivation(&done, Language::English)
            .iter()
            .flat_map(|part| &part.lines)
        {
            let Some(uncertainty) = &line.uncertainty else {
                continue;
            };
            let digits = uncertainty.trim_start_matches(['0', '.']).replace('.', "");
            assert_eq!(digits.len(), 2, "{key}, {}: {uncertainty}", line.label);
            if !line.label.contains("reading") {
                let places = (decimals(&line.value), decimals(uncertainty));
                assert_eq!(
                    places.0, places.1,
                    "{key}, {}: {} ± {uncertainty}",
                    line.label, line.value
                );
                compared += 1;
            }
        }
        assert!(compared > 8, "{key}");
    }
}
