//! Sections rehearsed as `concordant rehearse` does it. `CONCORDANT_LONG=1` rehearses over 500 of each sort.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::simulate::class::SimulatedClass;
use concordant::simulate::copying::Copying;
use concordant::simulate::sections::sections;
use concordant::simulate::table::{Counts, Kind, add};

fn class(key: &str) -> SimulatedClass {
    let glassware = shipped_glassware();
    let text = shipped_procedure(key).expect("is shipped");
    let procedure = read_procedure(key, &text, &glassware).expect("is sound");
    SimulatedClass::crossed(procedure, text, glassware)
}

/// Through a whole term, as a course would judge and audit it: fewer than one flag by chance in a clean section of 24,
/// 95 of 100 copies found in each way, at most one of 1,000 honest pairs with one bottle and lot taken for copies, a lot
/// 1 % off found in 9 of 10 careful sections, one group of 100 at most off where nothing is.
#[test]
fn sections_of_every_sort() {
    let long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let count = if long { 180 } else { 25 };
    let mut sum = Counts::new();
    for key in [
        "spring-chloride",
        "vinegar-acidity",
        "peroxide-permanganate",
    ] {
        let found = sections(&class(key), count, 20_261_126).expect("can be carried out");
        add(&mut sum, &found);
    }
    println!("{sum:?}");
    let chance = sum[&Kind::ChanceFlags];
    assert_eq!(chance.made, 3 * count);
    assert_eq!(sum[&Kind::Waiting].made, 24 * chance.made);
    assert!(chance.found < chance.made, "{chance:?} in a clean section");
    for how in [
        Copying::Exact,
        Copying::Shifted,
        Copying::Reordered,
        Copying::DigitAltered,
    ] {
        let copies = sum[&Kind::Copy(how)];
        assert!(copies.made * 10 >= chance.made * 9, "{how:?}: {copies:?}");
        assert!(
            copies.found * 100 >= copies.made * 95,
            "{how:?}: {copies:?}"
        );
    }
    let honest = sum[&Kind::HonestPair];
    assert!(honest.found * 1_000 <= honest.made, "{honest:?}");
    let bad_lots = sum[&Kind::Lot];
    assert!(bad_lots.found * 10 >= bad_lots.made * 9, "{bad_lots:?}");
    let groups = sum[&Kind::Group];
    assert!(groups.found * 100 <= groups.made, "{groups:?}");
}

#[test]
fn the_same_seed_gives_the_same_sections() {
    let class = class("vinegar-acidity");
    assert_eq!(sections(&class, 2, 5), sections(&class, 2, 5));
    let handed_in = |seed| class.rehearse(seed).expect("can be").term.submissions;
    assert_eq!(handed_in(5), handed_in(5));
    assert_ne!(handed_in(5), handed_in(6));
}

#[test]
fn the_command_prints_slips_flags_copies_and_the_bad_lot() {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["rehearse", "vinegar-acidity", "soda-two-indicators"])
        .args(["--students", "1", "--sections", "1", "--seed", "4"])
        .output()
        .expect("runs");
    let printed = String::from_utf8(output.stdout).expect("text");
    assert!(output.status.success(), "{printed}");
    for part in [
        "identifiable slips: named",
        " of 24 (",
        " %), goal at most 12.00 %",
        "readings copied one digit altered",
        "honest pairs with one bottle: taken for copies",
        "lots 1 % off, one section: named",
        "lots that lose 1 % in four days: drift named",
        "transposed digits in one trial of three: named",
        "other unknown: named",
        "all of them",
        "students who invent the reports of a term",
    ] {
        assert!(printed.contains(part), "{part} in {printed}");
    }
}
