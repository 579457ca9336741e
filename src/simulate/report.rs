//! What is to be known of a procedure before a class works by it, on lines.

use super::{Fairness, fairness, remedies};
use crate::measure::{GlasswareTable, from_f64, plain};
use crate::procedure::Procedure;

/// Students of the simulated class.
const CLASS: usize = 1000;

/// What `check` prints of a sound procedure: the ratio, what is measured, what a class can reach and what would help.
///
/// # Errors
/// A sentence if no result can be computed from nominal amounts.
pub fn check_report(procedure: &Procedure, glassware: &GlasswareTable) -> Result<String, String> {
    let found = fairness(procedure, CLASS, 1)?;
    let mut text = report(procedure, &found);
    for warning in found.beyond.iter().chain(&procedure.unequal_equivalents()) {
        text.push_str(&format!("  warning    {warning}\n"));
    }
    for warning in unsaid(procedure) {
        text.push_str(&format!("  warning    {warning}\n"));
    }
    for remedy in remedies(procedure, glassware) {
        text.push_str(&format!("  helps      {}\n", remedy.words()));
    }
    Ok(text)
}

/// What bench sheets would leave empty.
fn unsaid(procedure: &Procedure) -> Vec<&'static str> {
    let text = &procedure.text;
    let is_blank = |text: &String| text.trim().is_empty();
    let mut unsaid = Vec::new();
    if text.cautions.iter().all(is_blank) {
        unsaid.push(
            "there are no cautions in [text]: the bench sheet says nothing of what is dangerous",
        );
    }
    if is_blank(&text.waste) {
        unsaid.push("there is no waste in [text]: the bench sheet does not say where waste goes");
    }
    let excess = procedure.excess();
    if excess.is_some_and(|e| e.added_to.is_none()) && procedure.sample.aliquot.is_some() {
        unsaid.push(
            "the sample is made up in a flask, and the excess is counted as added to each part that is titrated: say portion or whole with excess.added_to",
        );
    }
    unsaid.extend(procedure.result.unit.caution());
    unsaid
}

fn report(procedure: &Procedure, found: &Fairness) -> String {
    let figures = |value: f64, n: usize| from_f64(value, n).map(plain).unwrap_or_default();
    let unit = procedure.result.unit.name();
    let mut lines = vec![format!("{}: {}", procedure.key, procedure.title)];
    lines.extend(
        procedure
            .reactions
            .iter()
            .map(|r| format!("  balances   {r}")),
    );
    lines.push(format!("  ratio      {}", procedure.scheme.ratio_words()));
    if let (Some(stated), Some(asked)) = (&procedure.result.equivalence, procedure.scheme.asked()) {
        lines.push(format!(
            "  counts     {} {} per {}: {}",
            stated.per_analyte,
            asked.expressed_as,
            asked.analyte,
            stated.how.words()
        ));
    }
    if let Some(carried) = procedure.carried_over() {
        let (from, by) = (&carried.from, carried.by.name());
        lines.push(format!(
            "  carried    the titrant's molarity, by {by}, from {from}; taken as known to 0.1 % here"
        ));
    }
    let scale = match found.signal.least {
        0.0 => found.signal.full.to_string(),
        least => format!("{} to {}", figures(least, 4), figures(found.signal.full, 4)),
    };
    for expected in &found.expected {
        lines.push(format!(
            "  {:<10} {}, {} % of {}: {} {unit}",
            found.signal.name,
            format!("{} {}", figures(expected.signal, 4), found.signal.unit).trim_end(),
            expected.share,
            scale,
            figures(expected.result, 4)
        ));
    }
    lines.push(format!(
        "  reachable  standard uncertainty {} %",
        figures(found.reachable_percent, 2)
    ));
    for (name, percent) in &found.contributions {
        lines.push(format!(
            "             {} % from {name}",
            figures(*percent, 2)
        ));
    }
    for (part, mean, most) in &found.parts {
        let name = part.to_string().to_lowercase();
        lines.push(format!(
            "  class      {} of {most} points for {name}, mean of {} careful students",
            figures(*mean, 3),
            found.students
        ));
    }
    lines.push(format!(
        "  class      {} % have all points for accuracy",
        figures(found.full_accuracy_percent, 3)
    ));
    let endpoint = found.endpoint.iter();
    lines.extend(endpoint.map(|endpoint| format!("  endpoint   {}", endpoint.words())));
    if found.endpoint.is_some() {
        let remark =
            "of constants at ionic strength 0.1 mol/L, without side reactions of the metal";
        lines.push(format!("             {remark}"));
    }
    lines.extend(
        found
            .warnings
            .iter()
            .map(|warning| format!("  warning    {warning}")),
    );
    lines.join("\n") + "\n"
}
