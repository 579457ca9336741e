//! What a student hears of a corrected value: that it was corrected, when, and what became of the points.

use crate::course::Zone;
use crate::measure::plain;
use crate::term::{Corrected, Correction};
use crate::web::dates;

/// A sentence for each correction, the newest first.
pub fn sentences(corrections: &[Correction], zone: &Zone) -> Vec<String> {
    let newest_first = corrections.iter().rev();
    newest_first.map(|one| sentence(one, zone)).collect()
}

fn sentence(correction: &Correction, zone: &Zone) -> String {
    let of: Vec<String> = correction
        .of
        .iter()
        .map(|of| match of {
            Corrected::Bottle => "the assigned value of your bottle".to_owned(),
            Corrected::Standardisation => {
                "what was found for your titrant in the earlier experiment".to_owned()
            }
            Corrected::Line => "the standards of your line in the earlier experiment".to_owned(),
            Corrected::Lot(code) => format!("the assigned molarity of lot {code}"),
        })
        .collect();
    let of = of.join(" and ");
    let was = if correction.of.len() > 1 {
        "were"
    } else {
        "was"
    };
    let (before, after) = (plain(correction.before), plain(correction.after));
    let points = if before == after {
        format!("your points stay at {after}")
    } else {
        format!("your points went from {before} to {after}")
    };
    let at = dates::instant(zone, correction.at);
    let text = format!("{of} {was} corrected on {at}: {points}.");
    crate::words::sentence(&text)
}

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;

    #[test]
    fn a_correction_is_told_by_its_points() {
        let zone = Zone::new("Europe/Lisbon").expect("is a zone");
        let mut one = Correction {
            at: "2026-09-20T09:30:00Z".parse().expect("is an instant"),
            of: vec![Corrected::Bottle],
            before: Decimal::new(1250, 2),
            after: Decimal::new(1400, 2),
        };
        assert_eq!(
            sentence(&one, &zone),
            "The assigned value of your bottle was corrected on Sun 20 Sep 2026, 10:30: your points went from 12.5 to 14."
        );
        one.of.push(Corrected::Lot(crate::ids::LotCode::new("N-1")));
        one.after = one.before;
        assert_eq!(
            sentence(&one, &zone),
            "The assigned value of your bottle and the assigned molarity of lot N-1 were corrected on Sun 20 Sep 2026, \
             10:30: your points stay at 12.5."
        );
    }
}
