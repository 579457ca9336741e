//! A procedure in words, and columns of numbers.

use crate::chem::printed;
use crate::procedure::{self, Procedure};

/// What a coordinator wants to know of a procedure: a subject and a sentence each.
pub fn facts(procedure: &Procedure) -> Vec<(&'static str, String)> {
    let scheme = &procedure.scheme;
    let mut facts = vec![("Scheme", scheme.words().to_owned())];
    facts.extend(scheme.facts());
    facts.push((
        "Sample",
        crate::web::student::sample_words(procedure).to_string(),
    ));
    if let Some(aliquot) = &procedure.sample.aliquot {
        facts.push((
            "Aliquot",
            format!(
                "made up in a {}, taken with a {}",
                aliquot.flask.title(),
                aliquot.pipette.title()
            ),
        ));
    }
    if let Some(excess) = procedure.excess() {
        facts.push((
            "Excess",
            format!(
                "{}, nominally {} mol/L, {}with a {}",
                printed(&excess.species.to_string()),
                excess.nominal,
                excess
                    .delivered
                    .map_or_else(String::new, |volume| format!("{volume} mL ")),
                excess.glassware.title()
            ),
        ));
    }
    let unit = procedure.result.unit.name();
    let result = match scheme.asked() {
        None => format!("density in {unit}"),
        Some(asked) if asked.analyte == asked.expressed_as => {
            format!("{} in {unit}", printed(&asked.analyte.to_string()))
        }
        Some(asked) => format!(
            "{} expressed as {} in {unit}",
            printed(&asked.analyte.to_string()),
            printed(&asked.expressed_as.to_string())
        ),
    };
    facts.push(("Result", result));
    facts.push(("Trials", procedure::trials_in_words(procedure)));
    facts
}

/// Numbers of a column with blanks of a digit's width after them, so that their points stand below one another where
/// the column is set flush right.
pub fn aligned<'a>(numbers: impl Iterator<Item = &'a mut String>) {
    let numbers: Vec<&mut String> = numbers.collect();
    const DIGIT: char = '\u{2007}';
    const POINT: char = '\u{2008}';
    let decimals = |number: &str| number.split_once('.').map(|(_, d)| d.chars().count());
    let most = numbers.iter().filter_map(|n| decimals(n)).max();
    let Some(most) = most else {
        return;
    };
    for number in numbers {
        let own = decimals(number);
        if own.is_none() {
            number.push(POINT);
        }
        number.extend(std::iter::repeat_n(
            DIGIT,
            most.saturating_sub(own.unwrap_or(0)),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::aligned;

    #[test]
    fn points_stand_below_one_another() {
        let mut numbers = ["0.1035", "12", "0.09900"].map(str::to_owned);
        aligned(numbers.iter_mut());
        assert_eq!(
            numbers,
            [
                "0.1035\u{2007}",
                "12\u{2008}\u{2007}\u{2007}\u{2007}\u{2007}\u{2007}",
                "0.09900"
            ]
        );
    }
}
