//! What a reading is.

use concordant::measure::{Reading, ReadingError};
use proptest::prelude::*;

#[test]
fn readings_keep_what_was_written() {
    for (text, value, decimals) in [
        ("18.40", "18.40", 2),
        (" 18,4 ", "18.4", 1),
        ("007", "7", 0),
        ("0.000", "0.000", 3),
    ] {
        let reading = Reading::parse(text).expect(text);
        assert_eq!(reading.value(), super::dec(value));
        assert_eq!(reading.decimals(), decimals);
        assert_eq!(reading.written(), text.trim());
    }
    assert_ne!(Reading::parse("25.0"), Reading::parse("25.00"));
}

#[test]
fn what_is_not_a_reading_is_refused() {
    for text in [
        "", "  ", "-1", "+1", "1e3", "1_000", "1,000.0", "1.2.3", ".5", "5.", "24,5O", "NaN",
        "inf", "１２", "12 3", "0x10", "1'000", "٣",
    ] {
        assert!(Reading::parse(text).is_err(), "{text}");
    }
    let long = Reading::parse("1234567890.12").expect_err("13 characters");
    assert_eq!(
        long,
        ReadingError::TooLong {
            found: 13,
            limit: 12
        }
    );
    assert_eq!(long.to_string(), "found 13 characters, expected at most 12");
    assert_eq!(
        Reading::parse("24,5O").expect_err("a letter").to_string(),
        "found “24,5O”, expected digits with at most one decimal point or comma, such as 18.40"
    );
}

proptest! {
    #[test]
    fn no_text_panics(text in any::<String>()) {
        let _found = Reading::parse(&text);
    }

    #[test]
    fn a_written_number_comes_back(whole in 0_u32..100_000, fraction in "[0-9]{1,5}", comma in any::<bool>()) {
        let text = format!("{whole}{}{fraction}", if comma { ',' } else { '.' });
        let reading = Reading::parse(&text).expect("within the grammar");
        prop_assert_eq!(reading.written(), &text);
        prop_assert_eq!(reading.decimals() as usize, fraction.len());
        let json = serde_json::to_string(&reading).expect("text");
        prop_assert_eq!(serde_json::from_str::<Reading>(&json).expect("the same text"), reading);
    }
}

/// As balances type it, the keyboard output of many (common practice): sign, blanks, number, blanks, unit.
#[test]
fn a_balance_may_type_its_reading() {
    use concordant::columns::Column;
    for (typed, kept) in [
        ("+   0.3775 g", "0.3775"),
        ("0.3775 g", "0.3775"),
        ("    12.0040g", "12.0040"),
        ("+1.50", "1.50"),
    ] {
        let reading = Column::SampleMass.parse(typed).expect(typed);
        assert_eq!(reading.written(), kept, "{typed}");
    }
    for typed in ["-0.3775 g", "+", "g", "0.3775 mg", "0.37 75 g", "0.3775 gg"] {
        assert!(Column::SampleMass.parse(typed).is_err(), "{typed}");
    }
    // a burette types nothing
    assert!(Column::BuretteEnd(1).parse("+20.40").is_err());
}
