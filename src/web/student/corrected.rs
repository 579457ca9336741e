//! What a student hears of a corrected value: that it was corrected, when, and what became of the points.

use crate::course::Zone;
use crate::language::{Arg, Language, Message, message, number};
use crate::measure::plain;
use crate::term::{Corrected, Correction};

/// A sentence for each correction, the newest first.
pub fn sentences(corrections: &[Correction], zone: &Zone, language: Language) -> Vec<String> {
    let newest_first = corrections.iter().rev();
    let said = newest_first.map(|one| language.sentence(&sentence(one, zone)));
    said.collect()
}

fn sentence(correction: &Correction, zone: &Zone) -> Message {
    let of = correction.of.iter().map(|of| match of {
        Corrected::Bottle => message!("corrected.bottle"),
        Corrected::Standardisation => message!("corrected.standardisation"),
        Corrected::Line => message!("corrected.line"),
        Corrected::Lot(code) => message!("corrected.lot", lot = code.as_str()),
    });
    let of: Vec<Arg> = of.map(Arg::from).collect();
    let (before, after) = (plain(correction.before), plain(correction.after));
    let points = if before == after {
        message!("corrected.points-stay", after = number(after))
    } else {
        message!(
            "corrected.points-went",
            before = number(before),
            after = number(after)
        )
    };
    message!(
        "corrected.sentence",
        n = of.len(),
        what = of,
        date = zone.local(correction.at),
        points = points,
    )
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
            Language::English.sentence(&sentence(&one, &zone)),
            "The assigned value of your bottle was corrected on Sun 20 Sep 2026, 10:30: your points went from 12.5 to 14."
        );
        one.of.push(Corrected::Lot(crate::ids::LotCode::new("N-1")));
        one.after = one.before;
        assert_eq!(
            Language::English.sentence(&sentence(&one, &zone)),
            "The assigned value of your bottle and the assigned molarity of lot N-1 were corrected on Sun 20 Sep 2026, \
             10:30: your points stay at 12.5."
        );
    }
}
