//! Sections rehearsed as `concordant rehearse` does it. `CONCORDANT_LONG=1` rehearses over 500 of each sort.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::invent::class::Class;
use concordant::invent::sections::{Sections, sections};
use concordant::judge::copying::Copying;

fn class(key: &str) -> Class {
    let glassware = shipped_glassware();
    let text = shipped_procedure(key).expect("is shipped");
    let procedure = read_procedure(key, &text, &glassware).expect("is sound");
    Class::crossed(procedure, text, glassware)
}

/// Through a whole term, as a course would judge and audit it: fewer than one flag by chance in a clean section of 24,
/// 95 of 100 copies found in each way, at most one of 1,000 honest pairs with one bottle and lot taken for copies, a lot
/// 1 % off found in 9 of 10 careful sections, one group of 100 at most off where nothing is.
#[test]
fn sections_of_every_sort() {
    let long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let count = if long { 180 } else { 25 };
    let mut sum = Sections::default();
    for key in [
        "spring-chloride",
        "vinegar-acidity",
        "peroxide-permanganate",
    ] {
        sum.add(&sections(&class(key), count, 20_261_126).expect("can be carried out"));
    }
    println!("{sum:?}");
    assert_eq!(sum.students, 24 * sum.clean);
    let chance = sum.chance_flags_per_section();
    assert!(chance < 1.0, "{chance} flags by chance in a clean section");
    for how in Copying::ALL {
        let share = sum.copies[&how];
        assert!(share.of * 10 >= sum.clean * 9, "{how:?}: {share:?} made");
        assert!(share.found * 100 >= share.of * 95, "{how:?}: {share:?}");
    }
    assert!(
        sum.honest.found * 1_000 <= sum.honest.of,
        "{:?}",
        sum.honest
    );
    assert!(
        sum.bad_lots.found * 10 >= sum.bad_lots.of * 9,
        "{:?}",
        sum.bad_lots
    );
    assert!(sum.groups.found * 100 <= sum.groups.of, "{:?}", sum.groups);
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
        "identifiable slips named",
        "in 1 clean sections, 24 students",
        "readings copied one digit altered found",
        "honest pairs with one bottle taken for copies",
        "lots 1 % off found from one careful section",
        "all of them",
    ] {
        assert!(printed.contains(part), "{part} in {printed}");
    }
}
