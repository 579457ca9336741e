//! A term of five experiments of different schemes, and one student of a section who invents every report.

use concordant::simulate::class::SimulatedClass;
use concordant::simulate::sections::inventing;
use concordant::simulate::table::{Counts, Kind};

use super::rows::realistic;
use super::{many, meets};

fn term() -> &'static Counts {
    static COUNTS: std::sync::OnceLock<Counts> = std::sync::OnceLock::new();
    COUNTS.get_or_init(|| {
        let first = realistic("vinegar-acidity");
        let later = [
            "iron-dichromate",
            "antacid-back",
            "iron-tablet-edta",
            "spring-chloride",
        ];
        let later = later.map(|key| {
            let class = realistic(key);
            (class.procedure, class.text)
        });
        let class = SimulatedClass {
            later: later.to_vec(),
            ..first
        };
        inventing(&class, many(6, 300), 777_014).expect("terms")
    })
}

fn hold(kind: Kind) {
    let (tally, goal) = (term()[&kind], kind.goal().expect("has a goal"));
    println!("{}: {} of {}", kind.words(), tally.found, tally.made);
    assert!(
        meets(goal, tally),
        "goal {}: {} {} of {}",
        goal.words(),
        kind.words(),
        tally.found,
        tally.made
    );
}

/// Not met yet.
#[test]
fn somebody_who_invents_a_term_is_seen() {
    hold(Kind::Inventor);
}

#[test]
fn the_others_are_not_taken_for_it() {
    hold(Kind::HonestAsInventor);
}
